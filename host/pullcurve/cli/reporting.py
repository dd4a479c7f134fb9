"""Commands over run logs: report, compare, cut."""

import gc
from pathlib import Path

import click

from pullcurve.cli.common import any_path, for_people, print_summary, rig_option, units_option

FILTER_LIMITS_PA = (100.0, 50_000.0)  # a loss at which any filter is due lies between (judgement)

out_option = click.option(
    "--out",
    type=any_path,
    help="Where the files go: a path without ending. Default: beside the log, or the first one.",
)
pdf_option = click.option("--pdf", "with_pdf", is_flag=True, help="The page as PDF as well.")


@click.command()
@click.argument("log", type=any_path)
@rig_option
@units_option
@out_option
@pdf_option
@click.option(
    "--baseline",
    type=any_path,
    help="The log of an earlier run of the same machine in good order: it sharpens the verdict.",
)
@for_people
def report(
    log: Path,
    rig_path: Path | None,
    units: str,
    out: Path | None,
    baseline: Path | None,
    *,
    with_pdf: bool,
) -> None:
    """Write the run report of LOG as page, picture, CSV and JSON, and print a summary.

    Nothing is written when the run has no settled point; the exit code is then 1.
    """
    # It lives for a second and makes few cycles; at Python's own pace a tenth of its time would
    # go into looking for them.
    gc.set_threshold(100_000, 50, 50)
    from pullcurve.diagnosis.baseline import check_baseline
    from pullcurve.diagnosis.diagnose import diagnose
    from pullcurve.examine import read_run
    from pullcurve.quantities import UNIT_SYSTEMS
    from pullcurve.report.files import write_report
    from pullcurve.report.from_run import result_of

    run = read_run(log, rig_path)
    earlier = None if baseline is None else read_run(baseline)
    if earlier is not None:
        check_baseline(run, earlier)
    result = result_of(run, diagnose(run, earlier), "" if baseline is None else baseline.name)
    paths = []
    if result.points:
        target = out or log.with_suffix("")
        paths = write_report(result, UNIT_SYSTEMS[units], target, with_pdf=with_pdf)
    print_summary(log, result, UNIT_SYSTEMS[units])
    for path in paths:
        click.echo(f"wrote {path}")


@click.command()
@click.argument("logs", type=any_path, nargs=-1, required=True)
@click.option(
    "--rig", "rig_path", type=any_path, help="The rig's file, for the logs that carry none."
)
@units_option
@out_option
@pdf_option
@for_people
def compare(
    logs: tuple[Path, ...], rig_path: Path | None, units: str, out: Path | None, *, with_pdf: bool
) -> None:
    """Compare two or more runs of one machine: each of the later LOGS against the first.

    At equal speed: what changed, by how much, and whether that is more than the uncertainty. A
    run with the meter on the port against one at the hose's end tells what the hose costs.
    Writes page, CSV and JSON, and prints a summary.
    """
    from pullcurve.compare.comparison import comparison_of
    from pullcurve.examine import read_run
    from pullcurve.quantities import UNIT_SYSTEMS
    from pullcurve.report.compare_page import compare_text, write_comparison
    from pullcurve.run_log.reading import read_log

    if len(logs) < 2:
        raise click.UsageError("a comparison takes two run logs or more: name another one")
    bare = [] if rig_path is None else [log for log in logs if read_log(log).rig_text() is None]
    runs = [read_run(log, rig_path if log in bare else None) for log in logs]
    said = comparison_of(runs)
    paths = write_comparison(said, UNIT_SYSTEMS[units], out or logs[0].parent, with_pdf=with_pdf)
    click.echo(compare_text(said, UNIT_SYSTEMS[units]))
    for path in paths:
        click.echo(f"wrote {path}")


@click.command()
@click.argument("log", type=any_path)
@rig_option
@units_option
@out_option
@click.option("--filter-limit", help="Loss at which the filter is due, such as '16 inH2O'.")
@for_people
def cut(
    log: Path,
    rig_path: Path | None,
    units: str,
    out: Path | None,
    filter_limit: str | None,
) -> None:
    """Watch the recorded cut LOG as if it came in now: alarms, and what the shift came to.

    The meter must stand in the clean pipe. Writes page and JSON, and prints a summary.
    """
    from pullcurve.cut.result import cut_result
    from pullcurve.cut.shift import read_cut
    from pullcurve.quantities import UNIT_SYSTEMS, to_si
    from pullcurve.report.cut_page import cut_text, write_cut

    try:
        limit_pa = None if filter_limit is None else to_si(filter_limit, "pressure")
    except ValueError as fault:
        raise click.UsageError(str(fault)) from None
    if limit_pa is not None and not FILTER_LIMITS_PA[0] <= limit_pa <= FILTER_LIMITS_PA[1]:
        raise click.UsageError(
            f"--filter-limit {filter_limit}: the loss at which a filter is due lies between "
            "0.1 kPa and 50 kPa; take it from the filter's data sheet"
        )
    cut = read_cut(log, rig_path, limit_pa)
    result = cut_result(cut)
    paths = write_cut(result, UNIT_SYSTEMS[units], out or log.with_suffix(""))
    click.echo(cut_text(result, UNIT_SYSTEMS[units]), nl=False)
    click.echo()
    if limit_pa is not None and not cut.watch.slow.has_tank:
        click.echo(
            "--filter-limit was not used: without an absolute-pressure sensor in the tank (role "
            "tank_air) the filter's own loss is not measured."
        )
    for path in paths:
        click.echo(f"wrote {path}")

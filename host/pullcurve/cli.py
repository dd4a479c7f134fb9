"""The command line: parses, calls, prints. Nothing else prints or sets an exit code.

Each command imports its work inside its body, so that help and errors come at once.
"""

import sys
import threading
import time
from collections.abc import Callable
from datetime import datetime
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pullcurve import __version__
from pullcurve.errors import PullcurveError

if TYPE_CHECKING:
    from pullcurve.quantities import UnitSystem
    from pullcurve.report.result import RunResult
    from pullcurve.rig.models import Rig
    from pullcurve.run_log.writing import LogWriter
    from pullcurve.sources import Received

STATUS_EVERY_S = 0.5
STATUS_LINE_EVERY_S = 10.0  # where the output is no terminal

existing = click.Path(path_type=Path)
rig_option = click.option(
    "--rig", "rig_path", type=existing, help="The rig's file, in place of the one in the log."
)
units_option = click.option(
    "--units", type=click.Choice(["us", "si"]), default="us", show_default=True
)


def for_people(command: Callable[..., Any]) -> Callable[..., Any]:
    """Turns an error that is meant for the user into its sentence and exit code 1."""

    @wraps(command)
    def guarded(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except PullcurveError as fault:
            raise click.ClickException(str(fault)) from None

    return guarded


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="pullcurve")
def main() -> None:
    """How much air a suction machine really moves: record a run, then report it."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


@main.command()
@click.argument("log", type=existing)
@rig_option
@units_option
@click.option(
    "--out",
    type=existing,
    help="Where the files go: a path without ending. Default: beside the log.",
)
@for_people
def report(log: Path, rig_path: Path | None, units: str, out: Path | None) -> None:
    """Write the run report of LOG as page, picture, CSV and JSON, and print a summary.

    Nothing is written when the run has no settled point; the exit code is then 1.
    """
    from pullcurve.quantities import UNIT_SYSTEMS
    from pullcurve.reduction.run import read_run
    from pullcurve.report.files import write_report
    from pullcurve.report.from_run import result_of

    run = read_run(log, rig_path)
    result = result_of(run)
    _print_summary(log, result, UNIT_SYSTEMS[units])
    for path in write_report(result, UNIT_SYSTEMS[units], out or log.with_suffix("")):
        click.echo(f"wrote {path}")


@main.command()
@click.argument("log", type=existing)
@click.option("--port", help="The serial port, such as COM5 or /dev/ttyACM0. Default: found.")
@click.option("--rig", "rig_path", type=existing, help="The rig's file, written into the log.")
@click.option(
    "--for", "seconds", type=click.FloatRange(min=0, min_open=True), help="Stop by itself."
)
@for_people
def record(log: Path, port: str | None, rig_path: Path | None, seconds: float | None) -> None:
    """Record what a board sends into the new file LOG, until Ctrl-C.

    While it records, type notes, each ended with Enter: engine 2900 rpm | vacuum 10 inHg at
    tank | plate on, bore 2 in | plate off | hose 50 ft of 4 in | any other words.
    """
    from pullcurve.links.serial_link import SerialLink, find_board
    from pullcurve.recording import record as record_source
    from pullcurve.reduction.status import Status
    from pullcurve.run_log.writing import LogWriter

    rig = _load_rig(rig_path)
    _refuse_existing(log)
    with SerialLink(port or find_board()) as link, LogWriter(log, source=link.name) as writer:
        if rig is not None:
            writer.rig(datetime.now().astimezone(), rig.text)
        status = Status(rig)
        show = _StatusLine(status.line)
        notes = _Notes(writer)
        stop_s = time.monotonic() + seconds if seconds else None
        click.echo(f"recording {link.name} into {log}; Ctrl-C ends it", err=True)
        try:
            record_source(
                link,
                writer,
                (status.add, show.update, notes.write),
                lambda: stop_s is not None and time.monotonic() > stop_s,
            )
        except KeyboardInterrupt:
            pass
        finally:
            show.close()
    click.echo(f"wrote {log}: {status.records} records")
    if not status.records:
        raise click.ClickException(
            f"no record of a board came over {link.name}; does the board run the firmware?"
        )


@main.command()
@click.argument("log", type=existing)
@click.argument("words", nargs=-1, required=True)
@click.option("--at", default="", help="When it holds: 'sweep 2, hold 3' or '125 s'.")
@for_people
def note(log: Path, words: tuple[str, ...], at: str) -> None:
    """Add a note to an existing LOG, such as: vacuum 10 inHg at tank --at 'sweep 1, hold 3'."""
    from pullcurve.reduction.notes import at_is_understood
    from pullcurve.run_log.notes import understand
    from pullcurve.run_log.writing import LogWriter

    if not at_is_understood(at) or not at:
        raise click.UsageError("--at says when it holds: 'sweep 2, hold 3' or '125 s'")
    try:
        spoken = understand(" ".join(words))
    except ValueError as fault:
        raise click.UsageError(str(fault)) from None
    with LogWriter(log, append=True) as writer:
        writer.host_record(datetime.now().astimezone(), "note", *spoken, at)
    click.echo(
        f"noted in {log}: {spoken.what.replace('_', ' ')} {spoken.value} {spoken.place}".rstrip()
    )


@main.command()
@click.argument("log", type=existing)
@rig_option
@units_option
@click.option(
    "--speed",
    type=click.FloatRange(min=0, min_open=True),
    help="Times as fast as it was received. Default: all at once.",
)
@for_people
def replay(log: Path, rig_path: Path | None, units: str, speed: float | None) -> None:
    """Play LOG as if it were received now, then print its summary."""
    from pullcurve.quantities import UNIT_SYSTEMS
    from pullcurve.reduction.records import Assembler
    from pullcurve.reduction.run import reduce_run, rig_of
    from pullcurve.reduction.status import Status
    from pullcurve.report.from_run import result_of
    from pullcurve.run_log.reading import read_log
    from pullcurve.run_log.replay import Replay

    read = read_log(log)
    rig = rig_of(read, rig_path)
    status, assembler = Status(rig), Assembler()
    show = _StatusLine(status.line)
    with Replay(read, speed) as source:
        for received in source:
            status.add(received)
            assembler.add(received)
            show.update(received)
    show.close()
    run = reduce_run(read, assembler.finish(str(log)), rig)
    _print_summary(log, result_of(run), UNIT_SYSTEMS[units])


@main.command()
@click.argument("scenario")
@click.argument("log", type=existing)
@click.option("--rig", "rig_path", type=existing, help="The rig's file, written into the log.")
@for_people
def bench(scenario: str, log: Path, rig_path: Path | None) -> None:
    """Run the real firmware against a simulated machine, into the new file LOG.

    SCENARIO is a TOML file, or the name of one that comes with pullcurve. The truth goes to
    LOG.truth.csv, which nothing else reads.
    """
    from pullcurve.bench.plant import simulate
    from pullcurve.bench.scenario import load_scenario, shipped_scenarios
    from pullcurve.bench.world import World
    from pullcurve.links.bench_link import BenchLink
    from pullcurve.recording import record as record_source
    from pullcurve.reduction.status import Status
    from pullcurve.run_log.writing import LogWriter

    chosen = load_scenario(shipped_scenarios().get(scenario, Path(scenario)))
    rig = _load_rig(rig_path)
    _refuse_existing(log)
    truth = log.with_suffix(".truth.csv")
    _refuse_existing(truth)
    plant = simulate(chosen)
    status = Status(rig)
    show = _StatusLine(status.line)
    with (
        BenchLink(chosen, World(chosen, plant)) as link,
        LogWriter(log, source=link.name, now=chosen.start) as writer,
    ):
        if rig is not None:
            writer.rig(chosen.start, rig.text)
        record_source(link, writer, (status.add, show.update))
    show.close()
    import pandas as pd

    pd.DataFrame(plant.truth()).to_csv(truth, index=False, lineterminator="\n")
    click.echo(f"wrote {log}: {status.records} records")
    click.echo(f"wrote {truth}")


def _load_rig(path: Path | None) -> "Rig | None":
    from pullcurve.rig.loading import load_rig

    return load_rig(path) if path is not None else None


def _refuse_existing(path: Path) -> None:
    if path.exists():
        raise click.ClickException(
            f"{path}: there is a file of this name already, and it is never overwritten; "
            "choose another name"
        )


def _print_summary(log: Path, result: "RunResult", units: "UnitSystem") -> None:
    from pullcurve.report.summary import summary

    click.echo(summary(result, units))
    if not result.points:
        raise click.ClickException(
            f"{log}: no settled point, so there is no flow to report; hold the throttle "
            "still for 30 s at each speed"
        )


class _StatusLine:
    """Shows a line that renews itself on a terminal, and now and then a line elsewhere."""

    def __init__(self, line: Callable[[], str]) -> None:
        self._line = line
        self._terminal = sys.stderr.isatty()
        self._every_s = STATUS_EVERY_S if self._terminal else STATUS_LINE_EVERY_S
        self._shown_s = time.monotonic()

    def update(self, _received: "Received") -> None:
        now_s = time.monotonic()
        if now_s - self._shown_s < self._every_s:
            return
        self._shown_s = now_s
        if self._terminal:
            click.echo(f"\r\x1b[K{self._line()}", nl=False, err=True)
        else:
            click.echo(self._line(), err=True)

    def close(self) -> None:
        if self._terminal:
            click.echo(f"\r\x1b[K{self._line()}", err=True)


class _Notes:
    """Lines typed while a run is recorded, written into its log at the moment of typing."""

    def __init__(self, writer: "LogWriter") -> None:
        self._writer = writer
        self._typed: list[tuple[datetime, str]] = []
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        for line in sys.stdin:
            if line.strip():
                self._typed.append((datetime.now().astimezone(), line.strip()))

    def write(self, _received: "Received") -> None:
        from pullcurve.run_log.notes import understand

        while self._typed:
            typed_at, line = self._typed.pop(0)
            try:
                spoken = understand(line)
            except ValueError as fault:
                click.echo(f"\nnot noted: {fault}", err=True)
                continue
            self._writer.host_record(typed_at, "note", *spoken, "")
            click.echo(f"\nnoted: {spoken.what.replace('_', ' ')} {spoken.value}", err=True)


if __name__ == "__main__":
    main()

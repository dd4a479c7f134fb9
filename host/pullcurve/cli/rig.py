"""The rig: write one down, check it."""

import sys
from pathlib import Path

import click

from pullcurve.cli.common import any_path, for_people, refuse_existing, say, units_option


@click.group("rig")
def rig_group() -> None:
    """The rig's file: what was on the machine during a run."""


@rig_group.command("new")
@click.argument("file", type=any_path)
@for_people
def rig_new(file: Path) -> None:
    """Write the new rig FILE by asking questions, each answer checked at once.

    Answers may also be piped in, one a line. Nothing is written unless all are given.
    """
    from pullcurve.physics.air import standard_pressure
    from pullcurve.rig.asking import ask_rig

    refuse_existing(file)
    if not file.absolute().parent.is_dir():
        raise click.ClickException(f"{file}: there is no folder of this name; make it first")
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")
    try:
        text = ask_rig(_typed_line, say, lambda altitude: float(standard_pressure(altitude)))
    except KeyboardInterrupt:
        raise click.ClickException("ended; nothing is written") from None
    try:
        with file.open("x", encoding="utf-8", newline="\n") as new:
            new.write(text)
    except OSError as fault:
        click.echo(text)
        raise click.ClickException(
            f"{file}: cannot be written: {fault.strerror}; the rig stands above, to be copied"
        ) from None
    click.echo(f"\nwrote {file}; see what it means with: pullcurve rig check {file}")


@rig_group.command("check")
@click.argument("file", type=any_path)
@units_option
@for_people
def rig_check(file: Path, units: str) -> None:
    """Say what the rig FILE means, what in it can hardly be, and what each weak fact costs.

    The exit code is 1 when something in it cannot be.
    """
    from pullcurve.checks.rig import doubts, faults
    from pullcurve.checks.rig_check import costs
    from pullcurve.diagnosis.expected import expected_of_rig
    from pullcurve.diagnosis.expected_intake import blower_worth
    from pullcurve.quantities import UNIT_SYSTEMS
    from pullcurve.report.rig_words import rig_text
    from pullcurve.rig.loading import load_rig

    rig = load_rig(file)
    worth, wrong = costs(rig), faults(rig)
    blower, doubtful = blower_worth(rig.machine), doubts(rig, worth.flows)
    expected = expected_of_rig(rig)
    text = rig_text(rig, worth, blower, wrong, doubtful, expected, UNIT_SYSTEMS[units])
    click.echo(text, nl=False)
    if wrong:
        raise click.ClickException(f"{file}: mend what cannot be, named above")


@rig_group.command("hose")
@click.argument("file", type=any_path)
@click.argument("hose", nargs=-1, required=True)
@click.option(
    "--wall",
    type=click.Choice(["smooth", "corrugated", "unknown"]),
    default="unknown",
    show_default=True,
)
@units_option
@for_people
def rig_hose(file: Path, hose: tuple[str, ...], wall: str, units: str) -> None:
    """Say what the machine of the rig FILE would have with another HOSE: 30 m of 100 mm."""
    from pullcurve.diagnosis.other_hose import with_other_hose
    from pullcurve.quantities import UNIT_SYSTEMS, to_si
    from pullcurve.report.hose_words import other_hose_text
    from pullcurve.rig.loading import load_rig

    said = " ".join(hose)
    length, _, bore = said.partition(" of ")
    try:
        metres = to_si(length, "length"), to_si(bore, "length")
    except ValueError as fault:
        raise click.ClickException(
            f"{said!r} is no hose: {fault}; write its length and bore, such as 30 m of 100 mm"
        ) from None
    if not (0.1 <= metres[0] <= 500 and 0.01 <= metres[1] <= 1):
        raise click.ClickException(
            f"{said!r} is no plausible hose: 0.1 m to 500 m long, 10 mm to 1 m wide"
        )
    rig = load_rig(file)
    found = with_other_hose(rig, *metres, wall)
    if isinstance(found, str):
        raise click.ClickException(f"{file}: {found}")
    click.echo(other_hose_text(rig.name, said, found, UNIT_SYSTEMS[units]), nl=False)


def _typed_line() -> str:
    """The next line typed; shown too where it comes from a pipe, so that the dialogue reads on."""
    if sys.stdin is None:  # closed by whoever started the command
        raise EOFError
    try:
        line = input("> ")
    except (EOFError, KeyboardInterrupt):
        click.echo()
        raise
    if not sys.stdin.isatty():
        click.echo(line)
    return line

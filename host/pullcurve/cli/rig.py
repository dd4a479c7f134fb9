"""The rig: write one down, check it."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pullcurve.cli.common import existing, for_people, refuse_existing, say, units_option

if TYPE_CHECKING:
    pass


@click.group("rig")
def rig_group() -> None:
    """The rig's file: what was on the machine during a run."""


@rig_group.command("new")
@click.argument("file", type=existing)
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
@click.argument("file", type=existing)
@units_option
@for_people
def rig_check(file: Path, units: str) -> None:
    """Say what the rig FILE means, what in it can hardly be, and what each weak fact costs.

    The exit code is 1 when something in it cannot be.
    """
    from pullcurve.diagnosis.expected import expected_of_rig
    from pullcurve.quantities import UNIT_SYSTEMS
    from pullcurve.reduction.blower_promise import blower_worth
    from pullcurve.reduction.rig_check import costs
    from pullcurve.reduction.rig_doubts import doubts, faults
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

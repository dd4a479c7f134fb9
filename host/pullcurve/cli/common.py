"""What the commands share: options, sentences for people, small refusals."""

import os
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import click

from pullcurve.errors import PullcurveError

if TYPE_CHECKING:
    from pullcurve.quantities import UnitSystem
    from pullcurve.report.result import RunResult
    from pullcurve.rig.models import Rig

WIDTH = 96

any_path = click.Path(path_type=Path)
rig_option = click.option(
    "--rig", "rig_path", type=any_path, help="The rig's file, in place of the one in the log."
)
port_option = click.option(
    "--port",
    default="serial:",
    help="Where the board is: a serial port, such as COM5 or /dev/ttyACM0; ble: for the one in "
    "reach over Bluetooth, ble:NAME among several. Default: the port that a board answers on.",
)
units_option = click.option(
    "--units", type=click.Choice(["us", "si"]), default="us", show_default=True
)


def for_people(command: Callable[..., Any]) -> Callable[..., Any]:
    """Turns an error that is meant for the user into its sentence and exit code 1.

    A reader of the output that has gone away, as `head` does, is no fault: commands print what
    they have already done.
    """

    @wraps(command)
    def guarded(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except PullcurveError as fault:
            raise click.ClickException(str(fault)) from None
        except BrokenPipeError:
            nobody = os.open(os.devnull, os.O_WRONLY)
            for stream in (sys.stdout, sys.stderr):
                if stream is not None:
                    os.dup2(nobody, stream.fileno())
            return None

    return guarded


def say(paragraphs: str) -> None:
    click.echo()
    for line in paragraphs.split("\n"):
        click.echo(fill(line, WIDTH, subsequent_indent="  " if line.startswith(" ") else ""))


def load_rig(path: Path | None) -> "Rig | None":
    from pullcurve.rig.loading import load_rig

    return load_rig(path) if path is not None else None


def refuse_existing(path: Path) -> None:
    if path.exists():
        raise click.ClickException(
            f"{path}: there is a file of this name already, and it is never overwritten; "
            "choose another name"
        )


def tell_faults(log: Path, faults: list[Exception]) -> None:
    for fault in faults:
        click.echo(f"a display failed ({type(fault).__name__}: {fault}); {log} is whole", err=True)


def print_summary(log: Path, result: "RunResult", units: "UnitSystem") -> None:
    from pullcurve.report.summary import summary

    click.echo(summary(result, units))
    if not result.points:
        raise click.ClickException(
            f"{log}: no settled point, so there is no flow to report; hold the throttle "
            "still for 30 s at each speed"
        )


def folded(line: str) -> str:
    return fill(line, WIDTH, subsequent_indent=" " * 8)

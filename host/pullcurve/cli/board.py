"""The board: firmware and self-test."""

import re
from pathlib import Path

import click

from pullcurve.cli.common import any_path, folded, for_people, port_option, say


@click.group("board")
def board_group() -> None:
    """The board: put the firmware on it, ask what it is, test it where it stands."""


@board_group.command("install")
@click.option("--port", help="The serial port, such as COM5 or /dev/ttyACM0. Default: found.")
@click.option(
    "--board-json",
    "settings_path",
    type=any_path,
    help="Write this file as the board's board.json. Default: the board keeps its own.",
)
@for_people
def board_install(port: str | None, settings_path: Path | None) -> None:
    """Put the firmware of this pullcurve on the board, read it back, and start it.

    Only what differs is written. Where that is broken off, the same command mends it. Needs
    the extra pullcurve[board].
    """
    from pullcurve.board.identity import identity_lines, introduction_after_restart
    from pullcurve.board.install import firmware_revision, install
    from pullcurve.board.prompt import Prompt
    from pullcurve.sources.serial_port import find_usb_port, usb_number

    try:
        settings = settings_path.read_bytes() if settings_path else None
    except OSError as fault:
        raise click.ClickException(f"{settings_path}: cannot be read: {fault.strerror}") from None
    port = (port or "").removeprefix("serial:")
    if re.match(r"[a-z]{2,}:", port):
        raise click.ClickException(
            f"{port} cannot take firmware, which needs the board's cable: plug it in, and name its "
            "serial port or leave --port out"
        )
    port = port or find_usb_port()
    number = usb_number(port)
    with Prompt(port) as prompt:
        install(prompt, settings, click.echo)
    header, complaint, kept_s = introduction_after_restart(port, number)
    if header is None:
        raise click.ClickException(
            f"the firmware is on the board, but its board.json cannot be used: {complaint}; mend "
            "the file and write it with --board-json"
        )
    for line in identity_lines(header, kept_s, firmware_revision()):
        click.echo(line)
    click.echo("Now test it where it stands: pullcurve board check")


@board_group.command("show")
@port_option
@for_people
def board_show(port: str) -> None:
    """Show what the board says of itself: firmware, sensors, pickups."""
    from pullcurve.board.identity import batches, identity_lines, introduction
    from pullcurve.board.install import firmware_revision
    from pullcurve.sources.opening import open_source

    with open_source(port) as link:
        header, complaint, kept_s = introduction(batches(link))
    if header is None:
        raise click.ClickException(f"the board says: {complaint}; mend its board.json")
    for line in identity_lines(header, kept_s, firmware_revision()):
        click.echo(line)


@board_group.command("check")
@port_option
@for_people
def board_check(port: str) -> None:
    """Test the board: sensors, barometer, zero and pickups, with everything at rest.

    With --port bench:SCENARIO it is a simulated one. The exit code is 1 when something is not as
    it should be.
    """
    from pullcurve.board.at_rest import Finding
    from pullcurve.board.self_test import CAUTION, self_test
    from pullcurve.sources.opening import open_source

    say(CAUTION)
    failed = 0
    with open_source(port) as link:
        for said in self_test(link):
            if not isinstance(said, Finding):
                say(said)
                continue
            failed += not said.good
            click.echo(folded(f"{'ok' if said.good else 'FAILED':<8}{said.text}"))
            if said.action:
                click.echo(folded(f"{'':<8}Do this: {said.action}"))
    click.echo()
    if failed:
        raise click.ClickException(f"{failed} of the checks failed; what to do stands above")
    click.echo("All is as it should be.")

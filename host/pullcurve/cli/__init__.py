"""The command line: parses, calls, prints. Nothing else prints or sets an exit code, but for
`terminal` while a run is received.

Each command imports its work inside its body, so that help and errors come at once.
"""

import sys

import click

from pullcurve import __version__
from pullcurve.cli.board import board_group
from pullcurve.cli.receiving import bench, note, record, replay, watch
from pullcurve.cli.reporting import compare, cut, report
from pullcurve.cli.rig import rig_group


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="pullcurve")
def main() -> None:
    """How much air a suction machine really moves: record a run, then report it."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


for command in (report, compare, cut, record, note, replay, watch, bench, rig_group, board_group):
    main.add_command(command)

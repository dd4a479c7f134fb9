"""What each further reading would tell of a machine, as a table."""

from collections.abc import Mapping
from typing import Final

from pullcurve.report.tables import Column, Table

_HEADINGS: Final = {
    "wear_and_leak_behind": "wear and leak behind filter",
    "wear": "wear alone",
    "leak_ahead": "leak ahead of filter",
    "restriction": "restriction",
    "belt": "belt",
}


def expected_table(half_widths: Mapping[str, Mapping[str, float]]) -> Table:
    """A row a set of readings, each with the ones above it.

    half_widths: of `diagnosis.expected`, in per cent of the flow at full throttle.
    """
    return Table(
        (Column("Readings"), *(Column(heading, kind="number") for heading in _HEADINGS.values())),
        tuple(
            (name, *(f"{row[step]:.2g} %" for step in _HEADINGS))
            for name, row in half_widths.items()
        ),
        "How far each loss would be known, 95 %, in per cent of the flow at full throttle; meter "
        "on the open port, pickup on the engine's shaft. Each line adds to those above it, the "
        "last takes the place of the discharge temperature. Computed for this rig's machine in "
        "good order, as if each fault might take 40 % of the flow.",
    )

"""What the interval is made of, at the fastest hold and at the slowest, as bars."""

from collections.abc import Sequence
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pullcurve.measure.inputs import Source
from pullcurve.measure.points import SettledPoint
from pullcurve.report.drawing import INK, STYLE, WIDTH_IN
from pullcurve.report.inputs_in_words import REACHES, input_words
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import fastest, point_name, rpm, slowest
from pullcurve.rounding import percent

_MOST_BARS: Final = 7
_LEAST_SHARE: Final = 0.005  # of a variance: what is smaller everywhere goes into the rest
_REST: Final = "all others together"
_WHOLE: Final = "all together"
_LOOKS: Final[tuple[dict[str, Any], ...]] = (
    {"facecolor": INK, "edgecolor": INK, "linewidth": 0.8},
    {"facecolor": "white", "edgecolor": INK, "linewidth": 0.8, "hatch": "/////"},
)

_Parts = dict[str, float]  # per cent of the flow, by input


def budget_figure(result: RunResult) -> Figure:
    """The parts of the interval of the standard flow; the result must state a flow.

    Solid bars are the fastest hold's, hatched ones the slowest's.
    """
    points = result.stated
    shown = list(dict.fromkeys((fastest(points).point, slowest(points).point)))
    holds = [point for number in shown for point in points if point.point == number]
    named = _named(holds)
    rows = [_WHOLE, *named, _REST]
    columns = [_parts(hold, named) for hold in holds]
    height = 0.36 * len(rows) + 0.55
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, height))
        figure.subplots_adjust(left=0.35, right=0.985, bottom=0.42 / height, top=1 - 0.08 / height)
        axes = figure.add_subplot()
        names = [f"hold {point_name(each, result.points)}, {rpm(each.speed_rpm)}" for each in holds]
        _draw(axes, rows, columns, names)
        labels = [_label(row, holds) for row in rows]
        axes.set_yticks(range(len(rows)), labels, size=8)
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.set_xlabel("± % of the standard flow of that hold, 95 % interval")
        return figure


def _named(holds: Sequence[SettledPoint]) -> list[Source]:
    """The inputs that get bars of their own, the largest first."""
    share: dict[Source, float] = {}
    for hold in holds:
        for part in hold.budget:
            share[part.source] = max(share.get(part.source, 0.0), part.share)
    ordered = sorted(share, key=lambda source: -share[source])
    return [source for source in ordered if share[source] >= _LEAST_SHARE][:_MOST_BARS]


def _parts(hold: SettledPoint, named: Sequence[Source]) -> _Parts:
    flow = hold.standard_flow
    relative = {part.source: 100 * part.u95_m3_s / abs(flow.value) for part in hold.budget}
    rest = [value for source, value in relative.items() if source not in named]
    return {
        _WHOLE: 100 * flow.u95 / abs(flow.value),
        **{source: relative.get(source, 0.0) for source in named},
        _REST: float(np.linalg.norm(rest)),
    }


def _draw(axes: Axes, rows: Sequence[str], columns: Sequence[_Parts], names: Sequence[str]) -> None:
    """Bars with their lengths in words; those of the first row say which hold they belong to."""
    thick = 0.8 / len(columns)
    axes.set_xlim(0, 1.6 * max(column[_WHOLE] for column in columns))
    for number, (column, name) in enumerate(zip(columns, names, strict=True)):
        places = np.arange(len(rows)) - 0.4 + (number + 0.5) * thick
        axes.barh(places, [column[row] for row in rows], 0.85 * thick, **_LOOKS[number])
        for place, row in zip(places, rows, strict=True):
            axes.annotate(
                f"{percent(column[row] / 100)}{f', {name}' if row == _WHOLE else ''}",
                (column[row], place),
                xytext=(4, 0),
                textcoords="offset points",
                va="center",
                size=8,
                weight="bold" if row == _WHOLE else "normal",
            )
    axes.axhline(0.5, color=INK, linewidth=0.5)


def _label(row: str, holds: Sequence[SettledPoint]) -> str:
    if not isinstance(row, Source):
        return row
    reaches = {part.source: part.shared for hold in holds for part in hold.budget}
    return f"{input_words(row)}\n{REACHES[reaches[row]]}"

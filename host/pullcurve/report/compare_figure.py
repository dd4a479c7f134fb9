"""Two runs in one picture: both curves with their bands, and the difference with its interval."""

from textwrap import fill
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pullcurve.compare.result import ComparedRun, Comparison, Pair
from pullcurve.quantities import UnitSystem
from pullcurve.report.drawing import ACCENT, GREY, INK, LETTERS_AN_INCH, SHADE, STYLE, WIDTH_IN

# Told apart by shape and pattern, so by a fax as well.
_FIRST: Final[dict[str, Any]] = {"marker": "o", "color": INK, "markerfacecolor": "white"}
_LATER: Final[dict[str, Any]] = {"marker": "s", "color": ACCENT, "markerfacecolor": ACCENT}
_BANDS: Final[tuple[dict[str, Any], ...]] = (
    {"facecolor": "none", "edgecolor": GREY, "hatch": "//////", "linewidth": 0.0},
    {"facecolor": SHADE, "edgecolor": SHADE, "linewidth": 0.0},
)


def compare_figure(
    said: Comparison, pair: Pair, units: UnitSystem, width_in: float = WIDTH_IN
) -> Figure:
    """The first run and one of the later ones."""
    unit = units.volume_flow
    first, later = said.runs[0], said.runs[pair.later - 1]
    title = fill(
        f"standard flow through the meter, {unit.label} at {said.reference_conditions}",
        int(LETTERS_AN_INCH * (width_in - 0.6)),
    )
    lines = 1 + title.count("\n")
    height = 5.0 + 0.16 * lines
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(width_in, height))
        figure.subplots_adjust(
            left=0.6 / width_in,
            right=1 - 0.12 / width_in,
            bottom=0.46 / height,
            top=1 - (0.14 + 0.16 * lines) / height,
            hspace=0.24,
        )
        upper, lower = figure.subplots(2, sharex=True, height_ratios=(3, 2))
        upper.set_title(title)
        _draw_curve(upper, first, units, _FIRST, _BANDS[0], f"run 1, {_short(first)}")
        _draw_curve(upper, later, units, _LATER, _BANDS[1], f"run {pair.later}, {_short(later)}")
        upper.set_ylim(bottom=0)
        upper.legend(loc="lower right", frameon=False, fontsize=8)
        lower.set_title(f"run {pair.later} less run 1, % of run 1's flow")
        _draw_difference(lower, pair)
        lower.set_xlabel("speed of the blower's shaft, rpm")
        for axes in (upper, lower):
            axes.grid(axis="y", color="#dddddd", linewidth=0.6)
            axes.set_axisbelow(True)
        return figure


def _draw_curve(
    axes: Axes,
    run: ComparedRun,
    units: UnitSystem,
    look: dict[str, Any],
    band: dict[str, Any],
    name: str,
) -> None:
    unit = units.volume_flow
    points = [point for point in run.points if point.compared]
    speed = np.array([point.speed_rpm for point in points])
    flow = np.array([unit.from_si(point.standard_flow_m3_s) for point in points])
    u95 = np.array([unit.difference_from_si(point.standard_flow_u95_m3_s) for point in points])
    axes.fill_between(speed, flow - u95, flow + u95, zorder=1, **band)
    if len(points) == 1:
        axes.errorbar(speed, flow, u95, color=look["color"], capsize=2.5, elinewidth=0.8)
    axes.plot(speed, flow, markersize=4.5, linewidth=1.0, label=name, zorder=3, **look)


def _draw_difference(axes: Axes, pair: Pair) -> None:
    speed = [at.speed_rpm for at in pair.speeds]
    flows = [at.standard_flow_m3_s for at in pair.speeds]
    value = [100 * flow.relative for flow in flows]
    axes.axhline(0, color=INK, linewidth=0.8)
    if pair.same_meter:
        apart = [100 * flow.relative_u95_apart for flow in flows]
        axes.errorbar(
            speed, value, apart, fmt="none", ecolor=GREY, elinewidth=0.6, capsize=3.0, capthick=0.6
        )
    axes.errorbar(
        speed,
        value,
        [100 * flow.relative_u95 for flow in flows],
        fmt="D",
        color=INK,
        markersize=3.5,
        elinewidth=2.2,
    )
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -0.1 * (high - low)), max(high, 0.1 * (high - low)))


def _short(run: ComparedRun) -> str:
    name = run.log_name.removesuffix(".runlog")
    return name if len(name) <= 28 else f"{name[:27]}…"

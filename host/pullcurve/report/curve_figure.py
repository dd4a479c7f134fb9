"""The picture of the result: standard flow against the speed of the blower's shaft."""

from collections.abc import Sequence
from textwrap import fill
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.captions import by_sweep, shape_of
from pullcurve.report.drawing import ACCENT, INK, STYLE, WIDTH_IN
from pullcurve.report.result import RunResult, SettledPoint
from pullcurve.report.sentences import fastest, flow_label, point_name, rpm, shown, told

_LEFT_IN: Final = 0.525
_LETTERS_AN_INCH: Final = 14.8  # of a title
# One for each sweep in turn: told apart by shape and filling, so by a fax as well.
_MARKS: Final[tuple[dict[str, Any], ...]] = (
    {"fmt": "o"},
    {"fmt": "s", "markerfacecolor": "white"},
    {"fmt": "^"},
    {"fmt": "o", "markerfacecolor": "white"},
    {"fmt": "s"},
)


def curve_figure(result: RunResult, units: UnitSystem, width_in: float = WIDTH_IN) -> Figure:
    """Standard flow against the speed of the blower's shaft, both axes from zero."""
    title = fill(flow_label(result, units), int(_LETTERS_AN_INCH * (width_in - _LEFT_IN)))
    lines = 1 + title.count("\n")
    height_in = 3.24 + 0.16 * lines
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(width_in, height_in))
        figure.subplots_adjust(
            left=_LEFT_IN / width_in,
            right=1 - 0.105 / width_in,
            bottom=0.46 / height_in,
            top=1 - (0.14 + 0.16 * lines) / height_in,
        )
        axes = figure.add_subplot()
        axes.set_title(title)
        axes.set_xlabel("speed of the blower's shaft, rpm")
        if result.stated:
            _draw_curve(axes, result, units)
        else:
            axes.text(0.5, 0.5, "no flow is stated", ha="center", transform=axes.transAxes)
        return figure


def _draw_curve(axes: Axes, result: RunResult, units: UnitSystem) -> None:
    points, unit = result.stated, units.volume_flow
    flow = np.array([unit.from_si(point.standard_flow.value) for point in points])
    flow_u95 = np.array([unit.difference_from_si(point.standard_flow.u95) for point in points])
    axes.set_xlim(0, 1.08 * fastest(result.points).speed_rpm.value)
    axes.set_ylim(min(0.0, float(flow.min())), 1.18 * max(float((flow + flow_u95).max()), 1e-9))
    axes.grid(axis="y", color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    sweeps = by_sweep(points)
    for number, sweep in enumerate(sweeps):
        _draw_sweep(axes, sweep, units, _MARKS[number % len(_MARKS)])
        _name_points(
            axes,
            sweep,
            result.points,
            unit,
            above=len(sweeps) > 1 and sweep is max(sweeps, key=_mean_flow),
        )
    _mark_withheld(axes, result.points)
    top = fastest(points)
    axes.annotate(
        f"{told(shown(top.standard_flow, unit), unit)}\nat {rpm(top.speed_rpm)}",
        (
            top.speed_rpm.value,
            unit.from_si(top.standard_flow.value + top.standard_flow.u95),
        ),
        xytext=(-14, 4),
        textcoords="offset points",
        ha="right",
        va="bottom",
        color=ACCENT,
        weight="bold",
    )


def _draw_sweep(
    axes: Axes, points: Sequence[SettledPoint], units: UnitSystem, mark: dict[str, Any]
) -> None:
    unit = units.volume_flow
    shape = shape_of(points)
    speed = np.array([point.speed_rpm.value for point in points])
    if shape is not None:
        ends = np.array([speed.min(), speed.max()])
        line = unit.from_si(shape.slope * ends + shape.intercept)
        axes.plot(ends, line, color=ACCENT, linewidth=1.2, dashes=(6, 3), gid="straight line")
    axes.errorbar(
        speed,
        [unit.from_si(point.standard_flow.value) for point in points],
        yerr=[unit.difference_from_si(point.standard_flow.u95) for point in points],
        xerr=[point.speed_rpm.u95 for point in points],
        color=INK,
        markersize=4,
        elinewidth=0.8,
        capsize=2.5,
        capthick=0.8,
        **mark,
    )


def _name_points(
    axes: Axes,
    sweep: Sequence[SettledPoint],
    points: Sequence[SettledPoint],
    unit: DisplayUnit,
    *,
    above: bool,
) -> None:
    """The points' names at the ends of their bars."""
    side = 1 if above else -1
    for group in _neighbours(sweep, 0.025 * axes.get_xlim()[1]):
        ends = [unit.from_si(p.standard_flow.value + side * p.standard_flow.u95) for p in group]
        axes.annotate(
            "\n".join(point_name(point, points) for point in group),
            (
                float(np.mean([point.speed_rpm.value for point in group])),
                max(ends) if above else min(ends),
            ),
            xytext=(0, 4 * side),
            textcoords="offset points",
            ha="center",
            va="bottom" if above else "top",
        )


def _mark_withheld(axes: Axes, points: Sequence[SettledPoint]) -> None:
    """A cross on the axis at the speed of each hold for which no flow is stated."""
    withheld = [point for point in points if point.withheld is not None]
    edge = axes.get_xaxis_transform()
    for group in _neighbours(withheld, 0.04 * axes.get_xlim()[1]):
        speeds = [point.speed_rpm.value for point in group]
        axes.plot(speeds, [0.0] * len(speeds), "x", color=INK, transform=edge, clip_on=False)
        axes.annotate(
            "\n".join(f"({point_name(point, points)})" for point in group),
            (float(np.mean(speeds)), 0.0),
            xycoords=edge,
            xytext=(0, 6),
            textcoords="offset points",
            ha="center",
            va="bottom",
        )


def _mean_flow(points: Sequence[SettledPoint]) -> float:
    return float(np.mean([point.standard_flow.value for point in points]))


def _neighbours(points: Sequence[SettledPoint], gap: float) -> list[list[SettledPoint]]:
    """Points whose names would run into each other, side by side in one group."""
    groups: list[list[SettledPoint]] = []
    for point in sorted(points, key=lambda each: each.speed_rpm.value):
        if groups and point.speed_rpm.value - groups[-1][-1].speed_rpm.value < gap:
            groups[-1].append(point)
        else:
            groups.append([point])
    return groups

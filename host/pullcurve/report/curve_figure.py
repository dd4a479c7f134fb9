"""The picture of the result: standard flow against the speed of the blower's shaft."""

from collections.abc import Sequence
from textwrap import fill
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pullcurve.diagnosis.result import HealthyPoint
from pullcurve.measure.points import SettledPoint
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.captions import brochure_mark, by_sweep, healthy_points, shape_of
from pullcurve.report.drawing import ACCENT, GREY, INK, LETTERS_AN_INCH, SHADE, STYLE, WIDTH_IN
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import fastest, flow_label, point_name, rpm, shown, told
from pullcurve.rounding import significant

_LEFT_IN: Final = 0.525
_LOW: Final = 0.3  # of the fastest hold's flow: where its label stands clear of all points
_ROOM: Final = 0.13  # of the axis, that the fastest hold's flow takes in letters
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
    title = fill(flow_label(result, units), int(LETTERS_AN_INCH * (width_in - _LEFT_IN)))
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
    band, brochure = healthy_points(result), brochure_mark(result)
    speeds = [fastest(result.points).speed_rpm.value, *([brochure[0]] if brochure else [])]
    flows = [
        float((flow + flow_u95).max()),
        *(unit.from_si(b.standard_flow_high_m3_s) for b in band),
    ]
    if brochure:
        flows.append(unit.from_si(brochure[1]))
    axes.set_xlim(0, 1.08 * max(speeds))
    axes.set_ylim(min(0.0, float(flow.min())), 1.18 * max(*flows, 1e-9))
    axes.grid(axis="y", color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    sweeps = by_sweep(points)
    for sweep in sweeps:
        _draw_band(axes, [each for each in band if each.point in {p.point for p in sweep}], unit)
    if brochure:
        _mark_brochure(axes, *brochure, unit)
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
    _tell_top(axes, points, band, brochure, unit)


def _tell_top(
    axes: Axes,
    points: Sequence[SettledPoint],
    band: Sequence[HealthyPoint],
    brochure: tuple[float, float] | None,
    unit: DisplayUnit,
) -> None:
    """The flow of the fastest hold: above it, or far below where something stands there."""
    top = fastest(points)
    flow = top.standard_flow
    end = flow.value + flow.u95
    over = [each for each in band if each.point == top.point]
    free = not any(each.standard_flow_low_m3_s > end for each in over)
    end = max([end, *(each.standard_flow_high_m3_s for each in over)])
    room = _ROOM * axes.get_ylim()[1]
    if brochure is not None:
        free &= not 0 < unit.from_si(brochure[1]) - unit.from_si(end) < room
    axes.annotate(
        f"{told(shown(flow, unit), unit)}\nat {rpm(top.speed_rpm)}",
        (top.speed_rpm.value, unit.from_si(end if free else _LOW * flow.value)),
        xytext=(-14, 4) if free else (0, 0),
        textcoords="offset points",
        ha="right",
        va="bottom",
        color=ACCENT,
        weight="bold",
    )


def _draw_band(axes: Axes, band: Sequence[HealthyPoint], unit: DisplayUnit) -> None:
    """Where the machine in good order would lie at the speeds of a sweep: shade with an edge, so
    that a fax shows it."""
    ordered = sorted(band, key=lambda each: each.speed_rpm)
    speed = [each.speed_rpm for each in ordered]
    low = [unit.from_si(each.standard_flow_low_m3_s) for each in ordered]
    high = [unit.from_si(each.standard_flow_high_m3_s) for each in ordered]
    if len(ordered) == 1:
        axes.vlines(speed, low, high, color=SHADE, linewidth=9)
    elif ordered:
        axes.fill_between(
            speed, low, high, facecolor=SHADE, edgecolor=GREY, linewidth=0.5, gid="healthy band"
        )


def _mark_brochure(axes: Axes, speed_rpm: float, flow_m3_s: float, unit: DisplayUnit) -> None:
    flow = unit.from_si(flow_m3_s)
    axes.plot(
        [speed_rpm], [flow], "D", color=INK, markersize=5, markerfacecolor="white", gid="brochure"
    )
    axes.annotate(
        f"brochure: {significant(flow, 3)} {unit.label},\nwhere and in what air not said",
        (speed_rpm, flow),
        xytext=(4, 6),
        textcoords="offset points",
        ha="right",
        va="bottom",
        size=8,
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

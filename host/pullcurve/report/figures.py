"""The run's two pictures: flow against speed, and the run in time.

Black ink on white and one accent; whatever colour says, a pattern, number or word says too.
"""

from collections.abc import Sequence
from io import BytesIO
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.captions import by_sweep, shape_of
from pullcurve.report.result import RunResult, SettledPoint
from pullcurve.report.rounding import significant
from pullcurve.report.sentences import fastest, flow_label, point_name, shown, told

INK: Final = "black"
ACCENT: Final = "#0072B2"  # blue of Okabe and Ito's colour-blind-safe palette (from memory)
_SHADE: Final = "#d6e7f2"  # the accent, pale enough for black ink and a fax
_GREY: Final = "#666666"
_WIDTH_IN: Final = 7.0
_PNG_DPI: Final = 200
# One for each sweep in turn: told apart by shape and filling, so by a fax as well.
_MARKS: Final[tuple[dict[str, Any], ...]] = (
    {"fmt": "o"},
    {"fmt": "s", "markerfacecolor": "white"},
    {"fmt": "^"},
    {"fmt": "o", "markerfacecolor": "white"},
    {"fmt": "s"},
)
_STYLE: Final[Any] = {
    "font.family": ["DejaVu Sans"],  # comes with matplotlib, so a picture is the same everywhere
    "font.size": 9,
    "axes.titlesize": 9,
    "axes.titlelocation": "left",
    "axes.titlepad": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "axes.unicode_minus": True,
    "lines.linewidth": 1.0,
    "hatch.linewidth": 0.5,
    "svg.fonttype": "path",
    "svg.hashsalt": "pullcurve",
}


def curve_figure(result: RunResult, units: UnitSystem) -> Figure:
    """Standard flow against the speed of the blower's shaft, both axes from zero."""
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(_WIDTH_IN, 3.7))
        figure.subplots_adjust(left=0.075, right=0.985, bottom=0.125, top=0.93)
        axes = figure.add_subplot()
        axes.set_title(flow_label(result, units))
        axes.set_xlabel("speed of the blower's shaft, rpm")
        if result.points:
            _draw_curve(axes, result, units)
        else:
            axes.text(0.5, 0.5, "no settled point", ha="center", transform=axes.transAxes)
        return figure


def strip_figure(result: RunResult, units: UnitSystem) -> Figure:
    """Speed and differential pressure against time, zeros and settled stretches marked."""
    pressure = units.differential_pressure
    scale, unit = (60.0, "minutes") if result.duration_s >= 180 else (1.0, "seconds")
    time = _numbers(result.strip.time_s) / scale
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(_WIDTH_IN, 3.4))
        figure.subplots_adjust(left=0.075, right=0.985, bottom=0.13, top=0.87, hspace=0.4)
        upper, lower = figure.subplots(2, sharex=True)
        upper.plot(time, _numbers(result.strip.speed_rpm), color=INK, linewidth=0.8)
        upper.set_title("speed of the blower's shaft, rpm", pad=16)
        readings = _numbers(result.strip.differential_pressure_pa)
        lower.plot(time, pressure.difference_from_si(readings), color=INK, linewidth=0.8)
        lower.set_title(f"differential pressure at the meter, {pressure.label}")
        lower.set_xlabel(f"{unit} since the first block")
        lower.set_xlim(0, max(result.duration_s, 1.0) / scale)
        for axes in (upper, lower):
            axes.margins(y=0.12)
            _mark_stretches(axes, result, scale)
        highest = max((speed for speed in result.strip.speed_rpm if speed is not None), default=1.0)
        upper.set_ylim(0, 1.12 * max(highest, 1.0))
        _name_stretches(upper, result, scale)
        return figure


def svg(figure: Figure) -> bytes:
    """The figure as SVG, the same bytes for the same figure."""
    buffer = BytesIO()
    with mpl.rc_context(_STYLE):
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(buffer, format="svg", metadata=nothing)
    return buffer.getvalue()


def png(figure: Figure) -> bytes:
    buffer = BytesIO()
    with mpl.rc_context(_STYLE):
        figure.savefig(buffer, format="png", dpi=_PNG_DPI, metadata={"Software": None})
    return buffer.getvalue()


def _draw_curve(axes: Axes, result: RunResult, units: UnitSystem) -> None:
    points, unit = result.points, units.volume_flow
    speed = np.array([point.speed_rpm.value for point in points])
    flow = np.array([unit.from_si(point.standard_flow_m3_s.value) for point in points])
    flow_u95 = np.array([unit.difference_from_si(p.standard_flow_m3_s.u95) for p in points])
    axes.set_xlim(0, 1.08 * speed.max())
    axes.set_ylim(min(0.0, float(flow.min())), 1.18 * max(float((flow + flow_u95).max()), 1e-9))
    axes.grid(axis="y", color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    sweeps = by_sweep(points)
    for number, sweep in enumerate(sweeps):
        _draw_sweep(axes, sweep, units, _MARKS[number % len(_MARKS)])
        _name_points(
            axes,
            sweep,
            points,
            unit,
            above=len(sweeps) > 1 and sweep is max(sweeps, key=_mean_flow),
        )
    top = fastest(points)
    axes.annotate(
        f"{told(shown(top.standard_flow_m3_s, unit), unit)}\n"
        f"at {significant(top.speed_rpm.value, 4)} rpm",
        (
            top.speed_rpm.value,
            unit.from_si(top.standard_flow_m3_s.value + top.standard_flow_m3_s.u95),
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
        [unit.from_si(point.standard_flow_m3_s.value) for point in points],
        yerr=[unit.difference_from_si(point.standard_flow_m3_s.u95) for point in points],
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
        ends = [
            unit.from_si(p.standard_flow_m3_s.value + side * p.standard_flow_m3_s.u95)
            for p in group
        ]
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


def _mean_flow(points: Sequence[SettledPoint]) -> float:
    return float(np.mean([point.standard_flow_m3_s.value for point in points]))


def _neighbours(points: Sequence[SettledPoint], gap: float) -> list[list[SettledPoint]]:
    """Points whose names would run into each other, side by side in one group."""
    groups: list[list[SettledPoint]] = []
    for point in sorted(points, key=lambda each: each.speed_rpm.value):
        if groups and point.speed_rpm.value - groups[-1][-1].speed_rpm.value < gap:
            groups[-1].append(point)
        else:
            groups.append([point])
    return groups


def _mark_stretches(axes: Axes, result: RunResult, scale: float) -> None:
    for point in result.points:
        axes.axvspan(
            point.start_s / scale, point.end_s / scale, color=_SHADE, linewidth=0, zorder=0
        )
    for zero in result.zeros:
        axes.axvspan(
            zero.start_s / scale,
            zero.end_s / scale,
            facecolor="none",
            edgecolor=_GREY,
            hatch="////",
            linewidth=0,
            zorder=0,
        )


def _name_stretches(axes: Axes, result: RunResult, scale: float) -> None:
    """Names along the upper edge, and a bar under each that a fax keeps."""
    names = [
        (point.start_s, point.end_s, point_name(point, result.points)) for point in result.points
    ]
    names += [(zero.start_s, zero.end_s, "zero") for zero in result.zeros]
    edge = axes.get_xaxis_transform()
    for start_s, end_s, name in names:
        axes.plot(
            [start_s / scale, end_s / scale],
            [1.0, 1.0],
            color=_GREY if name == "zero" else ACCENT,
            linewidth=2.5,
            solid_capstyle="butt",
            transform=edge,
            clip_on=False,
        )
        axes.text((start_s + end_s) / 2 / scale, 1.03, name, ha="center", transform=edge)


def _numbers(values: tuple[float | None, ...]) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

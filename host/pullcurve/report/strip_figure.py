"""The run in time: speed and differential pressure, with zeros, holds and what does not count."""

from typing import Any, Final, NamedTuple

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pullcurve.quantities import UnitSystem
from pullcurve.report.drawing import ACCENT, GREY, INK, SHADE, STYLE, WIDTH_IN, numbers
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import letters, point_name


class _Mark(NamedTuple):
    """How one kind of stretch looks: its area, the bar along the upper edge, its name's place."""

    area: dict[str, Any]
    bar: dict[str, Any]
    name_at: float


_HATCHED: Final = {"facecolor": "none", "edgecolor": GREY, "linewidth": 0}
_STATED: Final = _Mark({"color": SHADE, "linewidth": 0}, {"color": ACCENT}, 1.03)
_WITHHELD: Final = _Mark(
    _HATCHED | {"hatch": "...."}, {"color": INK, "linestyle": (0, (1, 1))}, 1.03
)
_REJECTED: Final = _Mark(
    {"facecolor": "none", "edgecolor": GREY, "linewidth": 0.8, "linestyle": (0, (4, 3))},
    {"color": GREY, "linestyle": (0, (2, 1))},
    0.90,
)
_ZERO: Final = _Mark(_HATCHED | {"hatch": "////"}, {"color": GREY}, 1.03)


def strip_figure(result: RunResult, units: UnitSystem) -> Figure:
    """Speed and differential pressure against time, every stretch marked and named."""
    pressure = units.differential_pressure
    scale, unit = (60.0, "minutes") if result.duration_s >= 180 else (1.0, "seconds")
    time = numbers(result.strip.time_s) / scale
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, 3.4))
        figure.subplots_adjust(left=0.075, right=0.985, bottom=0.13, top=0.87, hspace=0.4)
        upper, lower = figure.subplots(2, sharex=True)
        upper.plot(time, numbers(result.strip.speed_rpm), color=INK, linewidth=0.8)
        upper.set_title("speed of the blower's shaft, rpm", pad=16)
        readings = numbers(result.strip.differential_pressure_pa)
        lower.plot(time, pressure.difference_from_si(readings), color=INK, linewidth=0.8)
        lower.set_title(f"differential pressure at the meter, {pressure.label}")
        lower.set_xlabel(f"{unit} since the first block")
        lower.set_xlim(0, max(result.duration_s, 1.0) / scale)
        lower.margins(y=0.12)
        highest = max((speed for speed in result.strip.speed_rpm if speed is not None), default=1.0)
        upper.set_ylim(0, 1.25 * max(highest, 1.0))
        for mark, stretches in _stretches(result):
            if stretches:
                spans = [(start_s / scale, end_s / scale) for start_s, end_s, _ in stretches]
                for axes in (upper, lower):
                    axes.broken_barh(
                        [(start, end - start) for start, end in spans],
                        (0.0, 1.0),
                        transform=axes.get_xaxis_transform(),
                        zorder=0,
                        **mark.area,
                    )
                _name(upper, mark, spans, [name for *_, name in stretches])
        return figure


def _stretches(result: RunResult) -> list[tuple[_Mark, list[tuple[float, float, str]]]]:
    """Start, end and name of the stretches of each kind."""
    named = [(point, point_name(point, result.points)) for point in result.points]
    return [
        (_STATED, [(p.start_s, p.end_s, name) for p, name in named if p.withheld is None]),
        (_WITHHELD, [(p.start_s, p.end_s, f"({name})") for p, name in named if p.withheld]),
        (_ZERO, [(zero.start_s, zero.end_s, "zero") for zero in result.zeros]),
        (
            _REJECTED,
            [
                (stretch.start_s, stretch.end_s, letters(number))
                for number, stretch in enumerate(result.rejected)
            ],
        ),
    ]


def _name(axes: Axes, mark: _Mark, spans: list[tuple[float, float]], names: list[str]) -> None:
    """Names at the upper edge, over bars that a fax keeps."""
    edge = axes.get_xaxis_transform()
    starts, ends = zip(*spans, strict=True)
    axes.hlines(
        [1.0] * len(spans), starts, ends, linewidth=2.5, transform=edge, clip_on=False, **mark.bar
    )
    for (start, end), name in zip(spans, names, strict=True):
        axes.text((start + end) / 2, mark.name_at, name, ha="center", transform=edge)

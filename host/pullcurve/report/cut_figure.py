"""A shift in time: flow and vacuum, with every alarm marked by pattern, number and name."""

from typing import Any, Final

import matplotlib as mpl
from matplotlib.figure import Figure

from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.result import CutResult
from pullcurve.quantities import UnitSystem
from pullcurve.report.drawing import ACCENT, GREY, INK, STYLE, WIDTH_IN, numbers

# Kinds look different in a fax as well.
_PATTERNS: Final[dict[str, dict[str, Any]]] = {
    "clog": {"hatch": "////"},
    "hose_off": {"hatch": "xxxx"},
    "filter_loading": {"hatch": "...."},
    "leak": {"hatch": "oo"},
    "speed_sag": {"hatch": "----"},
    "slow_nozzle": {"hatch": "||||"},
}
_NAMES: Final = {
    "clog": "clog",
    "hose_off": "hose off",
    "filter_loading": "filter",
    "leak": "leak",
    "speed_sag": "speed",
    "slow_nozzle": "slow air",
}
_LANES: Final = 4  # of names above the picture, so that neighbours do not cover each other
_HOURS_FROM_S: Final = 3 * 3600.0


def cut_figure(result: CutResult, units: UnitSystem) -> Figure:
    """Flow and vacuum against time; alarms stand above, each over its stretch."""
    flow, vacuum = units.volume_flow, units.vacuum
    scale, unit = (3600.0, "hours") if result.duration_s >= _HOURS_FROM_S else (60.0, "minutes")
    time = numbers(result.strip.time_s) / scale
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, 4.2))
        figure.subplots_adjust(left=0.075, right=0.985, bottom=0.11, top=0.76, hspace=0.4)
        upper, lower = figure.subplots(2, sharex=True)
        upper.plot(
            time,
            flow.from_si(numbers(result.strip.standard_flow_m3_s)),
            color=INK,
            linewidth=0.8,
        )
        figure.suptitle(
            f"standard flow through the clean pipe, {flow.label}", x=0.075, ha="left", fontsize=9
        )
        lower.plot(
            time,
            vacuum.difference_from_si(numbers(result.strip.vacuum_pa)),
            color=INK,
            linewidth=0.8,
        )
        lower.set_title(f"vacuum in the clean pipe, {vacuum.label}")
        lower.set_xlabel(f"{unit} since the first block")
        lower.set_xlim(0, max(result.duration_s, 1.0) / scale)
        upper.set_ylim(bottom=0)
        lower.set_ylim(bottom=0)
        for place, event in enumerate(result.events):
            _mark(figure, event, place % _LANES, result.duration_s, scale)
        return figure


def _mark(figure: Figure, event: CutAlarm, lane: int, duration_s: float, scale: float) -> None:
    upper, lower = figure.axes
    start = event.start_s / scale
    end = (duration_s if event.end_s is None else event.end_s) / scale
    sudden = event.kind in ("clog", "hose_off")
    for axes in (upper, lower):
        if sudden:
            area: dict[str, Any] = {"facecolor": "none", "edgecolor": GREY, "linewidth": 0}
            axes.axvspan(start, end, zorder=0, **area, **_PATTERNS[event.kind])
        axes.axvline(event.spoken_s / scale, color=ACCENT, linewidth=0.8, linestyle=":")
    edge = upper.get_xaxis_transform()
    height = 1.08 + 0.13 * lane
    upper.plot(
        [start, end], [height - 0.02] * 2, transform=edge, clip_on=False, linewidth=2.0,
        color=INK if sudden else GREY, solid_capstyle="butt",
    )  # fmt: skip
    late = start > 0.85 * upper.get_xlim()[1]
    upper.text(
        start,
        height,
        f"{event.number} {_NAMES[event.kind]}",
        transform=edge,
        fontsize=7.5,
        ha="right" if late else "left",
    )

"""What to conclude from each picture, computed from the numbers that it draws."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from pullcurve.diagnosis.result import HealthyPoint, RunDiagnosis
from pullcurve.measure.points import SettledPoint
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.curve_shape import CurveShape, curve_shape
from pullcurve.report.inputs_in_words import input_words
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import (
    fastest,
    flow_label,
    names_explained,
    point_name,
    rpm,
    shown,
    slowest,
    told,
)
from pullcurve.rounding import counted, measured, minutes, percent, significant

_STRETCHES: Final = "settled stretches"
_VERDICT: Final = {
    "straight": "No bend shows beyond what the meter and the scatter can make up: the flow "
    "follows the speed.",
    "flattens": "The curve flattens with speed by more than the meter and the scatter can make "
    "up: a restriction that grows with the flow does this, so look at filter, hose and screens; "
    "a shifted zero does it too.",
    "steepens": "The curve steepens with speed by more than the meter and the scatter can make "
    "up: a shifted zero of the sensor does this, so check the zero first.",
    "open": "It takes five holds at three speeds to say whether the curve bends.",
}


def by_sweep(points: Sequence[SettledPoint]) -> list[list[SettledPoint]]:
    """The points of each sweep, in order."""
    numbers = sorted({point.sweep for point in points})
    return [[point for point in points if point.sweep == number] for number in numbers]


def shape_of(points: Sequence[SettledPoint]) -> CurveShape | None:
    """The shape of the points' standard flow, None where they tell none."""
    if not points:
        return None
    speed = np.array([point.speed_rpm.value for point in points])
    return curve_shape(speed, np.array([point.standard_flow.value for point in points]))


def healthy_points(result: RunResult) -> tuple[HealthyPoint, ...]:
    """What this machine in good order would move at each point; none without a diagnosis."""
    said = result.diagnosis
    return said.healthy_band if isinstance(said, RunDiagnosis) else ()


def brochure_mark(result: RunResult) -> tuple[float, float] | None:
    """Rated speed and flow of the brochure, where both are known."""
    said = result.diagnosis
    if not isinstance(said, RunDiagnosis) or said.ledger is None or not said.brochure_flow_m3_s:
        return None
    return said.ledger.rated_from.speed_rpm, said.brochure_flow_m3_s


def _band_caption(result: RunResult) -> str:
    band = {each.point: each for each in healthy_points(result)}
    if not band:
        return ""
    below = above = 0
    points = [point for point in result.stated if point.point in band]
    for point in points:
        flow, each = point.standard_flow, band[point.point]
        below += flow.value + flow.u95 < each.standard_flow_low_m3_s
        above += flow.value - flow.u95 > each.standard_flow_high_m3_s
    where = f"{below} of {len(points)} points lie below it with their whole bars"
    if below == len(points):
        where = "every point lies below it with its whole bar"
    elif not below and not above:
        where = "every point reaches into it"
    elif above:
        where = f"{above} of {len(points)} points lie above it: look at meter and rig"
    said = (
        "Shaded: where this machine in good order would lie at the measured speeds, nineteen times "
        f"in twenty; {where}."
    )
    if brochure_mark(result):
        said += " Diamond: the brochure's figure as it is printed, at the rated speed."
    return said


def curve_caption(result: RunResult, units: UnitSystem) -> str:
    points, unit = result.stated, units.volume_flow
    if not points:
        return "No point states a flow, so there is no curve."
    bars = f"Bars: 95 % interval. {names_explained(result.points)}".strip()
    if len(points) < len(result.points):
        bars += " × on the axis: a hold for which no flow is stated."
    bars = f"{bars} {_band_caption(result)}".strip()
    sweeps = by_sweep(points)
    if len(sweeps) == 1:
        return f"{_sweep_caption(points, unit)} {bars}"
    told_each = [f"Sweep {sweep[0].sweep}: {_sweep_caption(sweep, unit)}" for sweep in sweeps]
    return " ".join([*told_each, bars])


def _sweep_caption(points: Sequence[SettledPoint], unit: DisplayUnit) -> str:
    top = fastest(points)
    highest = f"{told(shown(top.standard_flow, unit), unit)} at {rpm(top.speed_rpm)}"
    if len(points) == 1:
        return (
            f"One settled point: {highest}. Holds at other speeds would show how the flow follows."
        )
    shape = shape_of(points)
    if shape is None:
        flows = [point.standard_flow.value for point in points]
        spread = (max(flows) - min(flows)) / max(*flows, 1e-12)
        return (
            f"All {len(points)} holds are at one speed; their flows lie within "
            f"{percent(spread)} of the highest."
        )
    low = slowest(points)
    gain = significant(unit.difference_from_si(100 * shape.slope), 3)
    return (
        f"Between {rpm(low.speed_rpm)} and {rpm(top.speed_rpm)} each 100 rpm brings {gain} "
        f"{unit.label}, up to {highest}. No point lies further than {percent(shape.departure)} "
        f"of the top flow from the straight line. {_VERDICT[shape.verdict]}"
    )


def curve_alt(result: RunResult, units: UnitSystem) -> str:
    return (
        f"Graph: {flow_label(result, units)}, against the speed of the blower's shaft in rpm; "
        f"{counted(len(result.stated), 'settled point')}, listed in the table below."
    )


def strip_caption(result: RunResult, units: UnitSystem) -> str:
    said = [_settled_caption(result)]
    withheld = len(result.points) - len(result.stated)
    if withheld:
        said.append(f"Dotted, in brackets: {counted(withheld, 'hold')} with no flow stated.")
    if result.rejected:
        not_counted = counted(len(result.rejected), "stretch", "stretches")
        said.append(f"Dashed, lettered: {not_counted} not counted; the table says why.")
    said.append(_zero_caption(result, units))
    return " ".join(said)


def _settled_caption(result: RunResult) -> str:
    points, whole = result.stated, minutes(result.duration_s)
    if not points:
        return f"No settled stretch in {whole} min makes a result."
    settled = minutes(sum(point.end_s - point.start_s for point in points))
    return (
        f"Of {whole} min, {settled} min in {counted(len(points), 'settled stretch', _STRETCHES)} "
        "(shaded, numbered) make the result."
    )


def _zero_caption(result: RunResult, units: UnitSystem) -> str:
    if not result.zeros:
        return "No zero with the engine off was taken: the sensor's offset is not known."
    zeros = counted(len(result.zeros), "stretch", "stretches")
    text = f"Hatched: {zeros} with the engine off, where the zero is taken."
    if len(result.zeros) < 2:
        return f"{text} One zero cannot show drift: take another at the end."
    first, last = result.zeros[0].zero_pa, result.zeros[-1].zero_pa
    unit = units.differential_pressure
    moved = measured(
        unit.difference_from_si(last.value - first.value),
        unit.difference_from_si(float(np.hypot(first.u95, last.u95))),
    )
    text += f" From the first zero to the last it moved by {told(moved, unit)}"
    least = min((point.differential_pressure_pa.value for point in result.stated), default=0.0)
    if least > 0:
        # Flow goes with the root of the differential pressure.
        share = abs(last.value - first.value) / (2 * least)
        text += f", {percent(share)} of the lowest flow"
    return text + "."


def strip_alt(result: RunResult, units: UnitSystem) -> str:
    marked = [
        counted(len(result.zeros), "zero"),
        counted(len(result.points), "settled stretch", _STRETCHES),
    ]
    if result.rejected:
        rejected = counted(len(result.rejected), "stretch that does", "stretches that do")
        marked.append(f"{rejected} not count")
    return (
        f"Two graphs against time: speed of the blower's shaft in rpm, and differential pressure "
        f"in {units.differential_pressure.label}. Marked, and listed in the table below: "
        f"{', '.join(marked)}."
    )


def budget_caption(result: RunResult) -> str:
    points = result.stated
    top, bottom = fastest(points), slowest(points)
    largest = input_words(top.budget[0].source)
    said = f"The longest part is what to improve first: at the fastest hold the {largest}"
    if bottom is not top:
        other = input_words(bottom.budget[0].source)
        said += (
            ", and at the slowest hold too" if other == largest else f", at the slowest the {other}"
        )
    return (
        f"{said}. Each bar is one input's own part of the interval. The parts add up by their "
        "squares, so a part of half the length of another weighs a quarter as much."
    )


def budget_alt(result: RunResult) -> str:
    points = result.stated
    holds = dict.fromkeys(
        point_name(point, result.points) for point in (fastest(points), slowest(points))
    )
    return (
        f"Bar chart: parts of the 95 % interval of the standard flow in per cent of the flow, by "
        f"input, at hold {' and hold '.join(holds)}; listed in the table below."
    )

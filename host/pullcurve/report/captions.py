"""What to conclude from each picture, computed from the numbers that it draws."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.curve_shape import CurveShape, curve_shape
from pullcurve.report.result import RunResult, SettledPoint
from pullcurve.report.rounding import measured, minutes, percent, significant
from pullcurve.report.sentences import fastest, flow_label, names_explained, shown, told

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
    return curve_shape(speed, np.array([point.standard_flow_m3_s.value for point in points]))


def curve_caption(result: RunResult, units: UnitSystem) -> str:
    points, unit = result.points, units.volume_flow
    if not points:
        return "No settled point, so no curve."
    bars = f"Bars: 95 % interval. {names_explained(points)}".strip()
    sweeps = by_sweep(points)
    if len(sweeps) == 1:
        return f"{_sweep_caption(points, unit)} {bars}"
    told_each = [f"Sweep {sweep[0].sweep}: {_sweep_caption(sweep, unit)}" for sweep in sweeps]
    return " ".join([*told_each, bars])


def _sweep_caption(points: Sequence[SettledPoint], unit: DisplayUnit) -> str:
    top = fastest(points)
    highest = (
        f"{told(shown(top.standard_flow_m3_s, unit), unit)} at "
        f"{significant(top.speed_rpm.value, 4)} rpm"
    )
    if len(points) == 1:
        return (
            f"One settled point: {highest}. Holds at other speeds would show how the flow follows."
        )
    shape = shape_of(points)
    if shape is None:
        flows = [point.standard_flow_m3_s.value for point in points]
        spread = (max(flows) - min(flows)) / max(*flows, 1e-12)
        return (
            f"All {len(points)} holds are at one speed; their flows lie within "
            f"{percent(spread)} of the highest."
        )
    low = min(points, key=lambda point: point.speed_rpm.value)
    gain = significant(unit.difference_from_si(100 * shape.slope), 3)
    return (
        f"Between {significant(low.speed_rpm.value, 4)} and "
        f"{significant(top.speed_rpm.value, 4)} rpm each 100 rpm bring {gain} {unit.label}, up to "
        f"{highest}. No point lies further than {percent(shape.departure)} of the top flow from "
        f"the straight line. {_VERDICT[shape.verdict]}"
    )


def curve_alt(result: RunResult, units: UnitSystem) -> str:
    return (
        f"Graph: {flow_label(result, units)}, against the speed of the blower's shaft in rpm; "
        f"{len(result.points)} settled points, listed in the table below."
    )


def strip_caption(result: RunResult, units: UnitSystem) -> str:
    settled = sum(point.end_s - point.start_s for point in result.points)
    stretches = len(result.points)
    text = f"No settled stretch in {minutes(result.duration_s)} min."
    if stretches:
        text = (
            f"Of {minutes(result.duration_s)} min, {minutes(settled)} min in {stretches} settled "
            f"stretch{'es' * (stretches > 1)} (shaded, numbered) make the result."
        )
    if not result.zeros:
        return f"{text} No zero with the engine off was taken: the sensor's offset is not known."
    text += f" Hatched: {len(result.zeros)} with the engine off, where the zero is taken."
    if len(result.zeros) < 2:
        return f"{text} One zero cannot show drift: take another at the end."
    first, last = result.zeros[0].zero_pa, result.zeros[-1].zero_pa
    unit = units.differential_pressure
    moved = measured(
        unit.difference_from_si(last.value - first.value),
        unit.difference_from_si(float(np.hypot(first.u95, last.u95))),
    )
    text += f" From the first zero to the last it moved by {told(moved, unit)}"
    least = min((point.differential_pressure_pa.value for point in result.points), default=0.0)
    if least > 0:
        # Flow goes with the root of the differential pressure.
        share = abs(last.value - first.value) / (2 * least)
        text += f", {percent(share)} of the lowest flow"
    return text + "."


def strip_alt(result: RunResult, units: UnitSystem) -> str:
    return (
        f"Two graphs against time: speed of the blower's shaft in rpm, and differential pressure "
        f"in {units.differential_pressure.label}; {len(result.zeros)} zeros and "
        f"{len(result.points)} settled stretches are marked and listed in the table below."
    )

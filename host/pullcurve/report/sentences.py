"""What a result says in words. Light: the terminal summary needs no plotting and no tables."""

from collections.abc import Sequence
from typing import Final

from pullcurve.quantities import SI, UNITS, DisplayUnit, UnitSystem
from pullcurve.report.result import (
    Contribution,
    DataQuality,
    Flow,
    MeterFacts,
    Quantity,
    RunResult,
    SettledPoint,
    SiteFacts,
)
from pullcurve.report.rounding import Measured, count, measured, percent, significant

_NO_BREAK: Final = "\N{NO-BREAK SPACE}"
_THROUGH: Final = {
    "port": "its port",
    "hose_end": "the far end of its hose",
    "clean_pipe": "the clean pipe between filter and blower",
}
_WHERE: Final = {
    "port": "on the machine's port",
    "hose_end": "at the far end of the hose",
    "clean_pipe": "in the clean pipe",
}
_POSITION: Final = {
    "port": "In the open air, straight on the machine's port, with the hose off. Air that comes in "
    "behind the port does not pass the meter.",
    "hose_end": "In the open air, at the far end of the hose. Air that comes in at the hose, the "
    "tank or the filter does not pass the meter.",
    "clean_pipe": "In the clean pipe between filter and blower. All air that comes in ahead of it "
    "passes the meter, air from a leaking tank or filter lid included.",
}
_SHARPEN: Final = {
    "point": "It is drawn anew at each point: longer holds, or the same speed held again, "
    "make it smaller.",
    "run": "It is common to all points of the run: a better zero, or a better reading of the "
    "air's pressure, temperature and humidity, makes it smaller.",
    "meter": "It belongs to the meter and does not shrink with more holds: only measuring or "
    "calibrating the meter itself does that. It drops out when two runs with the same meter are "
    "compared.",
}
SAFETY: Final = (
    "Local law, site rules and licensed trades come before this page.",
    "Open suction takes hold of skin, clothing and stones: keep clear of every open inlet, never "
    "look into the hose or stop it by hand, and keep one person at the stop.",
    "Fit and remove meters, plates and pickups only with the engine stopped and locked out and "
    "the vacuum gone. Guards stay on pulleys and shafts.",
    "A blower with its inlet shut does not stall, it overheats. Do not pin or plug the relief "
    "valve. The discharge is hot: keep off it.",
    "Wear hearing protection. Spent grit from old paint can hold lead and silica: opening the "
    "filter is work with exposure.",
)


def shown(quantity: Quantity, unit: DisplayUnit) -> Measured:
    """A quantity in a unit, rounded as its uncertainty asks."""
    return measured(unit.from_si(quantity.value), unit.difference_from_si(quantity.u95))


def shown_flow(flow: Flow, unit: DisplayUnit) -> Measured:
    """The same for a flow at a place."""
    return measured(unit.from_si(flow.value_m3_s), unit.difference_from_si(flow.u95_m3_s))


def shown_celsius(temperature_c: float, unit: DisplayUnit) -> str:
    """A temperature of unstated uncertainty, in a unit."""
    return significant(unit.from_si(temperature_c + SI.temperature.offset), 3)


def told(number: Measured, unit: DisplayUnit) -> str:
    """A number with its unit, for a sentence: no line ends between them."""
    return f"{number}{_NO_BREAK}{unit.label}"


def fastest(points: Sequence[SettledPoint]) -> SettledPoint:
    return max(points, key=lambda point: point.speed_rpm.value)


def point_name(point: SettledPoint, points: Sequence[SettledPoint]) -> str:
    """`3`, or `2.3` for hold 3 of sweep 2 where the run has several sweeps."""
    sweeps = {each.sweep for each in points}
    return f"{point.sweep}.{point.hold}" if len(sweeps) > 1 else f"{point.hold}"


def names_explained(points: Sequence[SettledPoint]) -> str:
    return "2.3 is hold 3 of sweep 2." if len({point.sweep for point in points}) > 1 else ""


def flow_state(flow: Flow, units: UnitSystem) -> str:
    """The state of the air in which a volume flow is told."""
    pressure = units.station_pressure
    return (
        f"{significant(pressure.from_si(flow.pressure_pa), 3)} {pressure.label}, "
        f"{shown_celsius(flow.temperature_c, units.temperature)} {units.temperature.label}"
    )


def zero_sentence(result: RunResult, units: UnitSystem) -> str:
    """How the zero of the differential-pressure sensor was taken, and how well it is known."""
    unit = units.differential_pressure
    known = f"give or take {told_bare(unit.difference_from_si(result.zero_half_width_pa), unit)}"
    if not result.zeros:
        return (
            "No stretch with the engine off was found, so the sensor's zero is taken from its data "
            f"sheet: 0 {unit.label}, {known}. Let the logger run for 10 s with the engine off "
            "before and after a sweep."
        )
    first = told_bare(unit.difference_from_si(result.zeros[0].zero_pa.value), unit)
    if len(result.zeros) == 1:
        return (
            f"The sensor's zero was taken once with the engine off: {first}, {known}. A second "
            "time at the end shows whether it moved."
        )
    moved = result.zeros[-1].zero_pa.value - result.zeros[0].zero_pa.value
    return (
        f"The sensor's zero was taken {len(result.zeros)} times with the engine off. From first to "
        f"last it moved by {told_bare(unit.difference_from_si(moved), unit)}; between them it is "
        f"taken on straight lines, {known}."
    )


def told_bare(value: float, unit: DisplayUnit) -> str:
    """A value without an uncertainty of its own, to two digits, with its unit."""
    return f"{significant(value, 2)} {unit.label}"


def flow_label(result: RunResult, units: UnitSystem) -> str:
    """The name of the flow, with its unit, its place and its state."""
    return (
        f"standard flow through the meter {_WHERE[result.meter.position]}, "
        f"{units.volume_flow.label} at {result.reference_conditions}"
    )


def headline(
    points: Sequence[SettledPoint],
    position: str,
    reference_conditions: str,
    units: UnitSystem,
) -> str:
    """The result in one sentence, for a position of MeterFacts.

    Where the state of the air at the port is known, the flow there is told as well.
    """
    if not points:
        return "No settled point was found in this run, so no flow can be stated."
    top = fastest(points)
    unit = units.volume_flow
    sentence = (
        f"At {significant(top.speed_rpm.value, 4)} rpm of the blower the machine draws "
        f"{told(shown(top.standard_flow_m3_s, unit), unit)} of standard air "
        f"({reference_conditions}) through {_THROUGH[position]}"
    )
    if top.flow_port is not None:
        port = top.flow_port
        sentence += (
            f"; in the state of the air at the port ({flow_state(port, units)}) that is "
            f"{told(shown_flow(port, unit), unit)}, {port.basis}"
        )
    return sentence + "."


def flow_at_places(point: SettledPoint, units: UnitSystem) -> list[str]:
    """The same air at each place where its state is known."""
    unit = units.volume_flow
    places = (
        ("at the meter's upstream tap", point.flow_tap),
        ("at the machine's port", point.flow_port),
        ("at the blower's inlet", point.flow_inlet),
    )
    return [
        f"{told(shown_flow(flow, unit), unit)} {place}, at {flow_state(flow, units)} ({flow.basis})"
        for place, flow in places
        if flow is not None
    ]


def meter_sentences(meter: MeterFacts, units: UnitSystem) -> list[str]:
    length = units.length
    bore = significant(length.from_si(meter.pipe_bore_m), 5)
    throat = significant(length.from_si(meter.throat_bore_m), 5)
    coefficient = measured(meter.discharge_coefficient, meter.discharge_coefficient_u95)
    return [
        f"Meter: {meter.kind}, pipe bore {bore} {length.label}, throat bore {throat} "
        f"{length.label}.",
        f"Position: {_POSITION[meter.position]}",
        f"Discharge coefficient: {coefficient} ({meter.discharge_coefficient_source}).",
    ]


def site_sentences(site: SiteFacts, units: UnitSystem) -> list[str]:
    pressure, temperature = units.station_pressure, units.temperature
    humidity = (
        f"relative humidity {percent(site.humidity)} ({site.humidity_source})"
        if site.humidity is not None
        else f"humidity not known ({site.humidity_source})"
    )
    feet = site.altitude_m / float(UNITS["length"]["ft"].factor)
    return [
        f"Site: {count(site.altitude_m)} m ({count(feet)} ft) above sea level; air pressure there "
        f"{significant(pressure.from_si(site.station_pressure_pa), 4)} {pressure.label} absolute "
        f"({site.station_pressure_source}), "
        f"{shown_celsius(site.temperature_c, temperature)} {temperature.label} "
        f"({site.temperature_source}), {humidity}."
    ]


def uncertainty_sentences(result: RunResult, units: UnitSystem) -> list[str]:
    """How well the fastest point is known, what dominates, what would sharpen it."""
    if not result.points:
        return []
    top = fastest(result.points)
    flow = top.standard_flow_m3_s
    unit = units.volume_flow
    sentence = (
        "The ± is a 95 % interval: in nineteen cases of twenty the true value lies in it. At the "
        f"fastest hold the standard flow is {told(shown(flow, unit), unit)}"
    )
    if flow.value > 0:
        sentence += f", that is ±{_NO_BREAK}{percent(flow.u95 / flow.value)}"
    sentences = [sentence + "."]
    if result.budget and flow.value > 0 and flow.u95 > 0:
        sentences.append(_largest_part(result.budget, flow.u95 / flow.value))
    return sentences


def _largest_part(budget: Sequence[Contribution], whole: float) -> str:
    largest = max(budget, key=lambda part: part.share)
    rest = whole * max(0.0, 1.0 - largest.share) ** 0.5
    return (
        f"The largest part: {largest.source}, with {percent(largest.share)} of the variance. "
        f"Without it ±{_NO_BREAK}{percent(whole)} would be ±{_NO_BREAK}{percent(rest)}. "
        f"{_SHARPEN[largest.shared]}"
    )


def quality_sentences(quality: DataQuality) -> list[str]:
    """What arrived, what did not, and which samples are doubtful."""
    sentences = [_records(quality)]
    if quality.damaged:
        reasons = ", ".join(f"{number} × {why}" for why, number in sorted(quality.damaged.items()))
        sentences.append(f"Damaged lines, left out: {reasons}.")
    for number, what in ((quality.duplicated, "came twice"), (quality.late, "came late")):
        if number:
            sentences.append(f"{count(number)} record{'s' * (number != 1)} {what}.")
    if quality.board_starts > 1:
        sentences.append(f"The board started {quality.board_starts} times during the run.")
    sentences.append(_samples(quality))
    return sentences


def _records(quality: DataQuality) -> str:
    if not quality.records:
        return "No record arrived."
    if not quality.lost:
        return f"All {count(quality.records)} records arrived."
    share = quality.lost / (quality.records + quality.lost)
    return (
        f"{count(quality.records)} records arrived, {count(quality.lost)} are missing "
        f"({percent(share)})."
    )


def _samples(quality: DataQuality) -> str:
    faults = [
        f"{count(number)} {what} ({percent(number / max(quality.samples, number))})"
        for number, what in (
            (quality.stale_samples, "stale"),
            (quality.faulty_samples, "faulty"),
            (quality.clipped_samples, "clipped at the end of the sensor's range"),
        )
        if number
    ]
    doubtful = ", ".join(faults) or "none stale, faulty or clipped"
    return f"Differential pressure: {count(quality.samples)} samples, {doubtful}."

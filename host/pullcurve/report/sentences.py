"""What a result says in words. Light: the terminal summary needs no plotting and no templates."""

from collections.abc import Sequence
from typing import Final

from pullcurve.measure.facts import SiteFacts, SpeedFacts
from pullcurve.measure.points import Flow, SettledPoint, Withheld
from pullcurve.quantities import SI, UNITS, DisplayUnit, UnitSystem
from pullcurve.report.finding_words import withheld_because
from pullcurve.report.result import RunResult
from pullcurve.results import Interval, Quantity
from pullcurve.rounding import (
    NO_BREAK,
    Measured,
    Ranged,
    count,
    counted,
    measured,
    percent,
    ranged,
    significant,
    times,
)

_TELLING_SPEED: Final = 0.005  # of the speed: an interval wider than this is told with it
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


def shown_range(interval: Interval, unit: DisplayUnit, width: float = 0.0) -> Ranged:
    """An interval in a unit; `width`, in SI, sets the last place where it is not its own."""
    value, low, high = (
        unit.from_si(each) for each in (interval.value, interval.low, interval.high)
    )
    return ranged(value, low, high, unit.difference_from_si(width))


def shown_flow(flow: Flow, unit: DisplayUnit) -> Measured:
    """The same for a flow at a place."""
    return measured(unit.from_si(flow.value_m3_s), unit.difference_from_si(flow.u95_m3_s))


def shown_temperature(temperature_k: float, unit: DisplayUnit) -> str:
    """A temperature of unstated uncertainty, in a unit."""
    return significant(unit.from_si(temperature_k), 3)


def told(number: Measured, unit: DisplayUnit) -> str:
    """A number with its unit, for a sentence: no line ends between them."""
    return f"{number}{NO_BREAK}{unit.label}"


def fastest(points: Sequence[SettledPoint]) -> SettledPoint:
    return max(points, key=lambda point: point.speed_rpm.value)


def slowest(points: Sequence[SettledPoint]) -> SettledPoint:
    return min(points, key=lambda point: point.speed_rpm.value)


def rpm(speed: Quantity) -> str:
    """A speed for a sentence; its interval only where it matters."""
    if speed.u95 > _TELLING_SPEED * speed.value:
        return told(measured(speed.value, speed.u95), SI.speed)
    return f"{speed.value:.0f}{NO_BREAK}rpm"


def point_name(point: SettledPoint, points: Sequence[SettledPoint]) -> str:
    """`3`, or `2.3` for hold 3 of sweep 2 where the run has several sweeps."""
    sweeps = {each.sweep for each in points}
    return f"{point.sweep}.{point.hold}" if len(sweeps) > 1 else f"{point.hold}"


def names_explained(points: Sequence[SettledPoint]) -> str:
    return "2.3 is hold 3 of sweep 2." if len({point.sweep for point in points}) > 1 else ""


def letters(number: int) -> str:
    """`a` for 0, `z` for 25, `aa` for 26: the name of a stretch that does not count."""
    name = chr(ord("a") + number % 26)
    return name if number < 26 else letters(number // 26 - 1) + name


def flow_state(flow: Flow, units: UnitSystem) -> str:
    """The state of the air in which a volume flow is told."""
    pressure = units.station_pressure
    return (
        f"{significant(pressure.from_si(flow.pressure_pa), 3)} {pressure.label}, "
        f"{shown_temperature(flow.temperature_k, units.temperature)} {units.temperature.label}"
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
        f"The sensor's zero was taken {times(len(result.zeros))} with the engine off. From first "
        f"to last it moved by {told_bare(unit.difference_from_si(moved), unit)}; in between it is "
        f"taken on {'a straight line' if len(result.zeros) == 2 else 'straight lines'}, {known}."
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
    speed_doubt: str = "",
) -> str:
    """The result in one sentence, for a position of MeterFacts.

    Where the state of the air at the port is known, the flow there is told as well. Speeds that
    are doubted (speed_doubt: a sentence that says why) are told after the doubt.
    """
    if not points:
        return "No settled point was found in this run, so no flow can be stated."
    stated = [point for point in points if point.withheld is None]
    if not stated:
        reasons = "; ".join(withheld_because(reason) for reason in _reasons(points))
        return f"{_withheld_all(points)}: {reasons}."
    top = fastest(stated)
    unit = units.volume_flow
    at = f"At {rpm(top.speed_rpm)} of the blower"
    if speed_doubt:
        at = (
            f"The speeds are not to be trusted. {speed_doubt} In the fastest hold, shown as "
            f"{rpm(top.speed_rpm)} of the blower,"
        )
    sentence = (
        f"{at} the machine draws "
        f"{told(shown(top.standard_flow, unit), unit)} of standard air "
        f"({reference_conditions}) through {_THROUGH[position]}"
    )
    if top.flow_port is not None:
        port = top.flow_port
        sentence += (
            f"; in the state of the air at the port ({flow_state(port, units)}) that is "
            f"{told(shown_flow(port, unit), unit)}, {port.basis}"
        )
    if len(stated) < len(points):
        sentence += f". For {len(points) - len(stated)} of {len(points)} holds no flow is stated"
    return sentence + "."


def _withheld_all(points: Sequence[SettledPoint]) -> str:
    if len(points) == 1:
        return "One settled point was found, and no flow is stated for it"
    return f"{len(points)} settled points were found, and no flow is stated for any of them"


def _reasons(points: Sequence[SettledPoint]) -> list[Withheld]:
    """Why points are withheld, each reason once."""
    return list(dict.fromkeys(point.withheld for point in points if point.withheld is not None))


def withheld_sentences(points: Sequence[SettledPoint]) -> list[str]:
    """For which holds no flow is stated, and why."""
    sentences = []
    for reason in _reasons(points):
        names = [point_name(point, points) for point in points if point.withheld == reason]
        sentences.append(
            f"No flow is stated for hold{'s' * (len(names) > 1)} {', '.join(names)}: "
            f"{withheld_because(reason)}."
        )
    return sentences


def hold_remarks(points: Sequence[SettledPoint]) -> list[str]:
    return [
        f"Hold {point_name(point, points)}: {remark}."
        for point in points
        for remark in point.remarks
    ]


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


def meter_sentences(result: RunResult, units: UnitSystem) -> list[str]:
    meter, length = result.meter, units.length

    def told_length(value_m: float) -> str:
        return f"{significant(length.from_si(value_m), 5)} {length.label}"

    bores = f"throat bore {told_length(meter.throat_bore_m)}"
    if meter.pipe_bore_m is not None:
        bores = f"pipe bore {told_length(meter.pipe_bore_m)}, {bores}"
    if meter.straight_length_m is not None:
        bores += f", {told_length(meter.straight_length_m)} of straight pipe ahead"
    return [
        f"Meter: {meter.kind}, {bores}.",
        f"Position: {_POSITION[meter.position]}",
        f"Discharge coefficient: {coefficient_words(result)}.",
    ]


def coefficient_words(result: RunResult) -> str:
    """The discharge coefficient that was used, and its source."""
    stated = result.meter.discharge_coefficient
    if stated is not None:
        return f"{measured(stated.value, stated.u95)} ({stated.source})"
    used = [each.discharge_coefficient for each in result.stated if each.discharge_coefficient]
    if not used:
        return "by the standard of the meter's kind"
    ends = dict.fromkeys(significant(end, 4) for end in (min(used), max(used)))
    return f"{' to '.join(ends)}, by the standard of the meter's kind"


def speed_sentence(speed: SpeedFacts) -> str:
    """Where the blower's speed comes from."""
    marks = f"{counted(speed.marks_per_turn, 'mark')} a turn"
    if speed.belt_ratio is None:
        return f"Speed: from the blower's shaft, {marks}."
    return (
        f"Speed: from the engine's shaft, {marks}, with {speed.belt_ratio:g} blower turns to one "
        "of the engine. A belt that slips turns the blower slower than stated."
    )


def site_sentences(site: SiteFacts, units: UnitSystem) -> list[str]:
    pressure, temperature = units.station_pressure, units.temperature
    feet = site.altitude_m / float(UNITS["length"]["ft"].factor)
    told_pressure = told_temperature = told_humidity = "not known"
    if site.station_pressure_pa is not None:
        value = significant(pressure.from_si(site.station_pressure_pa), 4)
        told_pressure = f"{value} {pressure.label} absolute ({site.station_pressure_source})"
    if site.temperature_k is not None:
        value = shown_temperature(site.temperature_k, temperature)
        told_temperature = f"{value} {temperature.label} ({site.temperature_source})"
    if site.humidity is not None:
        told_humidity = f"{percent(site.humidity)} ({site.humidity_source})"
    return [
        f"Site: {count(site.altitude_m)} m ({count(feet)} ft) above sea level. Open air there: "
        f"pressure {told_pressure}, temperature {told_temperature}, relative humidity "
        f"{told_humidity}."
    ]

"""What physics says of this run, each sentence only where it applies. Light.

Its figures are computed from the run. What is asked of nobody: a blanked inlet.
"""

from typing import Final

from pullcurve.diagnosis.result import CarryingPlace, RunDiagnosis, SpoilCarried
from pullcurve.quantities import UnitSystem
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import (
    fastest,
    point_name,
    shown,
    shown_range,
    slowest,
    told,
)
from pullcurve.results import Interval
from pullcurve.rounding import ranged, significant

_WORTH_SAYING: Final = 0.01  # of the rated flow, that a low speed takes
_ANSWERS: Final = {
    "carries": "enough",
    "doubtful": "doubtful",
    "falls_short": "too little",
}
_AT: Final = {"hose_end": "at the hose's far end", "widest_bore": "at its widest bore"}


def physics_sentences(result: RunResult, said: RunDiagnosis, units: UnitSystem) -> list[str]:
    if said.vetoed_by:
        return []
    found = [
        *_low_speed(said, units),
        *_far_below(said, units),
        *_brochure(said, units),
        *_vacuum(result, units),
        *_half(result),
    ]
    return [sentence for sentence in found if sentence]


def _low_speed(said: RunDiagnosis, units: UnitSystem) -> list[str]:
    ledger, engine, rated = said.ledger, said.engine_speed_rpm, said.rated_engine_speed_rpm
    if ledger is None:
        return []
    governor = next(step for step in ledger.steps if step.name == "governor")
    share = governor.value_m3_s / ledger.rated.value_m3_s
    if share < _WORTH_SAYING or governor.low_m3_s <= 0:
        return []
    unit = units.volume_flow
    turned = (
        f"the engine's {engine:.0f} rpm instead of {rated:.0f}"
        if engine is not None and rated is not None
        else f"the blower's {ledger.speed_rpm:.0f} rpm instead of {ledger.rated_from.speed_rpm:.0f}"
    )
    return [
        f"A machine governed below its rated speed loses its share before anything is worn: here "
        f"{turned} take {significant(unit.from_si(governor.value_m3_s), 2)} {unit.label}, "
        f"{100 * share:.0f} % of the rated flow."
    ]


def _far_below(said: RunDiagnosis, units: UnitSystem) -> list[str]:
    """Where little of a healthy blower's flow is left: what wear alone would take."""
    wear, ledger = said.wear_alone, said.ledger
    if wear is None or ledger is None:
        return []
    share = ledger.metered.value_m3_s / ledger.healthy.value_m3_s
    rated = ledger.rated_from
    vacuum = shown_range(wear.blanked_vacuum_pa, units.vacuum)
    thinner = 1 - rated.standard_flow_here_m3_s / rated.standard_flow_there_m3_s
    return [
        f"The meter sees {100 * share:.0f} % of what a blower in good order would take in. Wear "
        f"alone would need a slip {_plain(wear.slip_ratio)} times the healthy one. A blower so "
        f"worn would turn only its own air round at a vacuum of {vacuum} {units.vacuum.label}: "
        "that is a consequence and no test, for a shut inlet ruins a blower. A machine that still "
        "pulls clearly more vacuum than that at work has lost the air elsewhere: look at speed, "
        "belt, relief valve, lids and doors as well before a new blower is bought.",
        f"Altitude alone cannot do it: the air here takes {100 * thinner:.0f} % of the mass and "
        "next to nothing of the volume that a sound machine moves.",
    ]


def _plain(interval: Interval) -> str:
    return str(ranged(interval.value, interval.low, interval.high))


def _brochure(said: RunDiagnosis, units: UnitSystem) -> list[str]:
    ledger, brochure, unit = said.ledger, said.brochure_flow_m3_s, units.volume_flow
    if ledger is None or brochure is None:
        return []
    ratio = brochure / ledger.rated.value_m3_s
    words = "as much as" if 0.95 <= ratio <= 1.05 else f"{100 * ratio:.0f} % of"
    return [
        f"The brochure's {significant(unit.from_si(brochure), 3)} {unit.label} are {words} what "
        "the blower is rated to take in with hardly any vacuum at its inlet; hose, filter and "
        "meter never leave it there. A flow that names no place, vacuum and air cannot be held "
        "against any other."
    ]


def _vacuum(result: RunResult, units: UnitSystem) -> list[str]:
    """Where a gauge or a sensor read a vacuum: what it does not say."""
    noted = any(note.what == "vacuum" for note in result.notes)
    read = [point for point in result.stated if point.vacuum_blower_pa is not None]
    if not noted or not read:
        return []
    top = fastest(read)
    if top.vacuum_blower_pa is None:
        return []
    vacuum = told(shown(top.vacuum_blower_pa, units.vacuum), units.vacuum)
    flow = told(shown(top.standard_flow, units.volume_flow), units.volume_flow)
    return [
        "A vacuum alone does not tell the flow: a sound machine behind a choke and a worn one "
        f"before an open hose can show the same. Here {vacuum} at the blower went with {flow} of "
        "standard flow."
    ]


def _half(result: RunResult) -> list[str]:
    """Half the differential pressure is 71 % of the flow: where a sweep spans that much."""
    points = [each for each in result.stated if each.sweep == result.stated[0].sweep]
    if len(points) < 2:
        return []
    top, low = fastest(points), slowest(points)
    ratio = low.differential_pressure_pa.value / top.differential_pressure_pa.value
    if not 0 < ratio <= 0.5:
        return []
    flow = low.standard_flow.value / top.standard_flow.value
    names = (point_name(each, result.points) for each in (top, low))
    return [
        "Flow goes with the root of the differential pressure: half of it is 71 % of the flow, not "
        f"half. From hold {' to hold '.join(names)} the differential pressure fell to "
        f"{100 * ratio:.0f} % and the flow to {100 * flow:.0f} %."
    ]


def spoil_sentences(said: RunDiagnosis, units: UnitSystem) -> list[str]:
    """Whether what enters at the hose's end still carries the spoil."""
    spoil = said.spoil
    if spoil is None:
        return [said.spoil_why_none] if said.spoil_why_none else []
    unit = units.volume_flow
    flow = shown_range(spoil.flow_m3_s, unit)
    basis = "measured" if spoil.basis == "measured" else "modelled from this run and the rig's hose"
    return [
        f"At full speed {flow} {unit.label} of open air enter at the hose's far end ({basis}).",
        *(_carrying(spoil, place, units) for place in spoil.places),
        _carrying_source(spoil),
    ]


def _carrying(spoil: SpoilCarried, place: CarryingPlace, units: UnitSystem) -> str:
    speed, unit, length = units.velocity, units.volume_flow, units.length
    velocity = shown_range(place.velocity_m_s, speed)
    needed = (place.needed_low_m_s, place.needed_high_m_s)
    least, most = (significant(speed.from_si(each), 2) for each in needed)
    small, large = (
        significant(length.from_si(e), 2)
        for e in (place.largest_stone_low_m, place.largest_stone_high_m)
    )
    flows = [
        significant(unit.from_si(e), 2)
        for e in (place.needed_flow_low_m3_s, place.needed_flow_high_m3_s)
    ]
    return (
        f"{_AT[place.place].capitalize()}, {significant(length.from_si(place.bore_m), 3)} "
        f"{length.label} wide, the air runs {velocity} {speed.label}; {spoil.spoil} wants "
        f"{least} to {most} {speed.label}, that is {flows[0]} to {flows[1]} {unit.label} there: "
        f"{_ANSWERS[place.answer]}. The largest stone that it lifts upright: {small} "
        f"{length.label} with margin, {large} {length.label} at the very most."
    )


def _carrying_source(spoil: SpoilCarried) -> str:
    said = f"Source of what {spoil.spoil} wants: {spoil.source}"
    return f"{said}; {spoil.caution}." if spoil.caution else f"{said}."

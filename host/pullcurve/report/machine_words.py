"""The machine of a rig in words: what its facts promise, and what each missing one costs."""

from collections.abc import Iterator
from typing import Final

from pullcurve.diagnosis.expected_intake import VACUUM_PA, BlowerWorth, Promise
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.rig.machine import Machine
from pullcurve.rig.models import Rig
from pullcurve.rounding import measured, significant

SPEEDS_ALIKE: Final = 0.01  # governed speed through the belt, and rated speed (judgement)


# By the key that is left out.
_COSTS: Final = {
    "belt_ratio": "neither a slipping belt nor an engine that is slow can be told",
    "governed_speed": "a governor that is set low looks like an engine that is tired",
    "brochure_flow": "the figure that the machine was sold with cannot be held against the run",
    "port_bore": "no velocity in the port; what the port costs is a guess",
    "hose": "what the hose costs, and the velocity in it, cannot be told",
    "filter": "what a loaded filter costs cannot be told from the rest of the way",
    "relief_vacuum": "a relief valve that opens passes for a leak",
    "spoil": "whether the flow still carries it cannot be told",
    "lobes": "two a rotor are taken for the frequency of the pulsation",
}


def machine_meaning(
    machine: Machine, worth: BlowerWorth | None, units: UnitSystem
) -> Iterator[str]:
    """What the facts of the machine say."""
    if worth is not None:
        promise, flow, vacuum = worth.promise, units.volume_flow, units.vacuum
        yield (
            f"By these facts a healthy blower takes in {_flow(promise, flow)} at its inlet, at "
            f"{promise.speed_rpm:.0f} rpm and {_vacuum(VACUUM_PA, vacuum)} of vacuum in the data "
            "sheet's air (or at sea level). That is the doubt of the facts; no two blowers of one "
            "sheet are alike."
        )
        if machine.blower.rating is not None:
            slip = measured(promise.slip_rpm, promise.slip_u95_rpm)
            yield f"Of its speed {slip} rpm are slip there."
        for fact, then in worth.better:
            yield f"With {fact} the flow would be {_flow(then, flow)}."
        if worth.brochure_vacuum_pa is not None and machine.brochure_flow is not None:
            yield (
                f"The brochure's {significant(flow.from_si(machine.brochure_flow), 3)} "
                f"{flow.label} is what it takes in at {machine.rated_speed_rpm:.0f} rpm and "
                f"{_vacuum(worth.brochure_vacuum_pa, vacuum)}; more vacuum leaves less."
            )
    ratio, governed, rated = machine.belt_ratio, machine.governed_speed_rpm, machine.rated_speed_rpm
    if ratio is not None and governed is not None and rated is not None:
        speed = ratio * governed
        yield (
            f"At its governed speed the engine turns the blower at {speed:.0f} rpm"
            + (
                ", its rated speed."
                if abs(speed / rated - 1) < SPEEDS_ALIKE
                else f" where the promise has {rated:.0f}: "
                f"{100 * abs(1 - speed / rated):.0f} % {'short' if speed < rated else 'above'}, "
                "before anything is worn."
            )
        )


def missing_facts(rig: Rig) -> Iterator[str]:
    """What cannot be told, one fact at a time."""
    machine = rig.machine
    blower, stated = machine.blower, machine.model_dump(by_alias=True, exclude_defaults=True)
    if blower.displacement is None and blower.rating is None:
        yield (
            "Nothing is said of the blower: the flow is measured, but not where the promised flow "
            "went. Add displacement to [machine.blower], or one figure of its data sheet."
        )
    elif blower.rating is None:
        yield (
            "No data sheet: how much a healthy blower slips is what is usual, within a factor of "
            "three either way, so wear is told only when it is great."
        )
    if machine.rated_speed_rpm is None:
        yield (
            "rated_speed: "
            + (
                "without it, or a data sheet, no account of where the promised flow went."
                if blower.rating is None
                else "the data sheet's highest speed is taken for it."
            )
        )
    yield from (f"{key}: {cost}." for key, cost in _COSTS.items() if key not in stated)
    if rig.pickups.engine_shaft is None or rig.pickups.blower_shaft is None:
        yield "A pickup on one shaft only: a slipping belt is not told from other losses."


def _flow(promise: Promise, unit: DisplayUnit) -> str:
    figures = measured(
        unit.from_si(promise.flow_m3_s), unit.difference_from_si(promise.flow_u95_m3_s)
    )
    return f"{figures} {unit.label}"


def _vacuum(pressure_pa: float, unit: DisplayUnit) -> str:
    return f"{significant(unit.from_si(pressure_pa), 2)} {unit.label}"

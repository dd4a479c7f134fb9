"""A rig in words: what it means, what to look at, and what each weak fact costs."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.checks.catalogue import Finding
from pullcurve.checks.rig_check import LEAST_GAIN, Costs
from pullcurve.checks.rig_estimate import RIPPLE, SHARES, UNSTATED_RANGE_PA, widest_part
from pullcurve.diagnosis.expected_intake import BlowerWorth
from pullcurve.measure.air_state import PLACES
from pullcurve.physics.air import STANDARD_CONDITIONS
from pullcurve.quantities import UnitSystem
from pullcurve.report.expected_words import expected_table
from pullcurve.report.finding_words import action_words, evidence_words
from pullcurve.report.machine_words import machine_meaning, missing_facts
from pullcurve.report.summary import listed, paragraph, printable, text_table
from pullcurve.report.tables import Column, Table
from pullcurve.rig.meter import OPEN_INLETS, Meter
from pullcurve.rig.models import Rig
from pullcurve.rounding import significant

_PLACE: Final = {
    "port": "in the open air, straight on the machine's port, with the hose off. What comes in "
    "behind the port does not pass it",
    "hose_end": "in the open air, at the far end of the hose. What comes in at hose, tank or "
    "filter does not pass it",
    "clean_pipe": "in the clean pipe between filter and blower. All that comes in ahead of it "
    "passes it, leaks included",
}
_KIND: Final = {
    "venturi": "a Venturi tube",
    "venturi_as_cast": "a Venturi tube, as cast",
    "venturi_machined": "a Venturi tube with a machined convergent",
    "venturi_welded": "a Venturi tube of rough-welded sheet",
    "orifice": "an orifice plate",
    "nozzle_isa_1932": "an ISA 1932 nozzle",
    "nozzle_long_radius": "a long radius nozzle",
    "venturi_nozzle": "a Venturi nozzle",
    "bellmouth": "a bellmouth",
    "conical_inlet": "a conical inlet",
}


def rig_text(
    rig: Rig,
    costs: Costs,
    blower: BlowerWorth | None,
    faults: list[str],
    doubts: Sequence[Finding],
    expected: Mapping[str, Mapping[str, float]],
    units: UnitSystem,
) -> str:
    """The check of a rig as plain text, ending in a newline.

    expected: how far losses would be known with more readings; empty where no blower is stated.
    """
    parts = [paragraph(rig.name), "What it says\n" + listed(_meaning(rig, units))]
    if faults:
        parts.append("Cannot be\n" + listed(faults))
    if doubts:
        parts.append("Look at this once more\n" + listed(_doubt(each, units) for each in doubts))
    promised = list(machine_meaning(rig.machine, blower, units))
    if promised:
        parts.append("What the machine should do\n" + listed(promised))
    missing = list(missing_facts(rig))
    if missing:
        parts.append("Not stated, and what that costs\n" + listed(missing))
    parts.append("Uncertainty, 95 %\n" + listed([_now(costs, units)]))
    parts.append(text_table(_table(costs)))
    parts.append(listed(_beside(rig, costs)))
    parts.append("Taken for this estimate\n" + listed(_taken(rig, costs, units)))
    if expected:
        table = expected_table(expected)
        parts.append("What more readings would tell of the machine\n" + listed([table.note]))
        parts.append(text_table(table))
    return printable("\n\n".join(parts) + "\n")


def _doubt(finding: Finding, units: UnitSystem) -> str:
    return f"{evidence_words(finding, units)} {action_words(finding)}".rstrip()


def _meaning(rig: Rig, units: UnitSystem) -> Iterator[str]:
    meter = rig.meter
    yield f"The meter is {_KIND[meter.kind]}, {_bores(meter, units)}."
    yield f"It stands {_PLACE[meter.position]}."
    if meter.discharge_coefficient is None or meter.discharge_coefficient_uncertainty is None:
        yield "Its discharge coefficient follows from the standard of its kind."
    else:
        yield (
            f"Its discharge coefficient is {meter.discharge_coefficient:.4g}, give or take "
            f"{100 * meter.discharge_coefficient_uncertainty:.2g} % "
            f"({meter.discharge_coefficient_source})."
        )
    yield (
        "Computed are the mass flow, the standard flow (the mass as volume at "
        f"{STANDARD_CONDITIONS.name}) and the flow at the "
        + ("state of the open air." if meter.kind in OPEN_INLETS else "meter's upstream tap.")
    )
    measured = {name for name, (role, _) in PLACES.items() if getattr(rig.sensors, role)}
    yield (
        "The flow at the blower's inlet is "
        + (
            "computed for the pressure that blower_air measures there."
            if "inlet" in measured
            else "modelled, unless the board has a sensor blower_air."
        )
    )
    if meter.position != "port":
        yield (
            "The flow at the port is "
            + (
                "computed for the pressure that tank_air measures."
                if "port" in measured
                else "modelled, unless the board has a sensor tank_air."
            )
        )
    yield _speed(rig)


def _bores(meter: Meter, units: UnitSystem) -> str:
    unit = units.length

    def length(metres: float) -> str:
        return f"{significant(unit.from_si(metres), 4)} {unit.label}"

    if meter.kind in OPEN_INLETS:
        return f"throat {length(meter.throat_bore)}, drawing straight from the open"
    return (
        f"pipe {length(meter.pipe_bore)}, throat {length(meter.throat_bore)}: their ratio, beta, "
        f"is {meter.beta:.3f}"
    )


def _speed(rig: Rig) -> str:
    blower = rig.pickups.blower_shaft
    if blower is not None:
        return f"The blower's speed is measured on its shaft, {_marks(blower.marks_per_turn)}."
    engine = rig.pickups.engine_shaft
    marks = _marks(engine.marks_per_turn) if engine is not None else ""
    return (
        f"The blower's speed is the engine's, {marks}, times {rig.machine.belt_ratio:.4g}. A belt "
        "that slips goes unseen."
    )


def _marks(count: int) -> str:
    return f"{count} mark{'' if count == 1 else 's'} a turn"


def _now(costs: Costs, units: UnitSystem) -> str:
    pressure, flow = units.differential_pressure, units.volume_flow
    return (
        f"At {_series(f'{100 * share:.0f} %' for share in SHARES)} of the sensor's upper end, that "
        f"is {_numbers(pressure.from_si(costs.differential_pressure_pa))} {pressure.label}, the "
        f"standard flow would be {_numbers(flow.from_si(costs.flows.standard.value))} "
        f"{flow.label}, give or take {_series(map(_percent, costs.u95))}. What would sharpen it, "
        "each by itself:"
    )


def _table(costs: Costs) -> Table:
    columns = (
        Column("Fact"),
        Column("Now"),
        Column("Known by"),
        *(Column("± at", f"{100 * share:.0f} %", "number") for share in SHARES),
    )
    rows = [
        ("as the rig stands", "", "", *map(_percent, costs.u95)),
        *((row.fact, row.now, row.how, *map(_percent, row.u95)) for row in costs.sharpenings),
        ("all facts", "", "the best way of each", *map(_percent, costs.together_u95)),
    ]
    return Table(columns, tuple(rows))


def _beside(rig: Rig, costs: Costs) -> Iterator[str]:
    if costs.slight:
        yield (
            f"Under {100 * LEAST_GAIN:.2g} % each, as the rest stands: {', '.join(costs.slight)}."
        )
    for u95, what in (
        (costs.no_zero_u95, "A run without any stretch of 10 s with the engine off"),
        (costs.one_zero_u95, "A run with one such stretch only"),
    ):
        if np.max(u95 - costs.u95) >= LEAST_GAIN:
            yield f"{what} has {_series(map(_percent, u95))} instead."
    now, then = costs.inlet_u95
    if rig.sensors.blower_air is None and np.max(now - then) >= LEAST_GAIN:
        yield (
            f"The flow at the blower's inlet is known to {_series(map(_percent, now))}; with a "
            f"sensor blower_air to {_series(map(_percent, then))}."
        )


def _taken(rig: Rig, costs: Costs, units: UnitSystem) -> Iterator[str]:
    sensor = rig.sensors.meter_dp
    unit = units.differential_pressure
    if sensor is None:
        yield f"The part at the meter is not named: the widest error band, {widest_part()}'s."
    if sensor is None or sensor.range is None:
        low, high = (significant(unit.from_si(end), 3) for end in UNSTATED_RANGE_PA)
        yield f"Its range is not stated: {low} to {high} {unit.label}."
    if rig.meter.straight_length is None and rig.meter.kind not in OPEN_INLETS:
        yield "Straight pipe ahead of the tap: enough."
    yield (
        f"A ripple of {100 * RIPPLE:.0f} % of the differential pressure, whose part of "
        f"{100 * costs.pulsation_u95:.1f} % no fact of a rig takes away; steady holds; the engine "
        "off for 10 s before and after. In a report the run's own stand in their place."
    )


def _numbers(values: NDArray[np.float64]) -> str:
    return _series(significant(float(value), 3) for value in values)


def _percent(u95: float) -> str:
    return "clips" if np.isnan(u95) else f"{100 * u95:.1f} %"


def _series(words: Iterable[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}"

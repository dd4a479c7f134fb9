"""What each weak fact of a rig costs, in uncertainty of the standard flow.

The costs come from the report's own flow and uncertainty, at made-up points. What a better
fact would be is a judgement and stands below.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pullcurve.checks.rig_estimate import (
    TAP_SENSOR,
    RigFacts,
    ambient_bound,
    flows_of,
    known_facts,
    part_bound,
    relative_u95,
    with_place,
)
from pullcurve.measure import flow
from pullcurve.measure.air_state import COMPARED_PA
from pullcurve.measure.inputs import Source
from pullcurve.measure.swirl import is_unstated, lacks_straightener
from pullcurve.measure.zeros import ALONE_SPANS
from pullcurve.rig.loading import rig_fault
from pullcurve.rig.meter import OPEN_INLETS
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS

Array: TypeAlias = NDArray[np.float64]

# What a better fact would be: a traverse to ISO 3966 carried out by a user, a laboratory's
# calibration, a bore gauge, and parts of which sensor_parts.toml says how good they are.
TRAVERSED_U95: Final = 0.0225
CALIBRATED_U95: Final = 0.01
GAUGED_BORE_M: Final = 0.00005
BAROMETER: Final = "LPS22HH"
HYGROMETER: Final = "SHT4x"
LEAST_GAIN: Final = 0.0005  # of the flow: what is less is not worth a line


@dataclass(frozen=True)
class Sharpening:
    """A fact that could be better known, and the relative U95 of standard flow it would leave.

    NaN: that point would lie beyond the sensor's range. `gain` is the largest at any point.
    """

    fact: str
    now: str
    how: str
    u95: Array
    gain: float


@dataclass(frozen=True)
class Costs:
    """Standard flow at the made-up points, and what would make it sharper, most first.

    U95 is relative. `slight` are the facts whose gain is under LEAST_GAIN. `together_u95` is
    left where all is done, the best way of each fact, but the range is kept; `no_zero_u95` and
    `one_zero_u95` where a run has no engine-off stretch, or one. `pulsation_u95` is the
    ripple's part, which no fact of a rig takes away. `inlet_u95` is of the flow at the
    blower's inlet, now and with a sensor there.
    """

    flows: flow.Flows
    differential_pressure_pa: Array
    u95: Array
    sharpenings: list[Sharpening]
    slight: list[str]
    together_u95: Array
    one_zero_u95: Array
    no_zero_u95: Array
    pulsation_u95: float
    inlet_u95: tuple[Array, Array]


def costs(rig: Rig) -> Costs:
    """What the facts of a rig are worth, each changed by itself.

    Raises RigError when no flow belongs to the differential pressures that the sensor holds.
    """
    facts = known_facts(rig)
    flows = flows_of(facts)
    if not np.all(flows.state.converged):
        raise rig_fault(
            rig,
            "meter",
            f"at {facts.points_pa[-1]:.0f} Pa, within the sensor's range, no flow through this "
            "meter has that differential pressure; are range, bores and inlet_loss right?",
        )
    now = relative_u95(flows.standard)
    rows: list[Sharpening] = []
    gains: dict[str, float] = {}
    together = facts
    for fact, words, how, better in _better_facts(facts, flows):
        changed = better(facts)
        beyond = facts.points_pa > changed.ends_pa[1]
        then = np.where(beyond, np.nan, relative_u95(flows_of(changed).standard))
        gains_here = np.nan_to_num(now - then)
        # A way that makes a point worse is no way: a stated coefficient beats a coarse traverse.
        gain = float(np.max(gains_here)) if np.min(gains_here) > -LEAST_GAIN else 0.0
        if fact not in gains and not beyond.any():
            together = better(together)
        gains[fact] = max(gain, gains.get(fact, 0.0))
        if gain >= LEAST_GAIN:
            rows.append(Sharpening(fact, words, how, then, gain))
    span = facts.span_pa
    return Costs(
        flows=flows,
        differential_pressure_pa=facts.points_pa,
        u95=now,
        sharpenings=sorted(rows, key=lambda row: -row.gain),
        slight=[fact for fact, gain in gains.items() if gain < LEAST_GAIN],
        together_u95=relative_u95(flows_of(together).standard),
        one_zero_u95=_with_zero(facts, ALONE_SPANS * span),
        no_zero_u95=_with_zero(facts, facts.accuracy.zero_bound * span),
        pulsation_u95=float(
            np.max(2 * np.abs(flows.standard.contribution(Source.PULSATION)) / flows.standard.value)
        ),
        inlet_u95=(
            relative_u95(flows.inlet.result),
            relative_u95(flows_of(with_place(facts, "inlet")).inlet.result),
        ),
    )


def _with_zero(facts: RigFacts, half_width_pa: float) -> Array:
    return relative_u95(flows_of(replace(facts, zero_pa=half_width_pa)).standard)


_Better: TypeAlias = tuple[str, str, str, Callable[[RigFacts], RigFacts]]


def _better_facts(facts: RigFacts, flows: flow.Flows) -> Iterator[_Better]:
    """Each fact that could be better: its name, what it is now, how it would be known, and the
    change."""
    yield from _better_meter(facts, flows)
    yield from _better_air(facts)
    yield from _better_sensor(facts)


def _better_meter(facts: RigFacts, flows: flow.Flows) -> Iterator[_Better]:
    meter = facts.rig.meter
    stated = meter.discharge_coefficient_uncertainty
    now = "by its standard" if stated is None else f"known to {100 * stated:.2g} %"
    coefficient = float(flows.state.coefficient[1])
    for u95, how in (
        (CALIBRATED_U95, "laboratory"),
        (TRAVERSED_U95, "site traverse"),
    ):
        if stated is None or u95 < stated:
            yield (
                "discharge coefficient",
                now,
                f"{how}, {100 * u95:.3g} %",
                _changed_meter(
                    discharge_coefficient=coefficient,
                    discharge_coefficient_uncertainty=u95,
                    discharge_coefficient_source=how,
                ),
            )
    if meter.bore_uncertainty > GAUGED_BORE_M:
        yield (
            "bores" if meter.kind not in OPEN_INLETS else "throat",
            f"known to {1000 * meter.bore_uncertainty:.2g} mm",
            f"bore gauge, {1000 * GAUGED_BORE_M:.2g} mm",
            _changed_meter(bore_uncertainty=GAUGED_BORE_M),
        )
    if is_unstated(meter) or lacks_straightener(meter):
        yield (
            "straight flow",
            "not stated" if is_unstated(meter) else "no straightener",
            "straightener = true",
            _changed_meter(straightener=True),
        )
    if meter.kind not in OPEN_INLETS and "tap" not in facts.places:
        yield (
            "pressure at the tap",
            f"inlet loss {meter.inlet_loss:.2g} ± {meter.inlet_loss_uncertainty:.2g}",
            f"meter_air, {TAP_SENSOR}",
            lambda known: with_place(known, "tap"),
        )


def _changed_meter(**values: object) -> Callable[[RigFacts], RigFacts]:
    def change(facts: RigFacts) -> RigFacts:
        meter = facts.rig.meter.model_copy(update=values)
        return replace(facts, rig=facts.rig.model_copy(update={"meter": meter}))

    return change


def _better_air(facts: RigFacts) -> Iterator[_Better]:
    site = facts.rig.site
    for quantity, name, typed, part in (
        ("pressure", "station pressure", site.station_pressure, BAROMETER),
        ("temperature", "air temperature", site.temperature_k, HYGROMETER),
        ("humidity", "humidity", site.humidity, HYGROMETER),
    ):
        if ambient_bound(facts.rig, quantity) is None:
            yield (
                name,
                _known_how(facts, quantity, typed),
                f"ambient_air, {part}",
                _measured(quantity, part),
            )


def _known_how(facts: RigFacts, quantity: str, typed: float | None) -> str:
    if typed is None:
        return "not known"
    # The value taken is not the typed one where that cannot be.
    return "typed" if facts.air[quantity][0] == typed else "typed, cannot be"


def _measured(quantity: str, part: str) -> Callable[[RigFacts], RigFacts]:
    def change(facts: RigFacts) -> RigFacts:
        known = (facts.air[quantity][0], part_bound(part, quantity) or 0.0)
        better = replace(facts, air={**facts.air, quantity: known})
        if quantity != "pressure":
            return better
        # With a sensor in the open air the others can be compared with it.
        places = dict.fromkeys(facts.places, (COMPARED_PA, True))
        return replace(better, places=places, pressure_measured=True)

    return change


def _better_sensor(facts: RigFacts) -> Iterator[_Better]:
    sensor = facts.rig.sensors.meter_dp
    bands = {
        name: part.differential_pressure
        for name, part in SENSOR_PARTS.items()
        if part.differential_pressure is not None
    }
    best = min(bands, key=lambda name: bands[name].gain_bound)
    if facts.accuracy.gain_bound > bands[best].gain_bound:
        yield (
            "differential-pressure part",
            sensor.part if sensor else "not stated",
            f"one like the {best}",
            lambda known: replace(known, accuracy=bands[best]),
        )
    if sensor is not None and sensor.range is not None:
        halved = (sensor.range[0] / 2, sensor.range[1] / 2)
        yield (
            "differential-pressure range",
            "as stated",
            "half of it, if enough",
            lambda known: replace(known, ends_pa=halved, zero_pa=known.zero_pa / 2),
        )

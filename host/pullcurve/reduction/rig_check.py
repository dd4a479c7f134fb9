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

from pullcurve.physics import air
from pullcurve.reduction import flow, pulsation
from pullcurve.reduction.air_at_places import (
    AMBIGUOUS_PA,
    COMPARED_PA,
    PLACES,
    TYPED_HUMIDITY,
    TYPED_PRESSURE_PA,
    TYPED_TEMPERATURE_K,
    UNKNOWN_HUMIDITY,
    WEATHER_PA,
    Known,
    Place,
    Surroundings,
)
from pullcurve.reduction.zeros import ALONE_SPANS
from pullcurve.rig.loading import rig_fault
from pullcurve.rig.meter import OPEN_INLETS
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS, DifferentialPressureAccuracy
from pullcurve.uncertainty import Result

Array: TypeAlias = NDArray[np.float64]

# The made-up points: shares of the sensor's upper end, the scatter and ripple of a quiet hold, a
# usual speed, and the vacuum where an absolute sensor stands (all judgement). Of these only the
# ripple bears on the uncertainty, by `pulsation_u95`.
SHARES: Final = np.array([0.3, 0.6, 1.0])
UNSTATED_RANGE_PA: Final = (-2500.0, 2500.0)
MOST_OF_PRESSURE: Final = 0.2  # dp over station pressure; expansibility is stated to 0.25
SCATTER: Final = 0.001  # of the differential pressure
SCATTER_FREEDOM: Final = 9
RIPPLE: Final = 0.1  # of the differential pressure, standard deviation
SPEED_RPM: Final = 3000.0
VACUUM_PA: Final = {"tap": 8e3, "inlet": 12e3, "port": 5e3}
UNKNOWN_TEMPERATURE_K: Final = (293.15, 15.0)

# What a better fact would be: a traverse to ISO 3966 carried out by a user, a laboratory's
# calibration, a bore gauge, and parts of which sensor_parts.toml says how good they are.
TRAVERSED_U95: Final = 0.0225
CALIBRATED_U95: Final = 0.01
GAUGED_BORE_M: Final = 0.00005
BAROMETER: Final = "LPS22HH"
HYGROMETER: Final = "SHT4x"
TAP_SENSOR: Final = "BMP280"
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
    facts = _facts(rig)
    flows = _flows(facts)
    if not np.all(flows.state.converged):
        raise rig_fault(
            rig,
            "meter",
            f"at {facts.points_pa[-1]:.0f} Pa, within the sensor's range, no flow through this "
            "meter has that differential pressure; are range, bores and inlet_loss right?",
        )
    now = _u95(flows.standard)
    rows: list[Sharpening] = []
    gains: dict[str, float] = {}
    together = facts
    for fact, words, how, better in _better_facts(facts, flows):
        changed = better(facts)
        beyond = facts.points_pa > changed.ends_pa[1]
        then = np.where(beyond, np.nan, _u95(_flows(changed).standard))
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
        together_u95=_u95(_flows(together).standard),
        one_zero_u95=_u95(_flows(replace(facts, zero_pa=ALONE_SPANS * span)).standard),
        no_zero_u95=_u95(_flows(replace(facts, zero_pa=facts.accuracy.zero_bound * span)).standard),
        pulsation_u95=float(
            np.max(2 * np.abs(flows.standard.contribution("pulsation")) / flows.standard.value)
        ),
        inlet_u95=(
            _u95(flows.inlet.result),
            _u95(_flows(_with_place(facts, "inlet")).inlet.result),
        ),
    )


@dataclass(frozen=True)
class _Facts:
    """What the uncertainty hangs on. The half-widths are those of rectangular distributions.

    `air`: pressure, temperature and humidity of the open air, each with its half-width.
    `places`: of each place with an absolute sensor the half-width, and whether that sensor is
    compared with the one in the open air.
    """

    rig: Rig
    accuracy: DifferentialPressureAccuracy
    ends_pa: tuple[float, float]
    points_pa: Array
    zero_pa: float
    air: dict[str, tuple[float, float]]
    pressure_measured: bool
    places: dict[str, tuple[float, bool]]

    @property
    def span_pa(self) -> float:
        return self.ends_pa[1] - self.ends_pa[0]


def _facts(rig: Rig) -> _Facts:
    sensor = rig.sensors.meter_dp
    ends = (sensor.range if sensor else None) or UNSTATED_RANGE_PA
    if ends[1] <= 0:  # a fault of the rig, named elsewhere
        ends = UNSTATED_RANGE_PA
    site = rig.site
    typed = {
        "pressure": _pressure(rig),
        "temperature": (
            UNKNOWN_TEMPERATURE_K
            if site.temperature_k is None
            else (site.temperature_k, TYPED_TEMPERATURE_K)
        ),
        "humidity": (
            UNKNOWN_HUMIDITY if site.humidity is None else (site.humidity, TYPED_HUMIDITY)
        ),
    }
    measured = {quantity: _bound(rig, quantity) for quantity in typed}
    facts = _Facts(
        rig=rig,
        accuracy=_accuracy(rig),
        ends_pa=ends,
        points_pa=SHARES * min(ends[1], MOST_OF_PRESSURE * typed["pressure"][0]),
        # Zeros before and after: it moved by what one alone is good for.
        zero_pa=ALONE_SPANS * (ends[1] - ends[0]) / 2,
        air={name: (value, measured[name] or width) for name, (value, width) in typed.items()},
        pressure_measured=measured["pressure"] is not None,
        places={},
    )
    for place, (role, _) in PLACES.items():
        named = getattr(rig.sensors, role)
        # The pressure at the tap is needed in the clean pipe, whether the rig names its sensor
        # or leaves that to the board.
        if named is not None or (place == "tap" and rig.meter.position == "clean_pipe"):
            facts = _with_place(facts, place, named.part if named else TAP_SENSOR)
    return facts


def widest_part() -> str:
    """The part of the widest error band: taken where the rig names none."""
    parts = {
        name: part.differential_pressure.error_band
        for name, part in SENSOR_PARTS.items()
        if part.differential_pressure is not None
    }
    return max(parts, key=lambda name: parts[name])


def _accuracy(rig: Rig) -> DifferentialPressureAccuracy:
    sensor = rig.sensors.meter_dp
    found = SENSOR_PARTS[sensor.part if sensor else widest_part()].differential_pressure
    if found is None:  # the rig's own check lets no such part be meter_dp
        raise ValueError("the part measures no differential pressure")
    return found


def _pressure(rig: Rig) -> tuple[float, float]:
    """The station pressure and its half-width, as a report without a sensor would take them."""
    standard = float(air.standard_pressure(rig.site.altitude))
    typed = rig.site.station_pressure
    if typed is None or abs(typed - standard) > AMBIGUOUS_PA:
        return standard, WEATHER_PA
    return typed, TYPED_PRESSURE_PA


def _bound(rig: Rig, quantity: str) -> float | None:
    """How wrong the sensor in the open air may be, None where the rig names none."""
    sensor = rig.sensors.ambient_air
    return _part_bound(sensor.part, quantity) if sensor is not None else None


def _part_bound(part: str, quantity: str) -> float | None:
    accuracy = getattr(SENSOR_PARTS[part], quantity)
    return float(accuracy.bound) if accuracy is not None else None


def _with_place(facts: _Facts, place: str, part: str = TAP_SENSOR) -> _Facts:
    own = _part_bound(part, "pressure") or 0.0
    compared = facts.pressure_measured
    return replace(
        facts, places={**facts.places, place: (COMPARED_PA if compared else own, compared)}
    )


def _flows(facts: _Facts) -> flow.Flows:
    """The report's own flow and uncertainty at the made-up points."""
    points = facts.points_pa
    ones = np.ones_like(points)
    error, error_u = pulsation.correction(RIPPLE**2 * ones, 0.0 * ones, SPEED_RPM * ones)
    pressure = flow.Pressure(
        mean=points,
        scatter=SCATTER * points,
        scatter_freedom=SCATTER_FREEDOM,
        pulsation=error,
        pulsation_u=error_u,
        aliasing_u=0.0 * ones,
        zero_half_width=facts.zero_pa,
        span=facts.span_pa,
        accuracy=facts.accuracy,
    )

    def known(fact: tuple[float, float], source: str = "typed") -> Known:
        return Known(fact[0] * ones, fact[1] * ones, source)

    station = facts.air["pressure"][0]
    around = Surroundings(
        known(facts.air["pressure"], "measured" if facts.pressure_measured else "typed"),
        known(facts.air["temperature"]),
        known(facts.air["humidity"]),
        {
            name: Place((station - VACUUM_PA[name]) * ones, half_width * ones, compared, "measured")
            for name, (half_width, compared) in facts.places.items()
        },
    )
    return flow.solve(pressure, around, facts.rig)


def _u95(result: Result) -> Array:
    return np.asarray(result.expanded_uncertainty() / result.value)


_Better: TypeAlias = tuple[str, str, str, Callable[[_Facts], _Facts]]


def _better_facts(facts: _Facts, flows: flow.Flows) -> Iterator[_Better]:
    """Each fact that could be better: its name, what it is now, how it would be known, and the
    change."""
    yield from _better_meter(facts, flows)
    yield from _better_air(facts)
    yield from _better_sensor(facts)


def _better_meter(facts: _Facts, flows: flow.Flows) -> Iterator[_Better]:
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
    if meter.kind not in OPEN_INLETS and "tap" not in facts.places:
        yield (
            "pressure at the tap",
            f"inlet loss {meter.inlet_loss:.2g} ± {meter.inlet_loss_uncertainty:.2g}",
            f"meter_air, {TAP_SENSOR}",
            lambda known: _with_place(known, "tap"),
        )


def _changed_meter(**values: object) -> Callable[[_Facts], _Facts]:
    def change(facts: _Facts) -> _Facts:
        meter = facts.rig.meter.model_copy(update=values)
        return replace(facts, rig=facts.rig.model_copy(update={"meter": meter}))

    return change


def _better_air(facts: _Facts) -> Iterator[_Better]:
    site = facts.rig.site
    for quantity, name, typed, part in (
        ("pressure", "station pressure", site.station_pressure, BAROMETER),
        ("temperature", "air temperature", site.temperature_k, HYGROMETER),
        ("humidity", "humidity", site.humidity, HYGROMETER),
    ):
        if _bound(facts.rig, quantity) is None:
            yield (
                name,
                _known_how(facts, quantity, typed),
                f"ambient_air, {part}",
                _measured(quantity, part),
            )


def _known_how(facts: _Facts, quantity: str, typed: float | None) -> str:
    if typed is None:
        return "not known"
    # The value taken is not the typed one where that cannot be.
    return "typed" if facts.air[quantity][0] == typed else "typed, cannot be"


def _measured(quantity: str, part: str) -> Callable[[_Facts], _Facts]:
    def change(facts: _Facts) -> _Facts:
        known = (facts.air[quantity][0], _part_bound(part, quantity) or 0.0)
        better = replace(facts, air={**facts.air, quantity: known})
        if quantity != "pressure":
            return better
        # With a sensor in the open air the others can be compared with it.
        places = dict.fromkeys(facts.places, (COMPARED_PA, True))
        return replace(better, places=places, pressure_measured=True)

    return change


def _better_sensor(facts: _Facts) -> Iterator[_Better]:
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

"""Flow and uncertainty of a rig at made-up points, by the report's own way to them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pullcurve.measure import flow, pulsation
from pullcurve.measure.air_state import (
    AMBIGUOUS_PA,
    COMPARED_PA,
    PLACES,
    TYPED_HUMIDITY,
    TYPED_PRESSURE_PA,
    TYPED_TEMPERATURE_K,
    UNKNOWN_HUMIDITY,
    WEATHER_PA,
    Known,
    KnownBy,
    Place,
    Surroundings,
)
from pullcurve.measure.inputs import FlowResult
from pullcurve.measure.swirl import straightness_u95
from pullcurve.measure.zeros import ALONE_SPANS
from pullcurve.physics import air
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS, DifferentialPressureAccuracy

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
UNKNOWN_TEMPERATURE_K: Final = (air.ROOM_TEMPERATURE, 15.0)
TAP_SENSOR: Final = "BMP280"  # what is taken for an absolute sensor that is not named


@dataclass(frozen=True)
class RigFacts:
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


def known_facts(rig: Rig) -> RigFacts:
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
    measured = {quantity: ambient_bound(rig, quantity) for quantity in typed}
    facts = RigFacts(
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
            facts = with_place(facts, place, named.part if named else TAP_SENSOR)
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


def ambient_bound(rig: Rig, quantity: str) -> float | None:
    """How wrong the sensor in the open air may be, None where the rig names none."""
    sensor = rig.sensors.ambient_air
    return part_bound(sensor.part, quantity) if sensor is not None else None


def part_bound(part: str, quantity: str) -> float | None:
    accuracy = getattr(SENSOR_PARTS[part], quantity)
    return float(accuracy.bound) if accuracy is not None else None


def with_place(facts: RigFacts, place: str, part: str = TAP_SENSOR) -> RigFacts:
    own = part_bound(part, "pressure") or 0.0
    compared = facts.pressure_measured
    return replace(
        facts, places={**facts.places, place: (COMPARED_PA if compared else own, compared)}
    )


def flows_of(facts: RigFacts) -> flow.Flows:
    """The report's own flow and uncertainty at the made-up points."""
    points = facts.points_pa
    ones = np.ones_like(points)
    lobe_hz = pulsation.lobe_frequency(SPEED_RPM * ones, facts.rig.machine.lobes)
    error, error_u = pulsation.correction(RIPPLE**2 * ones, 0.0 * ones, lobe_hz)
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
        straightness_u95=straightness_u95(facts.rig.meter, disturbed=False),
    )

    def known(fact: tuple[float, float], source: KnownBy = "typed") -> Known:
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


def relative_u95(result: FlowResult) -> Array:
    return np.asarray(result.expanded_uncertainty() / result.value)

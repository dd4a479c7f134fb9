"""What was on the machine, as a result says it: meter, speed, sensors and open air."""

from dataclasses import dataclass
from typing import Annotated, Final, Literal

import numpy as np

from pullcurve.measure.air_state import Known, KnownBy, Surroundings
from pullcurve.measure.channels import Channels
from pullcurve.results import NotNegative, doc
from pullcurve.rig.meter import OPEN_INLETS, Meter, Position
from pullcurve.rig.models import Site
from pullcurve.rig.sensor_parts import SENSOR_PARTS, SensorPart
from pullcurve.stream.header import Header, Sensor

Shaft = Literal["blower_shaft", "engine_shaft"]
Limited = Literal["zero_pa", "gain", "linearity_pa", "pressure_pa", "temperature_k", "humidity"]

_KINDS: Final = {
    "venturi": "Venturi tube",
    "venturi_as_cast": "Venturi tube, as cast",
    "venturi_machined": "Venturi tube with a machined convergent",
    "venturi_welded": "Venturi tube of rough-welded sheet",
    "orifice": "orifice plate",
    "nozzle_isa_1932": "ISA 1932 nozzle",
    "nozzle_long_radius": "long radius nozzle",
    "venturi_nozzle": "Venturi nozzle",
    "bellmouth": "bellmouth",
    "conical_inlet": "conical inlet",
}
_TAPS: Final = {"corner": "corner", "flange": "flange", "d_and_half_d": "D and D/2"}
_MEASURED: Final[dict[str, Limited]] = {
    "pressure": "pressure_pa",
    "temperature": "temperature_k",
    "humidity": "humidity",
}


@dataclass(frozen=True)
class MeterCoefficient:
    """A discharge coefficient and where it comes from."""

    value: float
    u95: NotNegative
    source: str


@dataclass(frozen=True)
class MeterFacts:
    kind: str
    position: Position
    pipe_bore_m: Annotated[float | None, doc("null for an inlet that draws from the open")]
    throat_bore_m: float
    straight_length_m: Annotated[
        float | None, doc("straight pipe ahead, null where it is not stated")
    ]
    discharge_coefficient: Annotated[
        MeterCoefficient | None,
        doc("as the rig states it, null where the standard of the kind gives it"),
    ]


@dataclass(frozen=True)
class SpeedFacts:
    """Where the blower's speed comes from."""

    shaft: Shaft
    marks_per_turn: int
    belt_ratio: Annotated[
        float | None,
        doc("blower turns per engine turn where the engine's shaft is watched, else null"),
    ]


@dataclass(frozen=True)
class SensorLimit:
    """How wrong a sensor may be: half-width of a rectangular distribution."""

    quantity: Limited
    half_width: NotNegative
    source: Annotated[str, doc("the data sheet, and what of it is remembered or judged")]


@dataclass(frozen=True)
class SensorFacts:
    role: str
    part: str
    range_pa: Annotated[
        tuple[float, float] | None, doc("rated ends of a differential-pressure part")
    ]
    limits: tuple[SensorLimit, ...]


@dataclass(frozen=True)
class SiteFacts:
    altitude_m: float
    station_pressure_pa: float | None
    station_pressure_source: KnownBy
    temperature_k: float | None
    temperature_source: KnownBy
    humidity: float | None
    humidity_source: KnownBy


def meter_facts(meter: Meter) -> MeterFacts:
    """Describe the meter as the rig states it."""
    c, u95 = meter.discharge_coefficient, meter.discharge_coefficient_uncertainty
    stated = None
    if c is not None and u95 is not None:
        source = meter.discharge_coefficient_source or ""
        stated = MeterCoefficient(value=c, u95=c * u95, source=source)
    taps = "" if meter.taps is None else f", {_TAPS[meter.taps]} taps"
    return MeterFacts(
        kind=_KINDS[meter.kind] + taps,
        position=meter.position,
        pipe_bore_m=None if meter.kind in OPEN_INLETS else meter.pipe_bore,
        throat_bore_m=meter.throat_bore,
        straight_length_m=meter.straight_length,
        discharge_coefficient=stated,
    )


def speed_facts(channels: Channels) -> SpeedFacts:
    """Say which shaft gives the blower's speed."""
    shaft = channels.blower_shaft_from
    return SpeedFacts(
        shaft="blower_shaft" if shaft == "blower_shaft" else "engine_shaft",
        marks_per_turn=channels.marks[shaft].marks_per_turn,
        belt_ratio=None if shaft == "blower_shaft" else channels.belt_ratio,
    )


def sensor_facts(header: Header) -> tuple[SensorFacts, ...]:
    """Give each sensor with the accuracy that is taken from its data sheet."""
    return tuple(_sensor(sensor) for sensor in header.sensors)


def _sensor(sensor: Sensor) -> SensorFacts:
    part = SENSOR_PARTS.get(sensor.part, SensorPart())
    ends: tuple[float, float] | None = None
    limits: list[SensorLimit] = []
    channel = sensor.channels[0]
    if sensor.role == "meter_dp" and part.differential_pressure is not None:
        accuracy = part.differential_pressure
        ends = (channel.value_low, channel.value_high)
        span = abs(channel.value_high - channel.value_low)
        limits += [
            SensorLimit("zero_pa", accuracy.zero_bound * span, accuracy.source),
            SensorLimit("gain", accuracy.gain_bound, accuracy.source),
            SensorLimit("linearity_pa", accuracy.nonlinearity * span, accuracy.source),
        ]
    for quantity, name in _MEASURED.items():
        bound = getattr(part, quantity)
        if bound is not None:
            limits.append(SensorLimit(name, bound.bound, bound.source))
    return SensorFacts(sensor.role, sensor.part, ends, tuple(limits))


def site_facts(site: Site, around: Surroundings | None, channels: Channels) -> SiteFacts:
    """Give the state of the open air.

    Parameters
    ----------
    site
        As the rig states it.
    around
        As the flow was worked out with; None where no point was.
    channels
        Whose means are told where there is no such state.
    """
    known = (around.pressure, around.temperature, around.humidity) if around else (None,) * 3
    typed = (site.station_pressure, site.temperature_k, site.humidity)
    columns = ("ambient_pressure_pa", "ambient_temperature_k", "ambient_humidity")
    pressure, temperature, humidity = (
        _state(channels, *state) for state in zip(known, columns, typed, strict=True)
    )
    return SiteFacts(site.altitude, *pressure, *temperature, *humidity)


def _state(
    channels: Channels, known: Known | None, column: str, typed: float | None
) -> tuple[float | None, KnownBy]:
    if known is not None:
        return float(np.mean(known.value)), known.source
    table = channels.table
    if column in table and table[column].notna().any():
        return float(table[column].mean()), "measured"
    return typed, "unknown" if typed is None else "typed"

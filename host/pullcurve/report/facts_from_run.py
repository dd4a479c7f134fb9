"""What was on the machine, and where the numbers come from: the facts beside a run's result."""

import hashlib
import platform
from datetime import datetime
from typing import Any, Final

import numpy as np
import pandas as pd
import scipy

from pullcurve import __version__
from pullcurve.examine import Run
from pullcurve.measure.air_state import Known
from pullcurve.quantities import ZERO_CELSIUS
from pullcurve.report.result import (
    MeterCoefficient,
    MeterFacts,
    Provenance,
    SensorFacts,
    SensorLimit,
    SiteFacts,
    SpeedFacts,
)
from pullcurve.rig.meter import OPEN_INLETS
from pullcurve.rig.sensor_parts import SENSOR_PARTS, SensorPart
from pullcurve.run_log.host_records import LOG_FORMAT
from pullcurve.stream.header import Sensor

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
_LIBRARIES: Final[tuple[Any, ...]] = (np, pd, scipy)
_TAPS: Final = {"corner": "corner", "flange": "flange", "d_and_half_d": "D and D/2"}
_MEASURED: Final = {
    "pressure": "pressure_pa",
    "temperature": "temperature_k",
    "humidity": "humidity",
}


def meter_facts(run: Run) -> MeterFacts:
    meter = run.rig.meter
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


def speed_facts(run: Run) -> SpeedFacts:
    shaft = run.channels.blower_shaft_from
    return SpeedFacts.model_validate(
        {
            "shaft": shaft,
            "marks_per_turn": run.channels.marks[shaft].marks_per_turn,
            "belt_ratio": None if shaft == "blower_shaft" else run.channels.belt_ratio,
        }
    )


def sensor_facts(run: Run) -> tuple[SensorFacts, ...]:
    """Each sensor with the accuracy that the reduction takes from its data sheet."""
    return tuple(_sensor(sensor) for sensor in run.records.header.sensors)


def _sensor(sensor: Sensor) -> SensorFacts:
    part = SENSOR_PARTS.get(sensor.part, SensorPart())
    ends, limits = None, []
    channel = sensor.channels[0]
    if sensor.role == "meter_dp" and part.differential_pressure is not None:
        accuracy = part.differential_pressure
        ends = (channel.value_low, channel.value_high)
        span = abs(channel.value_high - channel.value_low)
        for quantity, half_width in (
            ("zero_pa", accuracy.zero_bound * span),
            ("gain", accuracy.gain_bound),
            ("linearity_pa", accuracy.nonlinearity * span),
        ):
            limits.append((quantity, half_width, accuracy.source))
    for quantity, name in _MEASURED.items():
        bound = getattr(part, quantity)
        if bound is not None:
            limits.append((name, bound.bound, bound.source))
    return SensorFacts(
        role=sensor.role,
        part=sensor.part,
        range_pa=ends,
        limits=tuple(
            SensorLimit.model_validate(
                {"quantity": quantity, "half_width": half_width, "source": source}
            )
            for quantity, half_width, source in limits
        ),
    )


def site_facts(run: Run) -> SiteFacts:
    """The state of the open air: as the flow was worked out with, else as measured or typed."""
    site, around = run.rig.site, run.around
    known = (around.pressure, around.temperature, around.humidity) if around else (None,) * 3
    typed = (site.station_pressure, site.temperature_k, site.humidity)
    columns = ("ambient_pressure_pa", "ambient_temperature_k", "ambient_humidity")
    pressure, temperature, humidity = (
        _state(run, *state) for state in zip(known, columns, typed, strict=True)
    )
    return SiteFacts.model_validate(
        {
            "altitude_m": site.altitude,
            "station_pressure_pa": pressure[0],
            "station_pressure_source": pressure[1],
            "temperature_c": None if temperature[0] is None else temperature[0] - ZERO_CELSIUS,
            "temperature_source": temperature[1],
            "humidity": humidity[0],
            "humidity_source": humidity[1],
        }
    )


def _state(
    run: Run, known: Known | None, column: str, typed: float | None
) -> tuple[float | None, str]:
    if known is not None:
        return float(np.mean(known.value)), known.source
    table = run.channels.table
    if column in table and table[column].notna().any():
        return float(table[column].mean()), "measured"
    return typed, "unknown" if typed is None else "typed"


def provenance(run: Run) -> Provenance:
    header = run.records.header
    began_s = run.log.received[0].host_time.timestamp() + run.records.host_offset_s
    zone = run.log.received[0].host_time.tzinfo
    text = run.rig.text
    return Provenance(
        log_name=run.log.path.name,
        log_sha256=_sha256(run.log.path.read_bytes()),
        log_format=LOG_FORMAT,
        rig_name=run.rig.name,
        rig_sha256=_sha256(text.encode("utf-8")) if text else None,
        board=header.board,
        board_id=header.board_id,
        firmware=header.firmware,
        record_format=header.format,
        pullcurve=__version__,
        libraries={"Python": platform.python_version()}
        | {module.__name__: module.__version__ for module in _LIBRARIES},
        started=datetime.fromtimestamp(began_s, zone),
    )


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()

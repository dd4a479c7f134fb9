"""What in a rig cannot be, and what is to be looked at once more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from pullcurve.errors import RigError
from pullcurve.physics import air
from pullcurve.reduction.flow import Flows
from pullcurve.reduction.meter_limits import findings
from pullcurve.rig.loading import check_station_pressure, rig_fault
from pullcurve.rig.meter import OPEN_INLETS
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS

# Inside diameters in inches of steel pipe of 2 in to 10 in, schedule 40: ASME B36.10M, from memory.
SCHEDULE_40_IN: Final = (2.067, 2.469, 3.068, 4.026, 5.047, 6.065, 7.981, 10.020)
INCH_M: Final = 0.0254
ALIKE_M: Final = 1e-6
SHARPEST_U95: Final = 0.003  # of a discharge coefficient; common practice, no source


def faults(rig: Rig) -> list[str]:
    """What no machine and no weather can be, each with file, line, key and remedy."""
    found = []
    try:
        check_station_pressure(rig, lambda altitude: float(air.standard_pressure(altitude)))
    except RigError as fault:
        found.append(str(fault))
    sensor = rig.sensors.meter_dp
    if sensor is not None and sensor.range is not None and sensor.range[1] <= 0:
        found.append(
            str(
                rig_fault(
                    rig,
                    "sensors.meter_dp.range",
                    "it ends at or below zero, and the differential pressure is positive: upstream "
                    "tap minus throat",
                )
            )
        )
    return found


def doubts(rig: Rig, flows: Flows) -> list[str]:
    """What is possible and yet often a slip, and each limit of use that the meter crosses.

    flows: at points that such a meter may see.
    """
    return [
        *_shafts(rig),
        *_bores(rig),
        *_coefficient(rig),
        *_air(rig),
        *(finding.sentence for finding in findings(rig.meter, flows.state)),
    ]


def _shafts(rig: Rig) -> Iterator[str]:
    ratio = rig.machine.belt_ratio
    if ratio is not None and ratio < 1:
        yield (
            f"With belt_ratio {ratio:.4g} the blower turns slower than the engine. If it turns "
            f"faster, the ratio is upside down: write {1 / ratio:.4g}."
        )


def _bores(rig: Rig) -> Iterator[str]:
    bores = {"throat_bore": rig.meter.throat_bore}
    if rig.meter.kind not in OPEN_INLETS:
        bores = {"pipe_bore": rig.meter.pipe_bore, **bores}
    copied = [
        f"{key} {bore / INCH_M:.4g} in ({1000 * bore:.5g} mm)"
        for key, bore in bores.items()
        if _is_nominal(bore)
    ]
    if copied:
        yield (
            f"{' and '.join(copied)}: figures such as a pipe table or a catalogue has. Measured? "
            f"1 mm more of the throat is {_throat_percent(rig):.1f} % more flow."
        )


def _is_nominal(bore: float) -> bool:
    """Whether a bore is of schedule 40, or a whole number of inches or centimetres."""
    whole = [unit * round(bore / unit) for unit in (INCH_M, 0.01)]
    listed = [inches * INCH_M for inches in SCHEDULE_40_IN]
    return any(abs(bore - nominal) < ALIKE_M for nominal in (*listed, *whole))


def _throat_percent(rig: Rig) -> float:
    """Flow for 1 mm of throat, in percent: 2 / (1 - beta^4) * dd / d (ISO 5167-1:2003, 8.2.2)."""
    return 100 * 2 / (1 - rig.meter.beta**4) * 0.001 / rig.meter.throat_bore


def _coefficient(rig: Rig) -> Iterator[str]:
    stated = rig.meter.discharge_coefficient_uncertainty
    if stated is not None and stated < SHARPEST_U95:
        yield (
            f"discharge_coefficient_uncertainty: {100 * stated:.2g} % is better than most "
            "laboratories give. Is it the figure of the certificate, for 95 %?"
        )


def _air(rig: Rig) -> Iterator[str]:
    if rig.meter.position == "clean_pipe" and rig.sensors.meter_air is None:
        yield (
            "A meter in the clean pipe needs a sensor at its upstream tap, and the rig names none: "
            "add [sensors.meter_air], or make sure that the board has one."
        )
    sensor = rig.sensors.ambient_air
    part = SENSOR_PARTS[sensor.part] if sensor is not None else None
    site = rig.site
    if (part is None or part.pressure is None) and site.station_pressure is None:
        yield (
            "Nothing here tells the station pressure. Unless the board has a barometer as "
            "ambient_air, no report can be made: add station_pressure."
        )
    if (part is None or part.temperature is None) and site.temperature_k is None:
        yield (
            "Nothing here tells the air's temperature. Unless the board has a thermometer as "
            "ambient_air, no report can be made: add temperature."
        )

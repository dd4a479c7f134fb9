"""What in a rig cannot be, and what is to be looked at once more."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from pullcurve.checks.catalogue import Finding, Kind, found
from pullcurve.checks.meter import limits_crossed
from pullcurve.errors import RigError
from pullcurve.measure.flow import Flows
from pullcurve.physics import air
from pullcurve.quantities import CFM_M3_S, INCH_M, INHG_PA
from pullcurve.rig.loading import check_station_pressure, rig_fault
from pullcurve.rig.machine import Machine
from pullcurve.rig.meter import OPEN_INLETS
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS

# Inside diameters in inches of steel pipe of 2 in to 10 in, schedule 40: ASME B36.10M, from memory.
SCHEDULE_40_IN: Final = (2.067, 2.469, 3.068, 4.026, 5.047, 6.065, 7.981, 10.020)
ALIKE_M: Final = 1e-6
BROCHURE_MARGIN: Final = 1.02  # over what is displaced: the figures' own rounding (judgement)
SHEET_MARGIN: Final = 1.02  # of speed, beyond the data sheet (judgement)
BORES_APART: Final = 1.1  # hose over port: what a hose's wall and a port's pipe differ (judgement)
DEEPEST_DRY_PA: Final = 57.6e3  # 17 inHg
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
    relief, pressure = rig.machine.relief_vacuum, float(air.standard_pressure(rig.site.altitude))
    if relief is not None and relief >= pressure:
        found.append(
            str(
                rig_fault(
                    rig,
                    "machine.relief_vacuum",
                    f"{relief / 1000:.0f} kPa below the open air, which has {pressure / 1000:.0f} "
                    "kPa at this altitude: no vacuum is as deep; is its unit right?",
                )
            )
        )
    return found


def doubts(rig: Rig, flows: Flows) -> list[Finding]:
    """What is possible and yet often a slip, and each limit of use that the meter crosses.

    flows: at points that such a meter may see.
    """
    return [
        *_shafts(rig),
        *_bores(rig),
        *_coefficient(rig),
        *_air(rig),
        *_machine(rig.machine),
        *limits_crossed(rig.meter, flows.state),
    ]


def _shafts(rig: Rig) -> Iterator[Finding]:
    ratio = rig.machine.belt_ratio
    if ratio is not None and ratio < 1:
        yield found(Kind.BELT_RATIO_BELOW_ONE, ratio=ratio, inverse=1 / ratio)


def _bores(rig: Rig) -> Iterator[Finding]:
    bores = {"throat_bore": rig.meter.throat_bore}
    if rig.meter.kind not in OPEN_INLETS:
        bores = {"pipe_bore": rig.meter.pipe_bore, **bores}
    copied = [
        f"{key} {bore / INCH_M:.4g} in ({1000 * bore:.5g} mm)"
        for key, bore in bores.items()
        if _is_nominal(bore)
    ]
    if copied:
        yield found(Kind.BORE_COPIED, bores=" and ".join(copied), percent=_throat_percent(rig))


def _is_nominal(bore: float) -> bool:
    """Whether a bore is of schedule 40, or a whole number of inches or centimetres."""
    whole = [unit * round(bore / unit) for unit in (INCH_M, 0.01)]
    listed = [inches * INCH_M for inches in SCHEDULE_40_IN]
    return any(abs(bore - nominal) < ALIKE_M for nominal in (*listed, *whole))


def _throat_percent(rig: Rig) -> float:
    """Flow for 1 mm of throat, in percent: 2 / (1 - beta^4) * dd / d (ISO 5167-1:2003, 8.2.2)."""
    return 100 * 2 / (1 - rig.meter.beta**4) * 0.001 / rig.meter.throat_bore


def _coefficient(rig: Rig) -> Iterator[Finding]:
    stated = rig.meter.discharge_coefficient_uncertainty
    if stated is not None and stated < SHARPEST_U95:
        yield found(Kind.COEFFICIENT_TOO_SHARP, percent=100 * stated)


def _air(rig: Rig) -> Iterator[Finding]:
    if rig.meter.position == "clean_pipe" and rig.sensors.meter_air is None:
        yield found(Kind.TAP_SENSOR_UNNAMED)
    sensor = rig.sensors.ambient_air
    part = SENSOR_PARTS[sensor.part] if sensor is not None else None
    site = rig.site
    if (part is None or part.pressure is None) and site.station_pressure is None:
        yield found(Kind.STATION_PRESSURE_UNKNOWN)
    if (part is None or part.temperature is None) and site.temperature_k is None:
        yield found(Kind.TEMPERATURE_UNKNOWN)


def _machine(machine: Machine) -> Iterator[Finding]:
    displaced, promised = machine.displaced_at_rated_speed, machine.brochure_flow
    if displaced is not None and promised is not None and promised > BROCHURE_MARGIN * displaced:
        yield found(
            Kind.BROCHURE_BEYOND_DISPLACEMENT,
            promised_cfm=promised / CFM_M3_S,
            promised_m3_s=promised,
            displaced_cfm=displaced / CFM_M3_S,
        )
    sheet = machine.blower.rating
    if sheet is not None and machine.rated_speed_rpm is not None:
        fastest = float(np.max(sheet.speed_rpm))
        if machine.rated_speed_rpm > SHEET_MARGIN * fastest:
            yield found(Kind.RATED_BEYOND_SHEET, rated=machine.rated_speed_rpm, fastest=fastest)
    if machine.hose and machine.port_bore is not None:
        last = machine.hose[-1].bore
        if not 1 / BORES_APART < last / machine.port_bore < BORES_APART:
            yield found(
                Kind.HOSE_MEETS_OTHER_PORT,
                hose_in=last / INCH_M,
                hose_mm=1000 * last,
                port_in=machine.port_bore / INCH_M,
                port_mm=1000 * machine.port_bore,
            )
    vacuum = machine.relief_vacuum
    if vacuum is not None and vacuum > DEEPEST_DRY_PA:
        yield found(Kind.RELIEF_TOO_DEEP, vacuum_inhg=vacuum / INHG_PA, vacuum_kpa=vacuum / 1000)

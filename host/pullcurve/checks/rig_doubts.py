"""What in a rig cannot be, and what is to be looked at once more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from pullcurve.checks.meter_limits import findings
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


def doubts(rig: Rig, flows: Flows) -> list[str]:
    """What is possible and yet often a slip, and each limit of use that the meter crosses.

    flows: at points that such a meter may see.
    """
    return [
        *_shafts(rig),
        *_bores(rig),
        *_coefficient(rig),
        *_air(rig),
        *_machine(rig.machine),
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


def _machine(machine: Machine) -> Iterator[str]:
    displaced, promised = machine.displaced_at_rated_speed, machine.brochure_flow
    if displaced is not None and promised is not None and promised > BROCHURE_MARGIN * displaced:
        yield (
            f"brochure_flow {promised / CFM_M3_S:.0f} cfm ({promised:.3g} m3/s) is more than the "
            f"blower displaces at its rated speed, {displaced / CFM_M3_S:.0f} cfm: no blower gives "
            "that. Typed as it stands there? Then the brochure promises what cannot be."
        )
    sheet = machine.blower.rating
    if sheet is not None and machine.rated_speed_rpm is not None:
        fastest = float(np.max(sheet.speed_rpm))
        if machine.rated_speed_rpm > SHEET_MARGIN * fastest:
            yield (
                f"rated_speed {machine.rated_speed_rpm:.0f} rpm is beyond the data sheet, which "
                f"ends at {fastest:.0f} rpm: of the blower's shaft, not the engine's?"
            )
    if machine.hose and machine.port_bore is not None:
        last = machine.hose[-1].bore
        if not 1 / BORES_APART < last / machine.port_bore < BORES_APART:
            yield (
                f"The hose's last piece, {last / INCH_M:.3g} in ({1000 * last:.4g} mm), meets a "
                f"port of {machine.port_bore / INCH_M:.3g} in ({1000 * machine.port_bore:.4g} mm). "
                "Are the pieces in order from nozzle to port, and is there a reducer?"
            )
    if machine.relief_vacuum is not None and machine.relief_vacuum > DEEPEST_DRY_PA:
        yield (
            f"relief_vacuum {machine.relief_vacuum / INHG_PA:.3g} inHg "
            f"({machine.relief_vacuum / 1000:.3g} kPa) is deeper than a dry blower without cooling "
            "air is run, 15 to 16 inHg (common practice, no source). Does its plate say so?"
        )

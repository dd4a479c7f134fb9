"""What the rig's machine, in good order, would have with another hose."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.facts import MOUTH_LOSS, machine_facts
from pullcurve.physics import air, hose
from pullcurve.physics.blower import MOST_DRY_RATIO
from pullcurve.physics.path import (
    Blower,
    Filter,
    Hose,
    Loss,
    OpenAir,
    OperatingPoint,
    Place,
    operating_point,
)
from pullcurve.rig.models import Rig

Array = NDArray[np.float64]

# What no rig states (judgement): losses in velocity heads on the port's bore, least and greatest.
PORT_LOSS, PIPE_LOSS = (0.3, 0.8), (1.0, 3.1)
UNSTATED_FILTER_PA = (750.0, 3000.0)  # at the rated flow
TEMPERATURE_K, HUMIDITY = 293.15, 0.5  # where the rig states none
MIDDLE, LEAST, GREATEST = 0, 1, 2  # losses: of three machines


@dataclass(frozen=True)
class OtherHose:
    """The operating point at rated speed with the middle losses, and with those that leave the
    most and the least flow; flows in m3/s, each (middle, low, high)."""

    speed_rpm: float
    flow_hose_m3_s: tuple[float, float, float]  # open air that enters at the hose's end
    flow_inlet_m3_s: tuple[float, float, float]
    vacuum_inlet_pa: tuple[float, float, float]
    velocity_m_s: tuple[float, float, float]  # at the hose's end
    choked: bool
    relieved: bool  # the relief valve would open before that
    too_deep: bool  # more vacuum than dry blowers stand


def with_other_hose(rig: Rig, length: float, bore: float, wall: str) -> OtherHose | str:
    """Blower against path for a hose of `length` and `bore` [m]; a sentence where the rig does
    not say enough of the blower, or where nothing would flow.

    Losses that nobody stated go from least to greatest together: so the ends are bounds and no
    95 % interval. The friction factor goes by one standard deviation of its band (`physics.hose`)
    either way.
    """
    facts = machine_facts(rig)
    if isinstance(facts, str):
        return facts
    band = hose.FRICTION[wall]
    friction = band.median * np.array([1.0, 1 / band.factor, band.factor])
    port = np.sqrt(4 / np.pi * facts.port_area_m2)
    loss_pa, at_flow = (
        (np.full(3, facts.filter_loss[0]), facts.filter_loss[1])
        if facts.filter_loss
        else (np.array([1500.0, *UNSTATED_FILTER_PA]), facts.rated_flow_m3_s)
    )
    site = rig.site
    pressure = site.station_pressure or float(air.standard_pressure(site.altitude))
    temperature = site.temperature_k or TEMPERATURE_K
    humidity = HUMIDITY if site.humidity is None else site.humidity
    outside = OpenAir.moist(
        pressure, temperature, air.vapour_fraction(pressure, temperature, humidity)
    )
    point: OperatingPoint = operating_point(
        [
            Place("nozzle", bore),
            Hose(length, bore, friction, loss=MOUTH_LOSS + hose.JET_LOSS),
            Loss(_three(PORT_LOSS), port),
            Place("tank"),
            Filter(loss_pa / at_flow),
            Loss(_three(PIPE_LOSS), port),
            Place("blower", port),
        ],
        Blower(facts.displacement_m3, facts.slip_speed_rpm, facts.laminar_share),
        facts.rated_rpm,
        outside,
    )
    if not np.all(point.solved):
        return "No flow fits: the hose is too narrow or too long for this blower."
    nozzle, inlet = point.stations["nozzle"], point.stations["blower"]
    return OtherHose(
        facts.rated_rpm,
        _ends(nozzle.volume_flow),
        _ends(inlet.volume_flow),
        _ends(inlet.vacuum),
        _ends(nozzle.velocity),
        bool(np.any(point.choked)),
        facts.relief_vacuum_pa is not None and bool(inlet.vacuum[MIDDLE] > facts.relief_vacuum_pa),
        bool(point.outlet_pressure[MIDDLE] / point.inlet_pressure[MIDDLE] > MOST_DRY_RATIO),
    )


def _three(ends: tuple[float, float]) -> Array:
    return np.array([np.mean(ends), *ends])


def _ends(values: Array) -> tuple[float, float, float]:
    return float(values[MIDDLE]), float(values.min()), float(values.max())

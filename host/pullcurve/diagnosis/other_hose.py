"""What the rig's machine, in good order, would have with another hose."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.facts import MOUTH_LOSS, machine_facts
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.unknowns import UNSTATED_FILTER_PA
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

TEMPERATURE_K, HUMIDITY = 293.15, 0.5  # where the rig states none
DEVIATIONS = np.array([0.0, -1.0, 1.0])  # of every loss, of three machines
MIDDLE = 0  # of them


@dataclass(frozen=True)
class OtherHose:
    """The operating point at rated speed, each figure (middle, low, high): with usual losses, and
    the ends of what less and more of them make of it."""

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

    The losses are those of `priors`, all of them together one standard deviation less or more:
    so the ends lie further apart than those of a standard uncertainty, and are no 95 % interval.
    """
    facts = machine_facts(rig)
    if isinstance(facts, str):
        return facts
    hose_scatter = _scatter(f"hose_{wall}")
    port = np.sqrt(4 / np.pi * facts.port_area_m2)
    if facts.filter_loss is not None:
        filter_pa, filter_flow = facts.filter_loss[0] * _scatter("filter"), facts.filter_loss[1]
    else:
        filter_pa = UNSTATED_FILTER_PA * _scatter("filter_unstated")
        filter_flow = facts.rated_flow_m3_s
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
            Hose(
                length,
                bore,
                hose.FRICTION[wall].median * hose_scatter,
                loss=(MOUTH_LOSS + hose.JET_LOSS) * hose_scatter,
            ),
            Loss(_scatter("port"), port),
            Place("tank"),
            Filter(filter_pa / filter_flow),
            Loss(_scatter("pipe"), port),
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


def _scatter(name: str) -> Array:
    return priors().scatter[name].value(DEVIATIONS)


def _ends(values: Array) -> tuple[float, float, float]:
    return float(values[MIDDLE]), float(values.min()), float(values.max())

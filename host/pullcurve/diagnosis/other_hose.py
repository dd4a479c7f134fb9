"""What the rig's machine, in good order, would have with another hose."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.facts import MOUTH_LOSS, machine_facts
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.unknowns import UNSTATED_FILTER_PA
from pullcurve.physics import air, hose
from pullcurve.physics.blower import beyond_limits
from pullcurve.physics.path import AirPath, Setting, operating_point
from pullcurve.rig.models import Rig

Array = NDArray[np.float64]

TEMPERATURE_K, HUMIDITY = air.ROOM_TEMPERATURE, 0.5  # where the rig states none
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
    if facts.filter_loss is not None:
        filter_pa, filter_flow = facts.filter_loss[0] * _scatter("filter"), facts.filter_loss[1]
    else:
        filter_pa = UNSTATED_FILTER_PA * _scatter("filter_unstated")
        filter_flow = facts.rated_flow_m3_s
    site = rig.site
    pressure = site.station_pressure or float(air.standard_pressure(site.altitude))
    temperature = site.temperature_k or TEMPERATURE_K
    humidity = HUMIDITY if site.humidity is None else site.humidity
    vapour = air.vapour_fraction(pressure, temperature, humidity)
    density = air.density(pressure, temperature, vapour)
    rt, one = pressure / density, np.ones(1)
    path = AirPath(
        facts.displacement_m3,
        facts.slip_speed_rpm,
        laminar_share=facts.laminar_share,
        filter_linear=filter_pa / filter_flow,
        pipe_term=_scatter("pipe") / facts.port_area_m2**2,
        intake_term=_scatter("port") / facts.port_area_m2**2,
        hose_loss=hose_scatter
        * (hose.FRICTION[wall].median * length / bore + MOUTH_LOSS + hose.JET_LOSS),
    )
    point = operating_point(
        path,
        Setting(
            shaft_rpm=facts.rated_rpm * one,
            belt_between=one < 0,
            ambient_pressure=pressure * one,
            temperature=temperature * one,
            gas_constant=rt / temperature * one,
            mass_ratio=density / air.density(pressure, temperature, 0.0) * one,
            in_pipe=one < 0,
            meter_area=np.inf * one,
            hose_on=one > 0,
            hose_bore=bore * one,
        ),
    )
    if not np.all(point.converged):
        return "No flow fits: the hose is too narrow or too long for this blower."
    entering = point.intake_flow * rt / pressure
    vacuum = pressure - point.inlet_pressure
    choked = hose.is_choked(point.port_pressure, point.intake_flow, hose.area(bore), rt)
    beyond = beyond_limits(
        point.inlet_pressure, point.outlet_pressure, temperature + point.discharge_rise
    )
    relief = facts.relief_vacuum_pa
    return OtherHose(
        facts.rated_rpm,
        _ends(entering),
        _ends(point.blower_flow * rt / point.inlet_pressure),
        _ends(vacuum),
        _ends(entering / hose.area(bore)),
        bool(np.any(choked)),
        relief is not None and bool(vacuum[MIDDLE] > relief),
        bool(beyond.ratio[MIDDLE]),
    )


def _scatter(name: str) -> Array:
    """Of a prior, (machines, 1)."""
    return priors().scatter[name].value(DEVIATIONS[:, None])


def _ends(values: Array) -> tuple[float, float, float]:
    return float(values[MIDDLE, 0]), float(values.min()), float(values.max())

"""Facts of the trade as check values, each alone. All of them: common practice, no source.

The machine is the grit unit of `with_the_air`; what is expected is solved there.
"""

from dataclasses import replace

import numpy as np
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from scipy.optimize import brentq

from host.physics.with_the_air import SEA, Machine, solve
from pullcurve.physics import blower
from pullcurve.physics.flow_equation import mass_flow
from pullcurve.physics.path import AirPath, Setting, State, operating_point

ROOM, RT, AREA = 293.15, 287.05 * 293.15, np.pi / 4 * 0.1270**2
OPEN = Machine(load=0.25)
ON_THE_HOSE = Machine(load=6.65)
WITH_A_PLATE = Machine(load=20.25)


def run(machine: Machine) -> State:
    one = np.ones(1)
    setting = Setting(
        shaft_rpm=machine.speed * one,
        belt_between=one < 0,
        ambient_pressure=machine.pressure * one,
        temperature=ROOM * one,
        gas_constant=RT / ROOM * one,
        mass_ratio=one,
        in_pipe=one < 0,
        meter_area=AREA * one,
        hose_on=one < 0,
        hose_bore=machine.bore * one,
    )
    path = AirPath(
        machine.displacement,
        machine.slip,
        filter_linear=machine.resistance,
        pipe_term=machine.pipe / AREA**2,
        intake_term=machine.load / AREA**2,
    )
    return operating_point(path, setting)


def port_flow(machine: Machine) -> float:
    """Of the open air, m³/s."""
    return run(machine).metered_flow.item() * RT / machine.pressure


def vacuum(machine: Machine) -> float:
    return machine.pressure - run(machine).inlet_pressure.item()


def test_half_the_differential_pressure_is_71_per_cent_of_the_flow() -> None:
    """Common practice, no source. In one gas of one density; the expansibility is left out."""
    half, whole = mass_flow(
        np.array([600.0, 1200.0]),
        1.2,
        coefficient=0.97,
        expansibility=1.0,
        pipe_bore=0.1446,
        throat_bore=0.0983,
    )
    assert half / whole == pytest.approx(0.71, abs=0.005)


def test_wear_that_leaves_half_the_flow_leaves_hardly_any_vacuum() -> None:
    """Common practice, no source: a blower worn so far no longer pulls.

    The slip is sought by the other solver. All turns are slip at less than an eighth of the open
    air's pressure: a consequence to state, never a test to ask for.
    """
    half = solve(ON_THE_HOSE).nozzle / 2
    slip = brentq(
        lambda slip: solve(replace(ON_THE_HOSE, slip=slip)).nozzle - half, 200.0, 20_000.0
    )
    worn = replace(ON_THE_HOSE, slip=slip)
    assert port_flow(worn) == pytest.approx(port_flow(ON_THE_HOSE) / 2, rel=1e-6)
    assert vacuum(worn) == pytest.approx(SEA - solve(worn).blower, rel=1e-6)
    held = SEA - float(blower.blanked_inlet_pressure(worn.speed, slip, SEA))
    # 1 + (N / S1)^2 / 14.696 at 20 °C, worked by hand.
    assert held == pytest.approx(SEA * (1 - 1 / (1 + (2750 / slip) ** 2 / 14.69595)), rel=1e-4)
    assert vacuum(worn) < held < SEA / 8


@pytest.mark.parametrize("machine", [OPEN, ON_THE_HOSE, WITH_A_PLATE])
@pytest.mark.parametrize("altitude", [620.0, 1800.0, 3000.0])
def test_altitude_takes_mass_and_hardly_any_volume(machine: Machine, altitude: float) -> None:
    """Common practice, no source: on a path that stays as it is, the mass goes with the air's
    pressure. Pressure of the standard atmosphere from fluids."""
    high = replace(machine, pressure=ATMOSPHERE_1976(altitude).P)
    assert port_flow(high) / port_flow(machine) == pytest.approx(1, abs=0.025)
    mass = (run(high).blower_flow / run(machine).blower_flow).item()
    assert mass == pytest.approx(solve(high).intake / solve(machine).intake, rel=1e-6)
    assert mass == pytest.approx(high.pressure / SEA, rel=0.025)


@pytest.mark.parametrize("machine", [OPEN, ON_THE_HOSE, WITH_A_PLATE])
def test_a_blower_turned_slower_loses_its_share_before_anything_is_worn(machine: Machine) -> None:
    """Common practice, no source. Nine tenths of the speed: a little more than nine tenths of the
    flow where the vacuum falls with it, for the air thins less and slips less."""
    slow = replace(machine, speed=0.9 * machine.speed)
    share = port_flow(slow) / port_flow(machine)
    assert share == pytest.approx(solve(slow).nozzle / solve(machine).nozzle, rel=1e-6)
    assert 0.9 < share < 0.94


def test_a_vacuum_gauge_does_not_tell_flow() -> None:
    """Common practice, no source. One vacuum at the blower, three machines: healthy on the hose,
    worn behind a plate, slow behind a plate. Slip and speed are sought by the other solver."""
    gauge = SEA - solve(ON_THE_HOSE).blower

    def misses(machine: Machine) -> float:
        return SEA - solve(machine).blower - gauge

    slip = brentq(lambda slip: misses(replace(WITH_A_PLATE, slip=slip)), 115.0, 5000.0)
    speed = brentq(lambda speed: misses(replace(WITH_A_PLATE, speed=speed)), 900.0, 2750.0)
    machines = (ON_THE_HOSE, replace(WITH_A_PLATE, slip=slip), replace(WITH_A_PLATE, speed=speed))
    assert [vacuum(machine) for machine in machines] == pytest.approx([gauge] * 3, rel=1e-6)
    healthy, worn, slow = (port_flow(machine) for machine in machines)
    assert worn < 0.8 * healthy
    assert slow < 0.8 * healthy

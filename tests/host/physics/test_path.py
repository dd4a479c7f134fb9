"""The whole path and its operating point, on an invented machine and by its balances.

The machine is a grit unit; `with_the_air` solves the same equations the other way round.
"""

from dataclasses import replace

import numpy as np
import pytest
from fluids.compressible import isothermal_gas
from hypothesis import given, settings
from hypothesis import strategies as st

from host.physics.with_the_air import Machine, solve
from pullcurve.physics import air, hose
from pullcurve.physics.path import (
    Blower,
    Filter,
    Hose,
    Leak,
    Loss,
    OpenAir,
    OperatingPoint,
    Path,
    Place,
    Relief,
    flow_at,
    operating_point,
)

SEA, ROOM, BORE = 101325.0, 293.15, 0.1270
HEALTHY, RATED = Blower(0.0160, 115.0), 2750.0
METER = 0.25
LOADS = {"open": METER, "hose": METER + 6.4, "plate": METER + 20.0}


def outside(pressure: float = SEA) -> OpenAir:
    return OpenAir(pressure, ROOM, 287.05 * ROOM, 1.82e-5)


def path_of(machine: Machine) -> Path:
    """Meter, hose or plate as a plain K, tank, leak A, clean pipe, filter, leak C."""
    return (
        Place("nozzle", BORE),
        Loss(machine.load, BORE),
        Place("tank", BORE),
        Leak(machine.leak_tank),
        Loss(machine.pipe, BORE),
        Filter(machine.resistance),
        Leak(machine.leak_blower),
        Place("blower", BORE),
    )


def point_of(machine: Machine) -> OperatingPoint:
    blower = Blower(machine.displacement, machine.slip)
    return operating_point(path_of(machine), blower, machine.speed, outside(machine.pressure))


HOSE_ON = path_of(Machine(load=LOADS["hose"]))
LEAKY = path_of(Machine(load=LOADS["hose"], leak_tank=60e-6))


def hold_against_the_other_way(machine: Machine) -> None:
    point, other = point_of(machine), solve(machine)
    assert point.solved
    assert not point.choked
    nozzle, tank = point.stations["nozzle"], point.stations["tank"]
    found = (
        *(nozzle.mass_flow, point.intake, tank.pressure, point.inlet_pressure),
        *(point.slip_rpm, point.temperature_rise),
    )
    expected = (
        *(other.nozzle, other.intake, other.tank, other.blower),
        *(other.slip, other.rise),
    )
    assert [float(each) for each in found] == pytest.approx(expected, rel=1e-6)
    density = float(tank.pressure) / (287.05 * ROOM)
    assert tank.volume_flow == pytest.approx(other.nozzle / density, rel=1e-6)
    assert tank.velocity == pytest.approx(other.nozzle / density / (np.pi / 4 * BORE**2), rel=1e-6)


@pytest.mark.parametrize("load", list(LOADS))
@pytest.mark.parametrize("pressure", [SEA, 94_100.0, 81_000.0])
@pytest.mark.parametrize("leak", [0.0, 60e-6])
def test_the_healthy_machine(load: str, pressure: float, leak: float) -> None:
    hold_against_the_other_way(Machine(load=LOADS[load], pressure=pressure, leak_tank=leak))


# What a fault does to flow, vacuum at the blower and heat of the discharge, plate on.
FAULTS = {
    "worn": ({"slip": 345.0}, (-1, -1, -1)),
    "leak at the blower": ({"leak_blower": 800e-6}, (-1, -1, -1)),
    "leak at the tank": ({"leak_tank": 800e-6}, (-1, -1, -1)),
    "slow": ({"speed": 2420.0}, (-1, -1, -1)),
    "choke in the pipe": ({"pipe": 9.5}, (-1, 1, 1)),
    "loaded filter": ({"resistance": 18e3}, (-1, 1, 1)),
}


@pytest.mark.parametrize("load", list(LOADS))
@pytest.mark.parametrize("fault", list(FAULTS))
def test_what_each_fault_does(fault: str, load: str) -> None:
    """No fault but those that throttle raises the vacuum; all of them take flow."""
    changes, signs = FAULTS[fault]
    sound = Machine(load=LOADS[load])
    faulty = replace(sound, **changes)
    hold_against_the_other_way(faulty)
    before, after = point_of(sound), point_of(faulty)
    assert after.stations["nozzle"].mass_flow < 0.99 * before.stations["nozzle"].mass_flow
    if load == "plate":
        moved = (
            after.stations["nozzle"].mass_flow - before.stations["nozzle"].mass_flow,
            after.stations["blower"].vacuum - before.stations["blower"].vacuum,
            after.temperature_rise - before.temperature_rise,
        )
        assert tuple(np.sign(moved)) == signs


@pytest.mark.parametrize(("bore", "friction"), [(0.10, 0.03), (0.127, 0.03), (0.15, 0.028)])
@pytest.mark.parametrize("vacuum", [12e3, 30e3])
def test_what_a_hose_passes(bore: float, friction: float, vacuum: float) -> None:
    """21.3 m, K = 1.4 besides friction; isothermal_gas of fluids, its density at the mouth."""
    path = (Place("nozzle"), Hose(21.3, bore, friction, loss=1.4))
    answer = flow_at(path, SEA - vacuum, outside())
    assert answer.solved
    loss = friction * 21.3 / bore + 1.4
    expected = isothermal_gas(
        rho=SEA / (287.05 * ROOM), fd=loss * bore, P1=SEA, P2=SEA - vacuum, L=1.0, D=bore
    )
    assert answer.stations["nozzle"].mass_flow == pytest.approx(expected, rel=1e-6)


def test_a_choked_hose_says_so_and_passes_no_more() -> None:
    """30 mm on a blower for 127 mm; the flow no longer follows the speed."""
    path = (Place("nozzle", 0.03), Hose(0.5, 0.03, 0.02, loss=0.2), Place("tank"))
    point = operating_point(path, HEALTHY, np.array([100.0, 2300.0, 2750.0]), outside())
    assert point.solved.all()
    np.testing.assert_array_equal(point.choked, [False, True, True])
    flow = point.stations["nozzle"].mass_flow
    assert flow[2] == pytest.approx(flow[1], rel=1e-9)
    assert point.stations["tank"].pressure[2] < point.stations["tank"].pressure[1]
    # A frictionless nozzle of this bore passes more.
    assert flow[2] < hose.leak_flow(hose.area(0.03), SEA, 0.0, 287.05 * ROOM)
    assert flow_at(path, 1000.0, outside()).stations["nozzle"].mass_flow == pytest.approx(flow[2])


def test_a_speed_of_nothing_moves_nothing_and_a_nan_spares_its_neighbours() -> None:
    speeds = np.array([0.0, 1.0, np.nan, RATED])
    point = operating_point(LEAKY, HEALTHY, speeds, outside())
    np.testing.assert_array_equal(point.solved, [True, True, False, True])
    assert point.intake[0] == pytest.approx(0, abs=1e-9)
    assert 0 < point.intake[1] < 1e-3
    assert np.isnan(point.intake[2])
    alone = operating_point(LEAKY, HEALTHY, RATED, outside())
    assert point.intake[3] == pytest.approx(float(alone.intake), rel=1e-9)


def test_a_silencer_costs_slip() -> None:
    """The outlet's pressure is the open air's and what the flow loses there."""
    quiet = Blower(0.0160, 115.0, outlet_loss=12e3)
    point = operating_point(HOSE_ON, quiet, RATED, outside())
    assert point.outlet_pressure - SEA == pytest.approx(12e3 * float(point.intake) ** 2, rel=1e-6)
    loud = operating_point(HOSE_ON, HEALTHY, RATED, outside())
    assert point.slip_rpm > loud.slip_rpm
    assert point.intake < loud.intake


def test_a_relief_valve_caps_the_vacuum() -> None:
    path = (*path_of(Machine(load=60.0))[:-1], Relief(30e3, 1e-4), Place("blower"))
    vacua = (
        operating_point(path, HEALTHY, np.array([1400.0, 1850.0, 2300.0, 2750.0]), outside())
        .stations["blower"]
        .vacuum
    )
    assert vacua[0] < 30e3
    assert (np.diff(vacua) > 0).all()
    assert vacua[-1] - vacua[-2] < 3e3


lengths, wide = st.floats(1, 60), st.floats(0.08, 0.2)
areas = st.floats(0, 2e-3)


def wholly(length: float, bore: float, a: float, c: float, resistance: float) -> Path:
    half = Hose(length / 2, bore, 0.03, loss=0.7)
    return (
        Place("nozzle", bore),
        half,
        Leak(a / 2),
        Place("hose", bore),
        half,
        Place("tank"),
        Leak(a / 2),
        Filter(resistance),
        Leak(c),
        Place("blower", bore),
    )


@settings(max_examples=50, deadline=None)
@given(lengths, wide, areas, areas, st.floats(100, 4000), st.floats(40, 2000))
def test_mass_is_conserved_and_pressure_falls(
    length: float, bore: float, a: float, c: float, speed: float, slip: float
) -> None:
    """At every place: what is in the hose is what came in so far."""
    path = wholly(length, bore, a, c, 2440.0)
    blower = Blower(0.0160, slip)
    point = operating_point(path, blower, speed, outside())
    assert point.solved
    stations = [point.stations[name] for name in ("nozzle", "hose", "tank", "blower")]
    rt = 287.05 * ROOM
    came = [
        float(hose.leak_flow(size, SEA, station.pressure, rt))
        for size, station in zip((a / 2, a / 2, c), stations[1:], strict=True)
    ]
    flows = [float(station.mass_flow) for station in stations]
    assert np.diff(flows) == pytest.approx([came[0], 0, came[1] + came[2]], abs=1e-9)
    assert flows[-1] == pytest.approx(float(point.intake), rel=1e-9)
    pressures = [float(station.pressure) for station in stations]
    assert pytest.approx(pressures[0], rel=1e-9) == SEA
    assert all(np.diff(pressures) < 1e-6)
    # The blower's own equation at its end.
    density = float(point.inlet_pressure) / rt
    assert point.intake == pytest.approx(
        density * 0.0160 * (speed - float(point.slip_rpm)) / 60, rel=1e-9, abs=1e-12
    )
    # The same path drawn upon by anything with that pressure.
    again = flow_at(path, point.inlet_pressure, outside())
    assert again.intake == pytest.approx(float(point.intake), rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(lengths, wide, areas, areas, st.floats(300, 4000))
def test_a_worse_machine_moves_less(
    length: float, bore: float, a: float, c: float, speed: float
) -> None:
    """Longer, narrower, slower, more worn, leaking more: less at the nozzle."""
    path = wholly(length, bore, a, c, 2440.0)
    point = operating_point(path, HEALTHY, speed, outside())
    here = point.stations["nozzle"].mass_flow

    def nozzle(other: Path, blower: Blower = HEALTHY, turns: float = speed) -> float:
        found = operating_point(other, blower, turns, outside())
        return float(found.stations["nozzle"].mass_flow)

    assert nozzle(wholly(length * 1.1, bore, a, c, 2440.0)) < here
    assert nozzle(wholly(length, bore * 0.97, a, c, 2440.0)) < here
    assert nozzle(wholly(length, bore, a, c, 4000.0)) < here
    assert nozzle(path, turns=0.98 * speed) < here
    assert nozzle(path, Blower(0.0160, 140.0)) < here
    assert nozzle(wholly(length, bore, a, c + 1e-5, 2440.0)) < here
    assert nozzle(wholly(length, bore, a + 1e-5, c, 2440.0)) < here


@settings(max_examples=40, deadline=None)
@given(lengths, wide, areas, areas, st.floats(0.5, 1.2), st.floats(0.5, 2.0))
def test_likeness(
    length: float, bore: float, a: float, c: float, thinner: float, larger: float
) -> None:
    """Units do not matter: at scaled pressure and size the answer is the scaled answer.

    Pressures by p, lengths by s, displacement by s²: flows by p s², vacua by p.
    """
    point = operating_point(wholly(length, bore, a, c, 2440.0), HEALTHY, 2300.0, outside())
    s, p = larger, thinner
    like = operating_point(
        wholly(s * length, s * bore, s**2 * a, s**2 * c, 2440.0 * p / s**2),
        Blower(s**2 * 0.0160, 115.0),
        2300.0,
        outside(p * SEA),
    )
    assert like.intake == pytest.approx(p * s**2 * float(point.intake), rel=1e-8)
    for name, station in point.stations.items():
        assert like.stations[name].vacuum == pytest.approx(p * station.vacuum, rel=1e-8, abs=1e-4)
        assert like.stations[name].mass_flow == pytest.approx(
            p * s**2 * station.mass_flow, rel=1e-8, abs=1e-9
        )
    assert like.slip_rpm == pytest.approx(float(point.slip_rpm), rel=1e-8)


def test_a_thousand_machines_at_once_are_a_thousand_alone() -> None:
    rng = np.random.default_rng(5)
    draws = {
        "length": rng.uniform(2, 40, 1000),
        "bore": rng.uniform(0.08, 0.2, 1000),
        "a": rng.uniform(0, 1e-3, 1000),
        "c": rng.uniform(0, 1e-3, 1000),
        "resistance": rng.uniform(1e3, 3e4, 1000),
    }
    slips = rng.uniform(60, 1500, 1000)
    together = operating_point(wholly(**draws), Blower(0.0160, slips), 2300.0, outside())
    assert together.solved.all()
    for i in range(0, 1000, 100):
        one = {name: float(values[i]) for name, values in draws.items()}
        alone = operating_point(wholly(**one), Blower(0.0160, slips[i]), 2300.0, outside())
        assert together.intake[i] == pytest.approx(float(alone.intake), rel=1e-9)


def test_smooth_hose_finds_its_own_friction() -> None:
    """The factor at the Reynolds number that the answer has; a wetter air is lighter."""
    path = (Place("nozzle", BORE), Hose(21.3, BORE, loss=1.4), Place("tank"))
    damp = OpenAir.moist(SEA, 303.15, air.vapour_fraction(SEA, 303.15, 0.9))
    point = operating_point(path, HEALTHY, RATED, damp)
    reynolds = 4 * point.intake / (np.pi * BORE * damp.viscosity)
    friction = hose.friction_factor(reynolds, hose.SMOOTH_ROUGHNESS / BORE)
    assert 0.015 < friction < 0.02
    given_it = (Place("nozzle", BORE), Hose(21.3, BORE, friction, loss=1.4), Place("tank"))
    again = operating_point(given_it, HEALTHY, RATED, damp)
    assert again.intake == pytest.approx(float(point.intake), rel=1e-9)
    assert 0.98 < damp.mass_ratio < 0.99
    dry = operating_point(path, HEALTHY, RATED, OpenAir.moist(SEA, 303.15))
    assert dry.intake > point.intake

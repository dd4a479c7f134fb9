"""The path of the air: against other solvers, by its balances, and in its own two drivers.

The machine is a grit unit; `with_the_air` solves the same equations the other way round, and the
bench's plant is other code, written from the same laws.
"""

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from fluids.compressible import isothermal_gas
from hypothesis import given, settings
from hypothesis import strategies as st
from machines_of_the_bench import (
    AREA,
    BORE,
    HOSE_M,
    OUTLET,
    PIPE,
    RATED_RPM,
    S1,
    TURN_M3,
    Truth,
    evidence,
    machine,
    solved,
)

from host.physics.with_the_air import R_AIR, ROOM, SEA, Machine, solve
from pullcurve.physics import hose
from pullcurve.physics.path import AirPath, Setting, State, operating_point, walk

METER = 0.25
LOADS = {"open": METER, "hose": METER + 6.4, "plate": METER + 20.0}


def setting_of(speed: Any, pressure: float = SEA, bore: float = BORE, **other: Any) -> Setting:
    """The meter on the port; without a hose unless it is asked."""
    one = np.ones(np.shape(np.atleast_1d(speed)))
    usual = Setting(
        shaft_rpm=one * speed,
        belt_between=one < 0,
        ambient_pressure=pressure * one,
        temperature=ROOM * one,
        gas_constant=R_AIR * one,
        mass_ratio=one,
        in_pipe=one < 0,
        meter_area=AREA * one,
        hose_on=one < 0,
        hose_bore=bore * one,
    )
    return replace(usual, **{name: one * value > 0 for name, value in other.items()})


def path_of(unit: Machine) -> AirPath:
    area = np.pi / 4 * unit.bore**2
    return AirPath(
        unit.displacement,
        unit.slip,
        leak_a=unit.leak_tank,
        leak_c=unit.leak_blower,
        filter_linear=unit.resistance,
        pipe_term=unit.pipe / area**2,
        intake_term=0.0 if unit.hose else unit.load / area**2,
        meter_term=unit.load / area**2 if unit.hose else 0.0,
        hose_loss=unit.hose,
    )


def state_of(unit: Machine) -> State:
    setting = setting_of(unit.speed, unit.pressure, unit.bore, hose_on=bool(unit.hose))
    return operating_point(path_of(unit), setting)


def hold_against_the_other_way(unit: Machine) -> State:
    state, other = state_of(unit), solve(unit)
    assert state.converged.all()
    found = (state.metered_flow, state.blower_flow, state.leak_a)
    found += (state.tank_pressure, state.inlet_pressure, state.slip_rpm)
    expected = (other.nozzle, other.intake, other.tank_leak, other.tank, other.blower, other.slip)
    assert [each.item() for each in found] == pytest.approx(expected, rel=1e-6, abs=1e-9)
    # Of two thirds of a diatomic gas' 3.5 R and the heat capacity of air: 0.2 % apart.
    assert state.discharge_rise.item() == pytest.approx(other.rise, rel=3e-3)
    return state


@pytest.mark.parametrize("load", list(LOADS))
@pytest.mark.parametrize("pressure", [SEA, 94_100.0, 81_000.0])
@pytest.mark.parametrize("leak", [0.0, 60e-6])
def test_the_healthy_machine(load: str, pressure: float, leak: float) -> None:
    hold_against_the_other_way(Machine(load=LOADS[load], pressure=pressure, leak_tank=leak))


@settings(max_examples=80, deadline=None)
@given(
    st.builds(
        Machine,
        slip=st.floats(40, 1500),
        speed=st.floats(1700, 3500),
        load=st.floats(0.2, 60.0),
        hose=st.sampled_from([0.0, 2.0, 6.4, 15.0]),
        leak_tank=st.floats(0, 2e-3),
        pipe=st.floats(0.5, 10),
        resistance=st.floats(500, 20e3),
        leak_blower=st.floats(0, 2e-3),
        pressure=st.floats(70e3, 105e3),
    )
)
def test_any_machine_is_solved_as_it_is_the_other_way_round(unit: Machine) -> None:
    try:
        solve(unit)
    except ValueError:  # leaks feed the blower whole: its flow at the nozzle would be outward
        return
    hold_against_the_other_way(unit)


def test_a_point_worked_by_hand() -> None:
    """A blower without slip, one loss: p1 = p0 / sqrt(1 + K (V N / 60 A)² / (R T)).

    0.0160 m³ a turn at 2750 rev/min are 0.73333 m³/s, through 0.0126677 m² 57.890 m/s; its square
    over 287.05 x 293.15 J/kg is 0.039825; K = 10: p1 = 101325 / sqrt(1.39825) = 85689 Pa.
    """
    path = AirPath(0.0160, 0.0, intake_term=10.0 / (np.pi / 4 * 0.127**2) ** 2)
    state = operating_point(path, setting_of(2750.0))
    assert state.inlet_pressure.item() == pytest.approx(85_689.0, abs=2.0)
    flow = 85_689.0 / (287.05 * 293.15) * 0.73333
    assert state.metered_flow.item() == pytest.approx(flow, rel=5e-5)


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
    after = hold_against_the_other_way(replace(sound, **changes))
    before = state_of(sound)
    assert after.metered_flow < 0.99 * before.metered_flow
    if load == "plate":
        moved = (
            (after.metered_flow - before.metered_flow).item(),
            (before.inlet_pressure - after.inlet_pressure).item(),
            (after.discharge_rise - before.discharge_rise).item(),
        )
        assert tuple(np.sign(moved)) == signs


def parameters(truth: Truth) -> AirPath:
    """The plant's machine."""
    unit = machine(truth)
    _, plates, _ = solved(truth)
    heads = HOSE_M / BORE * 0.03 + 1.4 if truth.hose else 0.0
    in_port = 0.0 if truth.hose else truth.choke
    return AirPath(
        TURN_M3,
        S1,
        wear=truth.wear,
        belt=truth.belt,
        leak_a=unit.leaks.a_m2,
        leak_b=unit.leaks.b_m2,
        leak_c=unit.leaks.c_m2,
        filter_linear=unit.filter.linear_pa_s_m3,
        filter_square=unit.filter.square_pa_s2_m6,
        pipe_term=1.8 / AREA**2,
        intake_term=(0.6 + in_port + plates[None, :]) / AREA**2,
        hose_loss=heads + (truth.choke if truth.hose else 0.0),
        meter_term=0.7 / (np.pi / 4 * PIPE**2) ** 2,
        outlet=OUTLET,
        tap=1.3,
        heat_loss=0.08,
    )


@pytest.mark.parametrize(
    "truth",
    [
        Truth(),
        Truth(position="hose_end", hose=True, choke=8.0),
        Truth(position="clean_pipe", hose=True, leak_a=0.04, leak_b=0.03, leak_c=0.02),
        Truth(wear=6.0, plate=True, filter=4.0),
        Truth(tachs="engine", belt=0.2, leak_c=0.1),
    ],
    ids=lambda truth: f"{truth.position}-{truth.tachs}",
)
def test_agrees_with_the_plant_of_the_bench(truth: Truth) -> None:
    _, _, plant = solved(truth)
    state = operating_point(parameters(truth), evidence(truth).setting)
    in_pipe = truth.position == "clean_pipe"
    metered = plant.pipe_flow if in_pipe else plant.port_flow
    assert state.converged.all()
    assert state.metered_flow[0] == pytest.approx(metered, rel=5e-4)
    assert state.inlet_pressure[0] == pytest.approx(plant.blower_pressure, abs=5.0)
    assert state.tank_pressure[0] == pytest.approx(plant.tank_pressure, abs=5.0)
    assert state.slip_rpm[0] == pytest.approx(plant.slip_rpm, rel=1e-3)


@pytest.mark.parametrize("friction", [0.02, 0.03, 0.05])
@pytest.mark.parametrize("speed", [1400.0, 2750.0])
def test_what_a_hose_passes(friction: float, speed: float) -> None:
    """21.3 m, K = 1.4 besides friction; isothermal_gas of fluids between the ends' pressures."""
    loss = friction * 21.3 / BORE + 1.4
    path = AirPath(TURN_M3, S1, hose_loss=loss)
    state = operating_point(path, setting_of(speed, hose_on=True))
    expected = isothermal_gas(
        rho=SEA / (R_AIR * ROOM),
        fd=loss * BORE,
        P1=SEA,
        P2=state.port_pressure.item(),
        L=1.0,
        D=BORE,
    )
    assert state.intake_flow.item() == pytest.approx(expected, rel=1e-6)


def test_a_choked_hose_passes_no_more() -> None:
    """30 mm on a blower for 127 mm; the flow no longer follows the speed."""
    path = AirPath(TURN_M3, S1, hose_loss=0.5 / 0.03 * 0.02 + 0.2)
    state = operating_point(
        path, setting_of(np.array([100.0, 2300.0, 2750.0]), bore=0.03, hose_on=True)
    )
    assert state.converged.all()
    flow, area, rt = state.intake_flow, hose.area(0.03), R_AIR * ROOM
    choked = hose.is_choked(state.port_pressure, flow, area, rt)
    np.testing.assert_array_equal(choked, [False, True, True])
    assert flow[2] == pytest.approx(flow[1], rel=1e-8)
    assert state.port_pressure[2] < state.port_pressure[1]
    # A frictionless nozzle of this bore passes more.
    assert flow[2] < hose.leak_flow(area, SEA, 0.0, rt)


LEAKY = path_of(Machine(load=LOADS["hose"], leak_tank=60e-6))


def test_a_speed_of_nothing_moves_nothing_and_a_nan_spares_its_neighbours() -> None:
    state = operating_point(LEAKY, setting_of(np.array([0.0, 1.0, np.nan, RATED_RPM])))
    np.testing.assert_array_equal(state.converged, [True, True, False, True])
    assert state.blower_flow[0] == pytest.approx(0, abs=1e-9)
    assert 0 < state.blower_flow[1] < 1e-3
    alone = operating_point(LEAKY, setting_of(RATED_RPM))
    assert state.blower_flow[3] == pytest.approx(alone.blower_flow.item(), rel=1e-9)


def test_a_silencer_costs_slip() -> None:
    """The outlet's pressure is the open air's and what the flow loses there."""
    loud = path_of(Machine(load=LOADS["hose"]))
    quiet = operating_point(replace(loud, outlet=12e3), setting_of(RATED_RPM))
    assert quiet.outlet_pressure - SEA == pytest.approx(12e3 * quiet.blower_flow**2, rel=1e-9)
    without = operating_point(loud, setting_of(RATED_RPM))
    assert quiet.slip_rpm > without.slip_rpm
    assert quiet.blower_flow < without.blower_flow


def test_a_belt_slips_as_much_as_it_is_loaded() -> None:
    """`belt` at 10 kPa of vacuum; with the load where it goes with it; not past 0.8."""
    setting = setting_of(np.array([1400.0, 2750.0]), belt_between=True)
    even = operating_point(replace(LEAKY, belt=0.1), setting)
    assert even.speed_rpm == pytest.approx([1260.0, 2475.0])
    pulled = operating_point(replace(LEAKY, belt=0.1, belt_with_load=1.0), setting)
    expected = 1 - 0.1 * (SEA - pulled.inlet_pressure) / 10e3
    assert pulled.speed_rpm / [1400.0, 2750.0] == pytest.approx(expected)
    stuck = operating_point(replace(LEAKY, belt=3.0), setting)
    assert stuck.speed_rpm == pytest.approx([280.0, 550.0])


machines = st.fixed_dictionaries(
    {
        "wear": st.floats(0.5, 20),
        "laminar_share": st.floats(0, 0.9),
        "leak_a": st.floats(0, 2e-3),
        "leak_b": st.floats(0, 2e-3),
        "leak_c": st.floats(0, 2e-3),
        "filter_linear": st.floats(100, 20e3),
        "filter_square": st.floats(0, 5e3),
        "pipe_term": st.floats(1e3, 1e5),
        "intake_term": st.floats(1e3, 3e5),
        "hose_loss": st.floats(0.5, 20),
        "outlet": st.floats(0, 5e3),
    }
)
speeds = st.floats(300, 4000)


@settings(max_examples=60, deadline=None)
@given(machines, speeds, st.booleans())
def test_mass_is_conserved_and_pressure_falls(
    losses: dict[str, float], speed: float, in_pipe: bool
) -> None:
    setting = setting_of(speed, hose_on=True, in_pipe=in_pipe)
    state = operating_point(AirPath(TURN_M3, S1, **losses), setting)
    assert state.converged.all()
    rt = R_AIR * ROOM
    for leak, inside in (
        ("a", state.tank_pressure),
        ("b", state.pipe_pressure),
        ("c", state.inlet_pressure),
    ):
        flow = hose.leak_flow(losses[f"leak_{leak}"], SEA, inside, rt)
        assert getattr(state, f"leak_{leak}") == pytest.approx(flow, rel=1e-9, abs=1e-12)
    assert state.blower_flow == pytest.approx(state.pipe_flow + state.leak_c, abs=1e-12)
    through = state.intake_flow + state.leak_a
    assert state.pipe_flow == pytest.approx(through + state.leak_b, abs=1e-12)
    turned = TURN_M3 * (speed - state.slip_rpm) / 60 * state.inlet_pressure / rt
    assert state.blower_flow == pytest.approx(turned, rel=1e-9, abs=1e-12)
    pressures = (state.port_pressure, state.tank_pressure, state.pipe_pressure)
    falling = np.array([SEA, *(each.item() for each in (*pressures, state.inlet_pressure))])
    if state.intake_flow > 0:
        assert (np.diff(falling) < 1e-6).all()


@settings(max_examples=40, deadline=None)
@given(machines, speeds)
def test_a_worse_machine_moves_less(losses: dict[str, float], speed: float) -> None:
    """More loss, slower, more worn, leaking more: less at the nozzle."""
    setting = setting_of(speed, hose_on=True)

    def nozzle(at: Setting = setting, **other: float) -> float:
        return operating_point(AirPath(TURN_M3, S1, **(losses | other)), at).intake_flow.item()

    here = nozzle()
    if here < 1e-3:
        return
    assert nozzle(setting_of(0.98 * speed, hose_on=True)) < here
    worse = ("wear", "filter_linear", "pipe_term", "intake_term", "hose_loss")
    for name in worse:
        assert nozzle(**{name: 1.1 * losses[name]}) < here
    for name in ("leak_a", "leak_b", "leak_c"):
        assert nozzle(**{name: losses[name] + 1e-5}) < here


@settings(max_examples=40, deadline=None)
@given(machines, st.floats(0.5, 1.2), st.floats(0.5, 2.0))
def test_likeness(losses: dict[str, float], p: float, s: float) -> None:
    """Units do not matter: at scaled pressure p and size s the answer is the scaled answer."""
    scale = {"leak_a": s**2, "leak_b": s**2, "leak_c": s**2, "filter_linear": p / s**2}
    scale |= {"filter_square": p / s**4, "pipe_term": s**-4, "intake_term": s**-4}
    scale["outlet"] = 1 / (p * s**4)
    losses = losses | {"laminar_share": 0.0}  # narrow gaps feel the density
    one = operating_point(AirPath(TURN_M3, S1, **losses), setting_of(2300.0, hose_on=True))
    like = {name: value * scale.get(name, 1.0) for name, value in losses.items()}
    other = operating_point(
        AirPath(s**2 * TURN_M3, S1, **like), setting_of(2300.0, p * SEA, s * BORE, hose_on=True)
    )
    assert other.blower_flow == pytest.approx(p * s**2 * one.blower_flow, rel=1e-7)
    assert other.intake_flow == pytest.approx(p * s**2 * one.intake_flow, rel=1e-6, abs=1e-7)
    assert other.inlet_pressure == pytest.approx(p * one.inlet_pressure, rel=1e-8)
    assert other.tank_pressure == pytest.approx(p * one.tank_pressure, rel=1e-8)
    assert other.slip_rpm == pytest.approx(one.slip_rpm, rel=1e-7)


def many(number: int) -> AirPath:
    generator = np.random.default_rng(5)

    def drawn(low: float, high: float) -> np.ndarray:
        return generator.uniform(low, high, (number, 1))

    return AirPath(
        TURN_M3,
        drawn(60, 1500),
        leak_a=drawn(0, 1e-3),
        leak_c=drawn(0, 1e-3),
        filter_linear=drawn(1e3, 3e4),
        intake_term=drawn(1e3, 3e5),
        hose_loss=drawn(2, 20),
    )


def row(path: AirPath, at: int) -> AirPath:
    values = {field.name: getattr(path, field.name) for field in fields(path)}
    return AirPath(**{n: v[at] if isinstance(v, np.ndarray) else v for n, v in values.items()})


def test_a_thousand_machines_at_once_are_a_thousand_alone() -> None:
    setting, path = setting_of(np.array([1700.0, 2300.0]), hose_on=True), many(1000)
    together = operating_point(path, setting)
    assert together.residual.shape == (1000, 2)
    assert together.converged.all()
    for i in range(0, 1000, 100):
        alone = operating_point(row(path, i), setting)
        assert together.blower_flow[i] == pytest.approx(alone.blower_flow, rel=1e-8)


@pytest.mark.parametrize("start", [0.01, 0.5, 0.999, "near"])
def test_a_start_changes_the_way_and_not_the_answer(start: float | str) -> None:
    setting, path = setting_of(np.array([1700.0, 2300.0]), hose_on=True), many(300)
    cold = operating_point(path, setting)
    ratio = cold.inlet_pressure / SEA
    first = 0.98 * ratio if isinstance(start, str) else np.full_like(ratio, start)
    warm = operating_point(path, setting, first)
    assert warm.converged.all()
    np.testing.assert_allclose(warm.inlet_pressure, cold.inlet_pressure, rtol=1e-8)
    # A walk from the answer ends in the open air.
    again = walk(path, setting, cold.inlet_pressure)
    assert np.abs(again.residual).max() < 1e-9


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.001, 0.9),
    st.floats(0.0, 3.0),
    st.floats(0.0, 1e7),
    st.floats(0.05, 1.2),
)
def test_odd_machines_have_a_finite_state(
    share: float, leak: float, term: float, speed: float
) -> None:
    setting = evidence(Truth()).setting
    setting = replace(setting, shaft_rpm=np.full_like(setting.shaft_rpm, RATED_RPM * speed))
    odd = {"laminar_share": share, "leak_c": leak * AREA, "intake_term": term}
    state = operating_point(replace(parameters(Truth()), **odd), setting)
    assert all(np.isfinite(getattr(state, field.name)).all() for field in fields(State))


def test_air_warmed_ahead_of_the_blower_is_air_of_that_temperature() -> None:
    """A machine in warmer air; the temperature of the open air plays no other part."""
    setting = setting_of(RATED_RPM)
    warmed = operating_point(replace(LEAKY, warming=1.02), setting)
    hot = operating_point(LEAKY, replace(setting, temperature=1.02 * setting.temperature))
    assert warmed.blower_flow == pytest.approx(hot.blower_flow, rel=1e-9)
    assert warmed.slip_rpm == pytest.approx(hot.slip_rpm, rel=1e-9)
    assert warmed.blower_flow < 0.99 * operating_point(LEAKY, setting).blower_flow


def test_the_meters_tap_is_lower_by_the_airs_speed() -> None:
    """1.3 velocity heads behind the filter: 1.3 rho v² / 2, rho at the pressure there."""
    setting = setting_of(RATED_RPM, in_pipe=True)
    state = operating_point(replace(LEAKY, tap=1.3), setting)
    density = state.pipe_pressure / (R_AIR * ROOM)
    velocity = state.pipe_flow / density / AREA
    lower = 1.3 * density * velocity**2 / 2
    assert state.pipe_pressure - state.tap_pressure == pytest.approx(lower, rel=1e-9)
    assert lower > 1000.0

"""The diagnosis' path against other solvers of the same laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machines_of_the_bench import (
    AREA,
    BORE,
    CLEAN_M3_S,
    CLEAN_PA,
    HOSE_M,
    OUTLET,
    P0,
    PIPE,
    RATED_RPM,
    RT,
    S1,
    T0,
    TURN_M3,
    Truth,
    evidence,
    machine,
    solved,
)

from pullcurve.diagnosis.path_model import solve
from pullcurve.physics.path import (
    Blower,
    Filter,
    Hose,
    Leak,
    Loss,
    OpenAir,
    Place,
    operating_point,
)

ONE = np.ones((1, 1))


def parameters(truth: Truth) -> dict[str, np.ndarray]:
    """The plant's machine in the words of the path model."""
    unit = machine(truth)
    _, plates, _ = solved(truth)
    heads = HOSE_M / BORE * 0.03 + 1.4 if truth.hose else 0.0
    in_port = 0.0 if truth.hose else truth.choke
    return {
        "displacement": TURN_M3 * ONE,
        "slip_speed": S1 * ONE,
        "wear": truth.wear * ONE,
        "laminar_share": 0 * ONE,
        "belt": truth.belt * ONE,
        "leak_a": unit.leaks.a_m2 * ONE,
        "leak_b": unit.leaks.b_m2 * ONE,
        "leak_c": unit.leaks.c_m2 * ONE,
        "filter_linear": unit.filter.linear_pa_s_m3 * ONE,
        "filter_square": unit.filter.square_pa_s2_m6 * ONE,
        "pipe_term": 1.8 / AREA**2 * ONE,
        "intake_term": (0.6 + in_port + plates[None, :]) / AREA**2,
        "hose_loss": (heads + (truth.choke if truth.hose else 0.0)) * ONE,
        "meter_term": 0.7 / (np.pi / 4 * PIPE**2) ** 2 * ONE,
        "outlet": OUTLET * ONE,
        "warming": ONE,
        "belt_with_load": 0 * ONE,
        "tap": 1.3 * ONE,
        "heat_loss": 0.08 * ONE,
    }


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
    state = solve(evidence(truth).setting, parameters(truth))
    in_pipe = truth.position == "clean_pipe"
    metered = plant.pipe_flow if in_pipe else plant.port_flow
    assert state.converged.all()
    assert state.metered_flow[0] == pytest.approx(metered, rel=5e-4)
    assert state.inlet_pressure[0] == pytest.approx(plant.blower_pressure, abs=5.0)
    assert state.tank_pressure[0] == pytest.approx(plant.tank_pressure, abs=5.0)
    assert state.slip_rpm[0] == pytest.approx(plant.slip_rpm, rel=1e-3)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(1.0, 12.0),
    st.floats(0.0, 0.2),
    st.floats(0.0, 0.2),
    st.floats(0.0, 60.0),
    st.floats(1.0, 15.0),
    st.floats(0.3, 1.0),
)
def test_agrees_with_the_path_of_the_physics(
    wear: float, leak_a: float, leak_c: float, load: float, dirt: float, speed: float
) -> None:
    """`physics.path` walks the same laws with a bracketing solver of its own."""
    truth = Truth(wear=wear, leak_a=leak_a, leak_c=leak_c, filter=dirt)
    setting = evidence(truth).setting.chosen(np.arange(5) == 4)
    x = parameters(truth) | {"outlet": 0 * ONE, "intake_term": (0.6 + load) / AREA**2 * ONE}
    setting.shaft_rpm[:] = RATED_RPM * speed
    state = solve(setting, x)
    point = operating_point(
        [
            Place("nozzle"),
            Loss(0.7, PIPE),
            Loss(0.6 + load, BORE),
            Place("tank"),
            Leak(leak_a * AREA),
            Filter(dirt * CLEAN_PA / CLEAN_M3_S),
            Loss(1.8, BORE),
            Leak(leak_c * AREA),
        ],
        Blower(TURN_M3, S1 * wear),
        RATED_RPM * speed,
        OpenAir(P0, T0, RT, 1.8e-5),
    )
    assert state.converged.all()
    assert state.blower_flow[0, 0] == pytest.approx(float(point.intake), rel=2e-5)
    nozzle = float(point.stations["nozzle"].mass_flow)
    assert state.metered_flow[0, 0] == pytest.approx(nozzle, abs=2e-5)
    assert state.tank_pressure[0, 0] == pytest.approx(
        float(point.stations["tank"].pressure), abs=2.0
    )


def test_a_hose_is_isothermal_flow_with_its_acceleration() -> None:
    truth = Truth(position="hose_end", hose=True)
    state = solve(evidence(truth).setting, parameters(truth) | {"outlet": 0 * ONE})
    point = operating_point(
        [
            Place("nozzle"),
            Loss(0.7, PIPE),
            Hose(HOSE_M, BORE, friction=0.03, loss=1.4),
            Loss(0.6, BORE),
            Filter(CLEAN_PA / CLEAN_M3_S),
            Loss(1.8, BORE),
        ],
        Blower(TURN_M3, S1),
        solved(truth)[0],
        OpenAir(P0, T0, RT, 1.8e-5),
    )
    assert state.metered_flow[0] == pytest.approx(point.stations["nozzle"].mass_flow, rel=1e-5)


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
    setting.shaft_rpm[:] = RATED_RPM * speed
    x = parameters(Truth()) | {
        "laminar_share": share * ONE,
        "leak_c": leak * AREA * ONE,
        "intake_term": term * ONE,
    }
    state = solve(setting, x)
    assert all(np.isfinite(getattr(state, name)).all() for name in STATE)


STATE = ("blower_flow", "inlet_pressure", "tank_pressure", "metered_flow", "slip_rpm")

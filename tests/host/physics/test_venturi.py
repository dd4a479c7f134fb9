"""The Venturi tube, against publications, fluids and the real gas of CoolProp."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from CoolProp.CoolProp import PropsSI
from fluids.flow_meter import (
    AS_CAST_VENTURI_TUBE,
    MACHINED_CONVERGENT_VENTURI_TUBE,
    ROUGH_WELDED_CONVERGENT_VENTURI_TUBE,
    differential_pressure_meter_solver,
    nozzle_expansibility,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import air
from pullcurve.physics.venturi import (
    ISO_5167_4,
    VenturiKind,
    VenturiTube,
    expansibility,
    expansibility_uncertainty,
    limits_crossed,
    mass_flow,
    solve_in_line,
    solve_open_inlet,
)

DATA = Path(__file__).parents[2] / "reference_data"
INCH_OF_WATER = 249.08891  # Pa, conventional
PIPE, THROAT = 0.1022604, 0.0779272  # 4.026 in, 3.068 in
TUBE = VenturiTube(PIPE, THROAT, discharge_coefficient=0.98)
SITE = 84300.0  # Pa, about 1500 m
ROOM = 293.15  # K
FT3_MIN = 4.719474432e-4

drops = st.floats(0.1, 10_000)
ratios = st.floats(0.75, 1.0)
betas = st.floats(0.2, 0.8)


def at_30_percent(kelvin: float) -> float:
    return float(air.vapour_fraction(SITE, kelvin, 0.3))


def test_expansibility_against_published_values() -> None:
    rows = pd.read_csv(DATA / "expansibility.csv", comment="#")
    assert len(rows) == 9
    for row in rows.itertuples():
        value = expansibility(row.pressure_ratio, row.beta_4**0.25, row.isentropic_exponent)
        assert value == pytest.approx(row.expansibility, abs=row.tolerance)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.5, 0.9999), betas, st.floats(1.2, 1.67))
def test_expansibility_against_fluids(tau: float, beta: float, k: float) -> None:
    """The same formula, so a check of the code; the check of the physics follows."""
    expected = nozzle_expansibility(D=1.0, Do=beta, P1=1.0, P2=tau, k=k, beta=beta)
    assert expansibility(tau, beta, k) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("drop", [500.0, 2490.889, 10_000.0])
def test_ideal_flow_against_the_isentropic_flow_of_real_air(drop: float) -> None:
    """Energy, continuity and entropy with CoolProp's equation of state for air."""
    entropy = PropsSI("S", "P", SITE, "T", ROOM, "Air")
    rho1, rho2 = (PropsSI("D", "P", p, "S", entropy, "Air") for p in (SITE, SITE - drop))
    h1, h2 = (PropsSI("H", "P", p, "S", entropy, "Air") for p in (SITE, SITE - drop))
    beta = THROAT / PIPE
    velocity = np.sqrt(2 * (h1 - h2) / (1 - beta**4 * (rho2 / rho1) ** 2))
    ideal = mass_flow(
        drop,
        rho1,
        coefficient=1.0,
        expansibility=expansibility(1 - drop / SITE, beta),
        pipe_bore=PIPE,
        throat_bore=THROAT,
    )
    assert ideal == pytest.approx(rho2 * velocity * np.pi / 4 * THROAT**2, rel=1e-4)


@settings(max_examples=100, deadline=None)
@given(ratios, st.floats(0, 0.8))
def test_expansibility_is_smooth_and_falls_with_the_drop_and_with_beta(
    tau: float, beta: float
) -> None:
    value = expansibility(tau, beta)
    assert 0 < value <= 1
    assert expansibility(tau - 1e-6, beta) < value
    assert expansibility(tau, beta + 0.01) <= value + 1e-15
    assert expansibility(1.0, beta) == pytest.approx(1.0, abs=1e-15)
    # The first term of the formula's series in dp/p1, worked by hand.
    slope = (3 + 4 * beta**4 / (1 - beta**4)) / (4 * air.ISENTROPIC_EXPONENT)
    assert expansibility(1 - 1e-7, beta) == pytest.approx(1 - slope * 1e-7, abs=1e-12)


def test_uncertainty_of_the_expansibility() -> None:
    """0.45 % at 10 inH2O and beta 0.762 at 84.3 kPa, worked by hand."""
    value = expansibility_uncertainty(-2490.889, SITE, THROAT / PIPE)
    assert value == pytest.approx(0.00455, abs=5e-5)


def test_textbook_air_flow() -> None:
    """180/50 mm, 40 cm of water, 1.204 kg/m3, Cd 0.98: 0.188 kg/s. From memory, no title."""
    flow = mass_flow(
        0.4 * 1000 * 9.81,
        1.204,
        coefficient=0.98,
        expansibility=1.0,
        pipe_bore=0.180,
        throat_bore=0.050,
    )
    assert flow == pytest.approx(0.188, abs=5e-4)


# Computed once with a separate script: 84.3 kPa, 20 °C, rho1 = p1/(287.05287 T1), C = 1.
@pytest.mark.parametrize(
    ("drop", "epsilon", "flow"),
    [
        (500.0, 0.994678, 0.1844409),
        (1245.4445, 0.986786, 0.2887851),
        (2490.889, 0.973708, 0.4029913),
        (10_000.0, 0.897384, 0.7441630),
    ],
)
def test_master_tube(drop: float, epsilon: float, flow: float) -> None:
    value = expansibility(1 - drop / SITE, THROAT / PIPE, 1.4)
    assert value == pytest.approx(epsilon, abs=5e-7)
    rho1 = SITE / (287.05287 * ROOM)
    result = mass_flow(
        drop, rho1, coefficient=1.0, expansibility=value, pipe_bore=PIPE, throat_bore=THROAT
    )
    assert result == pytest.approx(flow, rel=1e-6)


@pytest.mark.parametrize(
    ("kind", "meter_type"),
    [
        (VenturiKind.AS_CAST, AS_CAST_VENTURI_TUBE),
        (VenturiKind.MACHINED, MACHINED_CONVERGENT_VENTURI_TUBE),
        (VenturiKind.ROUGH_WELDED, ROUGH_WELDED_CONVERGENT_VENTURI_TUBE),
    ],
)
def test_in_line_flow_against_fluids(kind: VenturiKind, meter_type: str) -> None:
    vapour = at_30_percent(ROOM)
    tube = VenturiTube(PIPE, THROAT, ISO_5167_4[kind].discharge_coefficient)
    state = solve_in_line(tube, 2490.889, pressure=SITE, temperature=ROOM, vapour=vapour)
    expected = differential_pressure_meter_solver(
        D=PIPE,
        D2=THROAT,
        P1=SITE,
        P2=SITE - 2490.889,
        rho=float(air.density(SITE, ROOM, vapour)),
        mu=1.82e-5,
        k=1.4,
        meter_type=meter_type,
    )
    assert state.converged
    assert state.mass_flow == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("bore", ["pipe", "throat"])
@pytest.mark.parametrize(
    ("beta", "of_throat", "of_pipe"),
    [(0.5, 2.133, 0.133), (0.6, 2.298, 0.298), (0.7, 2.632, 0.632), (0.75, 2.926, 0.926)],
)
def test_sensitivity_to_the_bores(bore: str, beta: float, of_throat: float, of_pipe: float) -> None:
    """ISO 5167-1:2003, 8.2.2: 2/(1-beta^4) and 2 beta^4/(1-beta^4), to the digits."""

    def flow(scale: float) -> float:
        pipe, throat = (scale, beta) if bore == "pipe" else (1.0, beta * scale)
        return float(
            mass_flow(
                1.0, 1.0, coefficient=1.0, expansibility=1.0, pipe_bore=pipe, throat_bore=throat
            )
        )

    sensitivity = (flow(1 + 1e-6) - flow(1 - 1e-6)) / 2e-6 / flow(1.0)
    expected = -of_pipe if bore == "pipe" else of_throat
    assert sensitivity == pytest.approx(expected, abs=6e-4)


# Computed once with a separate script: air from the open at 84.3 kPa, 20 °C, 30 %, C = 0.98.
@pytest.mark.parametrize(
    ("inches", "loss", "drop_to_tap", "flow", "error_of_room_state"),
    [
        (5, 0.5, 889, 0.28136, 0.0044),
        (10, 0.05, 1211, 0.39215, 0.0057),
        (10, 0.5, 1729, 0.39087, 0.0090),
        (10, 1.0, 2305, 0.38943, 0.0127),
    ],
)
def test_air_drawn_from_the_open(
    inches: float, loss: float, drop_to_tap: float, flow: float, error_of_room_state: float
) -> None:
    drop, vapour = inches * INCH_OF_WATER, at_30_percent(ROOM)
    state = solve_open_inlet(
        TUBE,
        drop,
        ambient_pressure=SITE,
        ambient_temperature=ROOM,
        vapour=vapour,
        inlet_loss=loss,
    )
    assert SITE - state.pressure == pytest.approx(drop_to_tap, abs=1.5)
    assert state.mass_flow == pytest.approx(flow, rel=3e-5)
    naive = solve_in_line(TUBE, drop, pressure=SITE, temperature=ROOM, vapour=vapour)
    assert naive.mass_flow / state.mass_flow - 1 == pytest.approx(error_of_room_state, abs=6e-5)


def test_open_inlet_lies_near_the_isentropic_inlet_without_loss() -> None:
    """K = 0: the energy equation of a perfect gas from rest; rho held constant costs 4 Pa."""
    state = solve_open_inlet(
        TUBE,
        2490.889,
        ambient_pressure=SITE,
        ambient_temperature=ROOM,
        vapour=0.0,
        inlet_loss=0.0,
    )
    isentropic = SITE * (state.temperature / ROOM) ** 3.5
    assert 0 < state.pressure - isentropic < 5


@settings(max_examples=60, deadline=None)
@given(drops, st.floats(0, 2), st.floats(250, 320), st.floats(60e3, 105e3), st.floats(0, 0.02))
def test_open_inlet_solves_its_equations(
    drop: float, loss: float, kelvin: float, pressure: float, fall: float
) -> None:
    tube = replace(TUBE, fall_per_halving=fall)
    state = solve_open_inlet(
        tube,
        drop,
        ambient_pressure=pressure,
        ambient_temperature=kelvin,
        vapour=0.005,
        inlet_loss=loss,
    )
    assert state.converged
    velocity = state.mass_flow / (state.density * np.pi / 4 * PIPE**2)
    dynamic = state.density * velocity**2 / 2
    assert pressure - state.pressure == pytest.approx((1 + loss) * dynamic, rel=1e-7, abs=1e-9)
    assert kelvin - state.temperature == pytest.approx(velocity**2 / 2012, rel=1e-7, abs=1e-9)
    assert state.density == pytest.approx(
        float(air.density(state.pressure, state.temperature, 0.005)), rel=1e-12
    )
    reynolds = max(float(state.reynolds), 1e4)
    expected = 0.98 * (1 - fall * max(0.0, np.log2(2e5 / reynolds)))
    assert state.coefficient == pytest.approx(expected, rel=1e-10)


def solve(drop: float | np.ndarray) -> np.ndarray:
    return solve_open_inlet(
        replace(TUBE, fall_per_halving=0.006),
        drop,
        ambient_pressure=SITE,
        ambient_temperature=ROOM,
        vapour=0.008,
        inlet_loss=0.5,
    ).mass_flow


@settings(max_examples=60, deadline=None)
@given(drops)
def test_flow_rises_with_the_drop_and_is_odd_in_it(drop: float) -> None:
    assert solve(drop * 1.001) > solve(drop)
    assert solve(-drop) == -solve(drop)


def test_noise_about_zero_averages_to_zero() -> None:
    noise = np.random.default_rng(4).normal(0, 3, 40_000)
    flows = solve(noise)
    assert abs(np.mean(flows)) < 4 * np.std(flows) / 200
    assert solve(0.0) == 0.0


def test_arrays_give_what_their_elements_give() -> None:
    drop = np.array([[0.0, 500.0, -40.0, 2490.889]])
    pressure = np.array([[60e3], [84.3e3], [101e3]])
    together = solve_in_line(TUBE, drop, pressure=pressure, temperature=ROOM, vapour=0.01)
    assert together.mass_flow.shape == together.pressure.shape == (3, 4)
    for i, j in np.ndindex(3, 4):
        alone = solve_in_line(
            TUBE, drop[0, j], pressure=pressure[i, 0], temperature=ROOM, vapour=0.01
        )
        assert together.mass_flow[i, j] == pytest.approx(float(alone.mass_flow), rel=1e-12)


def test_what_has_no_solution_says_so_and_spares_its_neighbours() -> None:
    state = solve_open_inlet(
        TUBE,
        np.array([2490.889, np.nan, 90e3]),
        ambient_pressure=SITE,
        ambient_temperature=ROOM,
        vapour=0.008,
        inlet_loss=0.5,
    )
    np.testing.assert_array_equal(state.converged, [True, False, False])
    np.testing.assert_array_equal(np.isnan(state.mass_flow), [False, True, True])


def test_a_throat_wider_than_the_pipe_is_refused() -> None:
    with pytest.raises(ValueError, match="must be smaller"):
        VenturiTube(PIPE, np.array([THROAT, PIPE]), 0.98)


@pytest.mark.parametrize(
    ("inches", "celsius", "coefficient", "ft3_min"),
    [
        (10, 15, 0.95, 803.6),
        (10, 20, 0.97, 828.0),
        (10, 30, 1.00, 869.2),
        (5, 20, 0.97, 593.3),
        (5, 30, 0.95, 591.7),
    ],
)
def test_actual_flow_at_the_tap(
    inches: float, celsius: float, coefficient: float, ft3_min: float
) -> None:
    """The trade's "10 inches is almost 1000 ft3/min at 1500 m" (common practice, no source)
    overstates this tube by a fifth. Values computed with a separate script, 30 %.
    """
    kelvin = celsius + 273.15
    state = solve_in_line(
        replace(TUBE, discharge_coefficient=coefficient),
        inches * INCH_OF_WATER,
        pressure=SITE,
        temperature=kelvin,
        vapour=at_30_percent(kelvin),
    )
    assert state.mass_flow / state.density / FT3_MIN == pytest.approx(ft3_min, rel=1e-4)


@dataclass(frozen=True)
class InletNozzle:
    """A nozzle in a wall: no pipe ahead of it, coefficient of the throat's Reynolds number."""

    throat_bore: float
    pipe_bore: float = np.inf

    def coefficient(self, flow: np.ndarray, viscosity: np.ndarray) -> np.ndarray:
        reynolds = 4 * flow / (np.pi * self.throat_bore * viscosity)
        return np.where(reynolds > 1e5, 0.98, 0.5)

    def expansibility(self, pressure_ratio: np.ndarray, k: float | np.ndarray) -> np.ndarray:
        return expansibility(pressure_ratio, 0.0, k)


def test_the_solver_takes_other_primary_elements() -> None:
    """d = 0.1 m, 1000 Pa, 101325 Pa, 20 °C, 50 %: computed once with a separate script."""
    vapour = air.vapour_fraction(101325.0, ROOM, 0.5)
    state = solve_open_inlet(
        InletNozzle(0.1),
        1000.0,
        ambient_pressure=101325.0,
        ambient_temperature=ROOM,
        vapour=vapour,
        inlet_loss=0.0,
    )
    assert state.pressure == 101325.0
    assert state.expansibility == pytest.approx(0.9946989, abs=5e-8)
    assert state.mass_flow == pytest.approx(0.3749635, rel=1e-6)


@pytest.mark.parametrize(
    ("pipe", "beta", "drop", "crossed"),
    [
        (0.15, 0.6, 5000.0, set()),
        (0.0999, 0.74, 20_000.0, {"pipe bore"}),
        (0.15, 0.76, 4000.0, {"diameter ratio"}),
        (0.15, 0.6, 500.0, {"Reynolds number"}),
        (0.15, 0.6, np.array([5000.0, 26_000.0]), {"pressure ratio"}),
    ],
)
def test_limits_of_the_standard(
    pipe: float, beta: float, drop: float | np.ndarray, crossed: set[str]
) -> None:
    tube = VenturiTube(pipe, pipe * beta, 0.984)
    state = solve_in_line(tube, drop, pressure=101e3, temperature=ROOM, vapour=0.0)
    findings = limits_crossed(VenturiKind.AS_CAST, tube, state)
    assert {finding.quantity for finding in findings} == crossed
    for finding in findings:
        assert not finding.least <= finding.value <= finding.greatest
        assert finding.source.startswith("ISO 5167-4:2003")

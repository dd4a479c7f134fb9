"""The flow equation and its iteration, against publications, fluids and the gas of CoolProp."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from fluids.flow_meter import (
    AS_CAST_VENTURI_TUBE,
    ISA_1932_NOZZLE,
    ISO_5167_ORIFICE,
    LONG_RADIUS_NOZZLE,
    MACHINED_CONVERGENT_VENTURI_TUBE,
    ROUGH_WELDED_CONVERGENT_VENTURI_TUBE,
    VENTURI_NOZZLE,
    differential_pressure_meter_solver,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import air
from pullcurve.physics.flow_equation import (
    PrimaryElement,
    mass_flow,
    solve_at_tap,
    solve_in_line,
    solve_open_inlet,
)
from pullcurve.physics.primary_elements import OPEN_INLETS, ElementKind, StandardElement
from pullcurve.physics.venturi import VenturiTube, expansibility

INCH_OF_WATER = 249.08891  # Pa, conventional
PIPE, THROAT = 0.14460, 0.09830
TUBE = VenturiTube(PIPE, THROAT, discharge_coefficient=0.98)
SITE = 94_100.0  # Pa, about 620 m
ROOM = 293.15  # K

drops = st.floats(0.1, 10_000)


def at_30_percent(kelvin: float) -> float:
    return float(air.vapour_fraction(SITE, kelvin, 0.3))


@pytest.mark.parametrize("drop", [500.0, 3000.0, 10_000.0])
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


@pytest.mark.parametrize("drop", [500.0, 1500.0, 3000.0, 10_000.0])
def test_a_tube_against_fluids(drop: float) -> None:
    """C = 1 and air as an ideal gas; its meter_type gives the expansibility of a Venturi tube."""
    rho1 = SITE / (287.05287 * ROOM)
    expected = differential_pressure_meter_solver(
        D=PIPE,
        D2=THROAT,
        P1=SITE,
        P2=SITE - drop,
        rho=rho1,
        mu=1.82e-5,
        k=1.4,
        meter_type=MACHINED_CONVERGENT_VENTURI_TUBE,
        C_specified=1.0,
    )
    epsilon = expansibility(1 - drop / SITE, THROAT / PIPE, 1.4)
    result = mass_flow(
        drop, rho1, coefficient=1.0, expansibility=epsilon, pipe_bore=PIPE, throat_bore=THROAT
    )
    assert result == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("kind", "meter_type", "taps"),
    [
        (ElementKind.VENTURI_AS_CAST, AS_CAST_VENTURI_TUBE, None),
        (ElementKind.VENTURI_MACHINED, MACHINED_CONVERGENT_VENTURI_TUBE, None),
        (ElementKind.VENTURI_WELDED, ROUGH_WELDED_CONVERGENT_VENTURI_TUBE, None),
        (ElementKind.ORIFICE_CORNER, ISO_5167_ORIFICE, "corner"),
        (ElementKind.ORIFICE_FLANGE, ISO_5167_ORIFICE, "flange"),
        (ElementKind.ORIFICE_D_AND_HALF_D, ISO_5167_ORIFICE, "D"),
        (ElementKind.NOZZLE_ISA_1932, ISA_1932_NOZZLE, None),
        (ElementKind.NOZZLE_LONG_RADIUS, LONG_RADIUS_NOZZLE, None),
        (ElementKind.VENTURI_NOZZLE, VENTURI_NOZZLE, None),
    ],
)
def test_in_line_flow_against_fluids(kind: ElementKind, meter_type: str, taps: str | None) -> None:
    """The whole iteration; its C is constant for Venturi tubes, so Re_D is above 2e5 here."""
    pipe, throat, drop = 0.15, 0.11, 2500.0
    vapour = at_30_percent(ROOM)
    state = solve_in_line(
        StandardElement(kind, pipe, throat), drop, pressure=SITE, temperature=ROOM, vapour=vapour
    )
    expected = differential_pressure_meter_solver(
        D=pipe,
        D2=throat,
        P1=SITE,
        P2=SITE - drop,
        rho=float(air.density(SITE, ROOM, vapour)),
        mu=float(air.viscosity(ROOM)),
        k=1.4,
        meter_type=meter_type,
        taps=taps,
    )
    assert state.converged
    assert state.reynolds > 2e5
    assert state.mass_flow == pytest.approx(expected, rel=1e-8)


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


def from_the_open(drop: float, loss: float) -> tuple[float, float]:
    """Drop to the tap in Pa and flow in kg/s, by repeating fluids' meter and CoolProp's moist air.

    Of p1 = p0 - (1 + K) rho1 V1^2 / 2 and T1 = T0 - V1^2 / 2 cp, at C = 0.98 and 30 %.
    """
    fraction = HAPropsSI("psi_w", "T", ROOM, "P", SITE, "R", 0.3)
    pressure, kelvin, flow = SITE, ROOM, 0.0
    for _ in range(40):
        rho = 1 / HAPropsSI("Vha", "T", kelvin, "P", pressure, "psi_w", fraction)
        flow = differential_pressure_meter_solver(
            D=PIPE,
            D2=THROAT,
            P1=pressure,
            P2=pressure - drop,
            rho=rho,
            mu=1.82e-5,
            k=1.4,
            meter_type=MACHINED_CONVERGENT_VENTURI_TUBE,
            C_specified=0.98,
        )
        velocity = flow / (rho * np.pi / 4 * PIPE**2)
        pressure = SITE - (1 + loss) * rho * velocity**2 / 2
        kelvin = ROOM - velocity**2 / 2 / 1006
    return SITE - pressure, flow


@pytest.mark.parametrize(
    ("drop", "loss"), [(1500.0, 0.5), (3000.0, 0.05), (3000.0, 0.5), (3000.0, 1.0)]
)
def test_air_drawn_from_the_open(drop: float, loss: float) -> None:
    """Its state at the tap is not the room's: 0.3 % to 0.8 % of flow."""
    expected_drop, expected = from_the_open(drop, loss)
    vapour = at_30_percent(ROOM)
    state = solve_open_inlet(
        TUBE,
        drop,
        ambient_pressure=SITE,
        ambient_temperature=ROOM,
        vapour=vapour,
        inlet_loss=loss,
    )
    assert SITE - state.pressure == pytest.approx(expected_drop, rel=2e-4)
    assert state.mass_flow == pytest.approx(expected, rel=5e-5)
    naive = solve_in_line(TUBE, drop, pressure=SITE, temperature=ROOM, vapour=vapour)
    assert 0.002 < naive.mass_flow / state.mass_flow - 1 < 0.009


def test_open_inlet_lies_near_the_isentropic_inlet_without_loss() -> None:
    """K = 0: the energy equation of a perfect gas from rest; rho held constant costs 4 Pa."""
    state = solve_open_inlet(
        TUBE,
        3000.0,
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
    drop = np.array([[0.0, 500.0, -40.0, 3000.0]])
    pressure = np.array([[60e3], [94.1e3], [101e3]])
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
        np.array([3000.0, np.nan, 100e3]),
        ambient_pressure=SITE,
        ambient_temperature=ROOM,
        vapour=0.008,
        inlet_loss=0.5,
    )
    np.testing.assert_array_equal(state.converged, [True, False, False])
    np.testing.assert_array_equal(np.isnan(state.mass_flow), [False, True, True])


@pytest.mark.parametrize(
    ("drop", "celsius"), [(1500.0, 20), (3000.0, 0), (3000.0, 20), (3000.0, 35)]
)
def test_actual_flow_at_the_tap(drop: float, celsius: float) -> None:
    """Against fluids' meter and CoolProp's moist air at the tap, 30 %, C = 0.97."""
    kelvin = celsius + 273.15
    state = solve_in_line(
        replace(TUBE, discharge_coefficient=0.97),
        drop,
        pressure=SITE,
        temperature=kelvin,
        vapour=at_30_percent(kelvin),
    )
    rho = 1 / HAPropsSI("Vha", "T", kelvin, "P", SITE, "R", 0.3)
    expected = differential_pressure_meter_solver(
        D=PIPE,
        D2=THROAT,
        P1=SITE,
        P2=SITE - drop,
        rho=rho,
        mu=1.82e-5,
        k=1.4,
        meter_type=MACHINED_CONVERGENT_VENTURI_TUBE,
        C_specified=0.97,
    )
    assert state.mass_flow / state.density == pytest.approx(expected / rho, rel=1e-4)


@pytest.mark.parametrize("pressure", [SITE, 81_000.0])
def test_ten_inches_of_water_are_more_volume_in_thinner_air(pressure: float) -> None:
    """Common practice, no source: the actual flow for a reading goes with the root of 1/density.

    The expansibility takes a little of it back: its first term, (3 + 4 b / (1 - b)) / 4 kappa for
    b = beta^4, is worked by hand.
    """

    def volume(at: float) -> float:
        vapour = air.vapour_fraction(at, ROOM, 0.0)
        state = solve_in_line(
            TUBE, 10 * INCH_OF_WATER, pressure=at, temperature=ROOM, vapour=vapour
        )
        return float(state.mass_flow / state.density)

    ratio = volume(pressure) / volume(101_325.0)
    b = (THROAT / PIPE) ** 4
    slope = (3 + 4 * b / (1 - b)) / 5.6 * 10 * INCH_OF_WATER
    expanded = (1 - slope / pressure) / (1 - slope / 101_325.0)
    assert ratio == pytest.approx(np.sqrt(101_325.0 / pressure) * expanded, rel=3e-4)
    assert ratio > 1.03


@dataclass(frozen=True)
class InletNozzle:
    """A nozzle in a wall, its C constant."""

    throat_bore: float
    pipe_bore: float = np.inf

    @property
    def reynolds_bore(self) -> float:
        return self.throat_bore

    def coefficient(self, reynolds: np.ndarray) -> float:
        return 0.98

    def expansibility(self, pressure_ratio: np.ndarray, k: float | np.ndarray) -> np.ndarray:
        return expansibility(pressure_ratio, 0.0, k)


@pytest.mark.parametrize("way", ["in line", "open inlet"])
def test_an_inlet_nozzle_draws_from_the_room(way: str) -> None:
    """d = 0.1 m, 1000 Pa, 101325 Pa, 20 °C, 50 %: Saint-Venant and Wantzel's flow from rest, the
    density from CoolProp's moist air.
    """
    vapour = air.vapour_fraction(101325.0, ROOM, 0.5)
    nozzle: PrimaryElement = InletNozzle(0.1)
    if way == "in line":
        state = solve_in_line(nozzle, 1000.0, pressure=101325.0, temperature=ROOM, vapour=vapour)
    else:
        state = solve_open_inlet(
            nozzle,
            1000.0,
            ambient_pressure=101325.0,
            ambient_temperature=ROOM,
            vapour=vapour,
            inlet_loss=0.5,
        )
    assert (state.pressure, state.temperature) == (101325.0, ROOM)
    rho, tau = 1 / HAPropsSI("Vha", "T", ROOM, "P", 101325.0, "R", 0.5), 1 - 1000 / 101325
    head = 7 * 101325.0 * rho * (tau ** (2 / 1.4) - tau ** (2.4 / 1.4))
    expected = 0.98 * np.pi / 4 * 0.1**2 * np.sqrt(head)
    assert state.mass_flow == pytest.approx(expected, rel=5e-5)
    assert state.reynolds == pytest.approx(
        4 * float(state.mass_flow) / (np.pi * 0.1 * float(air.viscosity(ROOM))), rel=1e-12
    )


def test_ideal_inlet_nozzle_against_the_isentropic_flow_of_real_air() -> None:
    """From rest, with CoolProp's equation of state for air: h1 - h2 = V2^2/2."""
    drop = 2500.0
    entropy = PropsSI("S", "P", SITE, "T", ROOM, "Air")
    h1, h2 = (PropsSI("H", "P", p, "S", entropy, "Air") for p in (SITE, SITE - drop))
    rho2 = PropsSI("D", "P", SITE - drop, "S", entropy, "Air")
    state = solve_in_line(InletNozzle(0.08), drop, pressure=SITE, temperature=ROOM, vapour=0.0)
    ideal = rho2 * np.sqrt(2 * (h1 - h2)) * np.pi / 4 * 0.08**2
    assert state.mass_flow / 0.98 == pytest.approx(ideal, rel=1e-4)


@settings(max_examples=80, deadline=None)
@given(st.sampled_from(ElementKind), st.floats(0.35, 0.75), drops, st.floats(0.03, 0.3))
def test_every_kind_solves_its_equation(
    kind: ElementKind, beta: float, drop: float, throat: float
) -> None:
    pipe = np.inf if kind in OPEN_INLETS else throat / beta
    element = StandardElement(kind, pipe, throat)
    state = solve_in_line(
        element, np.array([drop, 1.001 * drop]), pressure=SITE, temperature=ROOM, vapour=0.005
    )
    assert state.converged.all()
    flow, more = state.mass_flow
    assert more > flow
    reynolds = 4 * flow / (np.pi * element.reynolds_bore * float(air.viscosity(ROOM)))
    assert state.reynolds[0] == pytest.approx(reynolds, rel=1e-12)
    c = element.coefficient(reynolds)
    epsilon = element.expansibility(1 - drop / SITE, 1.4)
    area = np.pi / 4 * throat**2 / np.sqrt(1 - (throat / pipe) ** 4)
    assert flow == pytest.approx(
        c * epsilon * area * np.sqrt(2 * drop * state.density[0]), rel=1e-11
    )


def test_measured_upstream_pressure_agrees_with_the_open_inlet_that_made_it() -> None:
    drop = np.array([-500.0, 500.0, 3000.0])
    free = solve_open_inlet(
        TUBE,
        drop,
        ambient_pressure=SITE,
        ambient_temperature=ROOM,
        vapour=0.008,
        inlet_loss=0.5,
    )
    measured = solve_at_tap(
        TUBE, drop, pressure=free.pressure, ambient_temperature=ROOM, vapour=0.008
    )
    np.testing.assert_allclose(measured.mass_flow, free.mass_flow, rtol=1e-12)
    np.testing.assert_allclose(measured.temperature, free.temperature, rtol=1e-12)
    assert (measured.temperature < ROOM).all()

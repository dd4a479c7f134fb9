"""From the rig's meter to flow and its uncertainty, for every kind of meter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.measure.meters import KINDS, a_meter, stated
from pullcurve.measure.meter import (
    bore_behind,
    element,
    formula_inputs,
    meter_inputs,
    pressure_loss,
    solve,
)
from pullcurve.physics import air
from pullcurve.physics.flow_equation import MeterState, solve_in_line, solve_open_inlet
from pullcurve.physics.primary_elements import STANDARDS, ElementKind, StandardElement
from pullcurve.rig.meter import OPEN_INLETS, Meter
from pullcurve.uncertainty import Input, Reach, Result, propagate

SITE, ROOM, HUMIDITY = 94100.0, 285.15, 0.55


def surroundings(drop: np.ndarray) -> list[Input]:
    """What a flow needs beside the meter, all of it exact."""
    return [
        Input("differential pressure", drop, 0.0),
        Input("station pressure", SITE, 0.0),
        Input("air temperature", ROOM, 0.0),
        Input("isentropic exponent", air.ISENTROPIC_EXPONENT, 0.0),
    ]


def flow_of(
    meter: Meter, drop: np.ndarray, tap_pressure: float | None = None
) -> tuple[Result, MeterState]:
    """Mass flow as the reduction gets it: once for the state, then with all inputs."""
    vapour = air.vapour_fraction(SITE, ROOM, HUMIDITY)

    def state(x: dict[str, np.ndarray]) -> MeterState:
        measured = None if tap_pressure is None else np.full_like(drop, tap_pressure)
        return solve(meter, x, x["differential pressure"], vapour=vapour, tap_pressure=measured)

    inputs = [*meter_inputs(meter), *surroundings(drop)]
    first = state({entry.name: np.asarray(entry.value) for entry in inputs})
    inputs += formula_inputs(meter, first)
    factor = "expansibility formula"
    return propagate(lambda x: state(dict(x)).mass_flow * x[factor], inputs), first


@pytest.mark.parametrize("kind", KINDS[1:])
def test_flow_is_that_of_the_standard_s_element(kind: str) -> None:
    meter = a_meter(kind)
    drop = np.array([300.0, 2000.0])
    result, _ = flow_of(meter, drop)
    vapour = air.vapour_fraction(SITE, ROOM, HUMIDITY)
    of = ElementKind(f"{kind}_corner" if kind == "orifice" else kind)
    tube = StandardElement(of, np.inf if kind in OPEN_INLETS else 0.150, 0.105)
    if kind in OPEN_INLETS:
        expected = solve_in_line(tube, drop, pressure=SITE, temperature=ROOM, vapour=vapour)
    else:
        expected = solve_open_inlet(
            tube,
            drop,
            ambient_pressure=SITE,
            ambient_temperature=ROOM,
            vapour=vapour,
            inlet_loss=0.5,
        )
    np.testing.assert_allclose(result.value, expected.mass_flow, rtol=1e-13)


@pytest.mark.parametrize("make", [a_meter, stated])
@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_finite_uncertainty_shared_by_all_runs_of_the_meter(
    kind: str, make: object
) -> None:
    meter = make(kind, 0.62) if make is stated and kind == "orifice" else make(kind)
    drop = np.array([-500.0, 0.0, 5.0, 500.0, 2000.0])
    result, state = flow_of(meter, drop)
    assert state.converged.all()
    assert np.isfinite(result.standard_uncertainty).all()
    moved = {entry.name for entry in result.inputs if np.any(entry.standard_uncertainty > 0)}
    assert all(entry.shared == Reach.METER for entry in result.inputs if entry.name in moved)
    relative = 2 * result.standard_uncertainty[-1] / result.value[-1]
    assert 0.005 < relative < 0.05


@pytest.mark.parametrize("kind", ["orifice", "nozzle_isa_1932", "nozzle_long_radius"])
def test_budget_against_the_working_formula_of_iso_5167_1(kind: str) -> None:
    """ISO 5167-1:2003, 8.2.2: (dq/q)^2 = (dC/C)^2 + (de/e)^2 + (2 b^4/(1-b^4))^2 (dD/D)^2
    + (2/(1-b^4))^2 (dd/d)^2. It leaves out what beta does to C and epsilon: 3 % of the sum.
    """
    meter = a_meter(kind, throat_bore="75 mm", bore_uncertainty="0.5 mm")
    drop = np.array([1500.0])
    result, state = flow_of(meter, drop, tap_pressure=SITE - 500.0)
    b4 = meter.beta**4
    standard = STANDARDS[ElementKind(f"{kind}_corner" if kind == "orifice" else kind)]
    squares = [
        standard.coefficient_uncertainty(meter.beta, state.reynolds, 0.15)[0],
        standard.expansibility_uncertainty(drop, state.pressure, meter.beta)[0],
        2 * b4 / (1 - b4) * 0.0005 / 0.150,
        2 / (1 - b4) * 0.0005 / 0.075,
    ]
    expected = np.sqrt(np.sum(np.square(squares)))
    assert 2 * result.standard_uncertainty[0] / result.value[0] == pytest.approx(expected, rel=0.03)


def test_the_plastic_tube_is_taken_as_it_is_with_a_slope_of_its_own() -> None:
    meter = a_meter("venturi", pipe_bore="144.60 mm", throat_bore="98.30 mm")
    result, state = flow_of(meter, np.array([80.0, 2000.0]))
    np.testing.assert_array_equal(state.coefficient, 0.97)
    c = 2 * result.contribution("discharge coefficient") / result.value
    np.testing.assert_allclose(c, 0.04, rtol=0.08)  # less flow costs less at the inlet
    slope = 2 * np.abs(result.contribution("C Reynolds slope")) / result.value
    halvings = np.log2(3e5 / state.reynolds)
    np.testing.assert_allclose(slope, 0.004 * halvings, rtol=0.08)
    assert halvings[0] > 2
    total = 2 * result.standard_uncertainty[1] / result.value[1]
    assert total < 0.046


@pytest.mark.parametrize("kind", ["venturi", "venturi_as_cast"])
def test_a_stated_coefficient_is_held_above_2e5_and_corrected_by_half_a_fall_below(
    kind: str,
) -> None:
    result, state = flow_of(stated(kind), np.array([30.0, 300.0, 3000.0]))
    halvings = np.maximum(np.log2(2e5 / state.reynolds), 0)
    assert halvings[0] > 1
    assert halvings[2] == 0
    np.testing.assert_allclose(state.coefficient, 0.975 * (1 - 0.006 * halvings), rtol=1e-12)
    fall = np.abs(result.contribution("C Reynolds slope")) / result.value
    np.testing.assert_allclose(fall, 0.006 / np.sqrt(3) * halvings, rtol=0.05, atol=1e-12)


@pytest.mark.parametrize("kind", ["orifice", "nozzle_isa_1932", "nozzle_long_radius", "bellmouth"])
def test_a_stated_coefficient_keeps_the_kind_s_own_shape(kind: str) -> None:
    c = 0.62 if kind == "orifice" else 0.98
    plain, of = a_meter(kind), stated(kind, c)
    drop = np.geomspace(50, 3000, 4)
    _, by_formula = flow_of(plain, drop)
    _, calibrated = flow_of(of, drop)
    x = {"throat bore": np.array(0.105), "pipe bore": np.array(0.15)}
    at_stated = element(of, x | {"discharge coefficient": np.array(c)}).coefficient(np.array(2e5))
    assert at_stated == pytest.approx(c, rel=1e-14)
    ratio = calibrated.coefficient / by_formula.coefficient
    np.testing.assert_allclose(ratio, ratio[0], rtol=5e-4)  # the flow, and so Re, differs a little


@pytest.mark.parametrize(
    ("length", "added"), [(None, 0.0), ("2.1 m", 0.0), ("2.0 m", 0.005), ("0.1 m", 0.005)]
)
@pytest.mark.parametrize("kind", ["venturi", "venturi_machined"])
def test_a_short_straight_pipe_costs_a_stated_coefficient(
    kind: str, length: str | None, added: float
) -> None:
    """14 bores at beta 0.7 (ISO 5167-4:2003, table 1, from memory), added arithmetically."""
    keys = {} if length is None else {"straight_length": length}
    (c,) = (
        entry
        for entry in meter_inputs(stated(kind, **keys))
        if entry.name == "discharge coefficient"
    )
    assert 2 * c.standard_uncertainty == pytest.approx(0.975 * (0.010 + added))


def test_a_short_straight_pipe_is_in_the_plastic_tube_s_4_percent() -> None:
    short = meter_inputs(a_meter("venturi", straight_length="0 m"))
    for entry, other in zip(short, meter_inputs(a_meter("venturi")), strict=True):
        assert (entry.name, entry.standard_uncertainty) == (other.name, other.standard_uncertainty)


def test_measured_pressure_at_the_tap_takes_the_inlet_s_loss_away() -> None:
    meter, drop = a_meter("venturi_as_cast"), np.array([2000.0])
    free, state = flow_of(meter, drop)
    measured, _ = flow_of(meter, drop, tap_pressure=float(state.pressure[0]))
    assert measured.value == pytest.approx(free.value, rel=1e-12)
    assert np.abs(free.contribution("inlet loss")) > 1e-4
    assert measured.contribution("inlet loss") == 0


@pytest.mark.parametrize("kind", sorted(OPEN_INLETS))
def test_an_inlet_has_no_pipe_and_no_inlet_loss(kind: str) -> None:
    names = {entry.name for entry in meter_inputs(a_meter(kind))}
    assert names == {"throat bore"}
    x = {"throat bore": np.array([0.105])}
    assert bore_behind(x) == 0.105
    assert bore_behind(x | {"pipe bore": np.array([0.15])}) == 0.15
    result, state = flow_of(a_meter(kind), np.array([1500.0]), tap_pressure=70e3)
    assert state.pressure == SITE  # what meter_air says is not asked
    assert result.value > 0


@pytest.mark.parametrize(
    ("kind", "least", "greatest"),
    [
        ("venturi", 0.05, 0.20),
        ("venturi_nozzle", 0.05, 0.20),
        ("orifice", 0.4, 0.6),  # 1 - beta^1.9 = 0.49, the approximation of ISO 5167-2
        ("nozzle_isa_1932", 0.25, 0.45),
        ("bellmouth", 1.0, 1.0),
    ],
)
def test_pressure_loss(kind: str, least: float, greatest: float) -> None:
    low, high = pressure_loss(a_meter(kind))
    assert least <= low <= high <= greatest


@settings(max_examples=30, deadline=None)
@given(st.sampled_from(KINDS), st.floats(1.0, 6000.0))
def test_first_order_holds_against_large_steps_of_the_coefficient(kind: str, drop: float) -> None:
    """A coefficient higher by its whole U95 moves the flow by what the budget says."""
    meter = a_meter(kind)
    result, state = flow_of(meter, np.array([drop]))
    x = {entry.name: np.atleast_1d(entry.value) for entry in result.inputs}
    (c,) = (entry for entry in result.inputs if entry.name == "discharge coefficient")
    vapour = air.vapour_fraction(SITE, ROOM, HUMIDITY)
    x["discharge coefficient"] = x["discharge coefficient"] + 2 * c.standard_uncertainty
    moved = solve(meter, x, x["differential pressure"], vapour=vapour).mass_flow
    expected = state.mass_flow + 2 * result.contribution("discharge coefficient")
    np.testing.assert_allclose(moved, expected, rtol=1e-3)

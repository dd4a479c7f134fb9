"""The laws of the path's parts, against fluids, real air, a published chart and their limits.

Values marked "separate script" were computed on the same equations by other code.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from CoolProp.CoolProp import PropsSI
from fluids.compressible import P_isothermal_critical_flow, isothermal_gas
from fluids.fittings import (
    bend_rounded,
    contraction_sharp,
    diffuser_sharp,
    entrance_rounded,
    entrance_sharp,
)
from fluids.flow_meter import discharge_coefficient_to_K
from fluids.friction import friction_factor as fluids_friction_factor
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import hose

DATA = Path(__file__).parents[2] / "reference_data"
SEA, RT = 101325.0, 287.05 * 293.15
BORE = 0.1016  # 4 in
STANDARD_FT3_MIN = 4.719474e-4 * SEA / RT  # kg/s

bores = st.floats(0.03, 0.3)
losses = st.floats(0.05, 200)


@pytest.mark.parametrize(("flow", "drop"), [(0.300, 2622.3), (0.416, 5165.9), (0.500, 7643.2)])
def test_a_hose_of_15_m(flow: float, drop: float) -> None:
    """f = 0.03, from 101325 Pa; separate script. As if incompressible, 7 % low at the last."""
    loss = 0.03 * 15.24 / BORE
    ahead = hose.hose_pressure_before(SEA - drop, flow, loss, BORE, RT)
    assert ahead == pytest.approx(SEA, abs=0.06)
    inlet_density = loss * (flow / hose.area(BORE)) ** 2 * RT / SEA / 2
    assert inlet_density < drop
    if flow == 0.5:
        assert inlet_density == pytest.approx(7107.2, abs=0.5)


@settings(max_examples=80, deadline=None)
@given(st.floats(0.3, 0.9999), losses, bores, st.floats(250, 320))
def test_hose_against_fluids(ratio: float, loss: float, bore: float, kelvin: float) -> None:
    """isothermal_gas with the density at the mouth, where fluids' form is exact."""
    rt, end = 287.05 * kelvin, ratio * SEA
    if end < P_isothermal_critical_flow(P=SEA, fd=loss * bore, D=bore, L=1.0):
        return
    flow = isothermal_gas(rho=SEA / rt, fd=loss * bore, P1=SEA, P2=end, L=1.0, D=bore)
    assert hose.hose_pressure_before(end, flow, loss, bore, rt) == pytest.approx(SEA, rel=1e-9)
    assert not hose.is_choked(end, flow * (1 - 1e-9), hose.area(bore), rt)


@pytest.mark.parametrize("loss", [0.5, 3.0, 20.0, 150.0])
def test_a_choked_hose_keeps_its_end(loss: float) -> None:
    """The end's pressure from fluids; whatever lies behind, the mouth is the same."""
    end = P_isothermal_critical_flow(P=SEA, fd=loss * BORE, D=BORE, L=1.0)
    flow = end * hose.area(BORE) / np.sqrt(RT)
    behind = end * np.array([1.0, 0.7, 0.1, 0.0])
    ahead = hose.hose_pressure_before(behind, flow, loss, BORE, RT)
    np.testing.assert_allclose(ahead, SEA, rtol=2e-4)
    assert hose.is_choked(behind[1:], flow, hose.area(BORE), RT).all()


@settings(max_examples=80, deadline=None)
@given(st.floats(1, 60e3), losses, bores, st.floats(1e-4, 1.0))
def test_a_hose_lies_above_its_friction_and_is_monotonic(
    drop: float, loss: float, bore: float, share: float
) -> None:
    end = SEA - drop
    flow = share * end * hose.area(bore) / np.sqrt(RT)
    here, more, longer, vacuum = hose.hose_pressure_before(
        np.array([end, end, end, 0.99 * end]),
        flow * np.array([1, 1.01, 1, 1]),
        loss * np.array([1, 1, 1.01, 1]),
        bore,
        RT,
    )
    friction = hose.pressure_before(end, flow, hose.loss_term(loss, bore), RT)
    assert friction * (1 - 1e-12) <= here < more
    assert here < longer
    assert vacuum < here or share > 0.98
    assert here > end
    # What the equation itself says, with the answer put in.
    square = (flow / hose.area(bore)) ** 2 * RT * (loss + 2 * np.log(here / end))
    assert here**2 - end**2 == pytest.approx(square, rel=1e-7, abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(st.floats(1e-3, 3.0), losses, bores)
def test_little_flow_is_incompressible(velocity: float, loss: float, bore: float) -> None:
    """K rho v² / 2, and c Q of a filter, with hardly any pressure lost."""
    rho = SEA / RT
    flow = rho * velocity * hose.area(bore)
    ahead = hose.pressure_before(SEA, flow, hose.loss_term(loss, bore), RT)
    drop = loss * rho * velocity**2 / 2
    assert ahead - SEA == pytest.approx(drop, rel=drop / SEA, abs=1e-9)
    assert hose.hose_pressure_before(SEA, flow, loss, bore, RT) - SEA == pytest.approx(
        drop, rel=1e-3 + drop / SEA, abs=1e-9
    )
    cake = hose.pressure_before(SEA, flow, 0.0, RT, resistance=3300.0)
    drop = 3300 * velocity * float(hose.area(bore))
    assert cake - SEA == pytest.approx(drop, rel=drop / SEA, abs=1e-9)


def test_flow_away_from_the_blower_falls_in_pressure_the_other_way() -> None:
    term = hose.loss_term(6.0, BORE)
    back = hose.pressure_before(SEA, -0.3, term, RT)
    assert hose.pressure_before(back, 0.3, term, RT) == pytest.approx(SEA, rel=1e-12)
    assert hose.hose_pressure_before(SEA, -0.3, 6.0, BORE, RT) == back
    assert hose.pressure_before(1e4, -3.0, term, RT) == 0.0


@settings(max_examples=80, deadline=None)
@given(st.floats(2100, 1e7), st.floats(0, 0.05))
def test_friction_against_fluids(reynolds: float, roughness: float) -> None:
    """fluids solves Colebrook's equation by other means."""
    expected = fluids_friction_factor(Re=reynolds, eD=roughness)
    assert hose.friction_factor(reynolds, roughness) == pytest.approx(expected, rel=1e-7)


def test_friction_factors() -> None:
    """From fluids 1.3.1: 4 in at 50 m/s, smooth, 0.15 mm and 0.9 mm."""
    assert hose.friction_factor(1e5, 1e-4) == pytest.approx(0.0185139, abs=1e-7)
    f = hose.friction_factor(336089, np.array([0, 0.15e-3, 0.9e-3]) / BORE)
    np.testing.assert_allclose(f, [0.01416, 0.02231, 0.03659], atol=6e-6)
    assert hose.friction_factor(1000.0, 0.0) == 0.064
    assert np.isfinite(hose.friction_factor(0.0, 0.0))


def test_friction_of_flexible_hose_against_a_published_chart() -> None:
    """Rigid duct lies near Colebrook, flexible one at the top of its band, 3.8 times as high."""
    rows = pd.read_csv(DATA / "duct_loss.csv", comment="#")
    assert len(rows) == 2
    inch_of_water, velocity = 249.089, 4000 * 0.00508
    for row in rows.itertuples():
        bore = row.bore_in * 0.0254
        dynamic = SEA / RT * velocity**2 / 2 / inch_of_water * 0.3048 / bore
        rigid, flexible = row.rigid_in_h2o_ft / dynamic, row.flexible_in_h2o_ft / dynamic
        colebrook = hose.friction_factor(velocity * bore / 1.51e-5, 0.15e-3 / bore)
        assert rigid == pytest.approx(float(colebrook), rel=0.15)
        corrugated = hose.FRICTION["corrugated"]
        assert corrugated.median < flexible < corrugated.median * corrugated.factor**2
        assert flexible / rigid == pytest.approx(3.8, abs=0.1)


def test_friction_of_unknown_hose_against_flexible_duct() -> None:
    """6 in at 4000 ft/min. A ventilation design note of 2025: loss per foot in velocity pressures
    0.0311 V^0.604 / Q^0.639, ft/min and ft³/min: f = 0.0329. "Medium rough" duct, 0.003 ft: 0.0325.
    """
    area_ft2 = np.pi / 4 * 0.5**2
    duct = 0.0311 * 4000**0.604 / (4000 * area_ft2) ** 0.639 * 0.5
    assert duct == pytest.approx(0.0329, abs=5e-5)
    bore = 6 * 0.0254
    rough = hose.friction_factor(4000 * 0.00508 * bore / 1.51e-5, 0.9144e-3 / bore)
    assert rough == pytest.approx(duct, rel=0.02)
    unknown = hose.FRICTION["unknown"]
    assert unknown.median / unknown.factor < duct < unknown.median * unknown.factor


def test_fittings_against_fluids() -> None:
    assert hose.contraction_loss(0.0) == pytest.approx(entrance_sharp(), abs=2e-3)
    assert hose.contraction_loss(4 / 6) == pytest.approx(contraction_sharp(6.0, 4.0), rel=1e-9)
    assert hose.contraction_loss(1.0) == 0
    assert hose.rounded_entrance_loss(0.1) == pytest.approx(entrance_rounded(1.0, 0.1), rel=1e-9)
    assert hose.rounded_entrance_loss(0.0) == pytest.approx(0.57, abs=2e-3)
    assert hose.expansion_loss(4 / 6) == pytest.approx(diffuser_sharp(4.0, 6.0), rel=1e-9)
    assert hose.expansion_loss(0.0) == hose.JET_LOSS
    f = float(hose.friction_factor(2.8e5, 0.15e-3 / BORE))
    expected = [bend_rounded(Di=BORE, angle=90, fd=f, bend_diameters=r) for r in (1, 1.5, 3)]
    bends = hose.bend_loss(np.array([1, 1.5, 3]), f)
    np.testing.assert_allclose(bends, expected, rtol=1e-9)
    np.testing.assert_allclose(bends, [0.37, 0.26, 0.24], atol=6e-3)


@pytest.mark.parametrize("beta", [0.3, 0.5, 0.75])
def test_plate_against_fluids(beta: float) -> None:
    expected = discharge_coefficient_to_K(D=1.0, Do=beta, C=0.6)
    assert hose.plate_loss(beta) == pytest.approx(expected, rel=1e-12)


def test_leaks() -> None:
    """100 mm² at 2, 5, 10 and 14.1 inHg and beyond, standard ft³/min; separate script."""
    inches = np.array([2, 5, 10, 14.12, 29.0])
    flow = hose.leak_flow(100e-6, SEA, SEA - inches * 3386.389, RT)
    np.testing.assert_allclose(
        flow / STANDARD_FT3_MIN, [21.65, 32.20, 40.28, 42.09, 42.09], atol=6e-3
    )


@pytest.mark.parametrize("ratio", [0.999, 0.9, 0.7, 0.53, 0.2])
def test_leak_against_the_isentropic_flow_of_real_air(ratio: float) -> None:
    """Energy and entropy with CoolProp's equation of state; choked where the flow is greatest."""
    start, kelvin = 1e5, 293.15
    entropy = PropsSI("S", "P", start, "T", kelvin, "Air")
    h0, rho0 = (PropsSI(x, "P", start, "T", kelvin, "Air") for x in ("H", "D"))

    def flux(pressure: float) -> float:
        rho, h = (PropsSI(x, "P", pressure, "S", entropy, "Air") for x in ("D", "H"))
        return rho * np.sqrt(2 * (h0 - h))

    if ratio < 0.6:
        expected = max(flux(p) for p in start * np.linspace(max(ratio, 0.5), 0.56, 61))
    else:
        expected = flux(ratio * start)
    flow = hose.leak_flow(1.0, start, ratio * start, start / rho0)
    assert flow == pytest.approx(expected, rel=1e-3)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 1.5), st.floats(1e-6, 1e-2))
def test_leak_rises_with_the_drop_and_turns_with_it(ratio: float, leak_area: float) -> None:
    inside = SEA * ratio
    flow = hose.leak_flow(leak_area, SEA, inside, RT)
    assert flow == -hose.leak_flow(leak_area, inside, SEA, RT)
    assert hose.leak_flow(leak_area, SEA, inside - 10.0, RT) >= flow
    assert hose.leak_flow(leak_area, SEA, SEA, RT) == 0


def test_a_relief_valve_stays_shut_below_its_vacuum() -> None:
    flow = hose.relief_flow(40e3, 1e-5, SEA, SEA - np.array([0, 39e3, 40e3, 42e3]))
    np.testing.assert_allclose(flow, [0, 0, 0, 0.02], atol=1e-15)

"""The laws of the path's parts, against fluids, real air, published figures and their limits."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from CoolProp.CoolProp import PropsSI
from fluids.compressible import P_isothermal_critical_flow, isothermal_gas
from fluids.fittings import (
    bend_miter,
    bend_rounded_Crane,
)
from fluids.flow_meter import discharge_coefficient_to_K
from fluids.friction import friction_factor, ft_Crane
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import hose

DATA = Path(__file__).parents[2] / "reference_data"
SEA, RT = 101325.0, 287.05 * 293.15
BORE = 0.1270  # 5 in

bores = st.floats(0.03, 0.3)
losses = st.floats(0.05, 200)


def test_a_hose_of_21_m_costs_more_than_air_of_one_density() -> None:
    """f = 0.03, 0.9 kg/s from 101325 Pa; the end by isothermal_gas of fluids, turned round."""
    loss, flow = 0.03 * 21.3 / BORE, 0.9
    end = isothermal_gas(rho=SEA / RT, fd=0.03, P1=SEA, m=flow, L=21.3, D=BORE)
    assert hose.hose_pressure_before(end, flow, loss, BORE, RT) == pytest.approx(SEA, rel=1e-9)
    as_if_incompressible = loss * (flow / hose.area(BORE)) ** 2 * RT / SEA / 2
    assert 0.85 * (SEA - end) < as_if_incompressible < 0.95 * (SEA - end)


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
    cake = hose.pressure_before(SEA, flow, 0.0, RT, resistance=2440.0)
    drop = 2440 * velocity * float(hose.area(bore))
    assert cake - SEA == pytest.approx(drop, rel=drop / SEA, abs=1e-9)


def test_flow_away_from_the_blower_falls_in_pressure_the_other_way() -> None:
    term = hose.loss_term(6.0, BORE)
    back = hose.pressure_before(SEA, -0.3, term, RT)
    assert hose.pressure_before(back, 0.3, term, RT) == pytest.approx(SEA, rel=1e-12)
    assert hose.hose_pressure_before(SEA, -0.3, 6.0, BORE, RT) == back
    assert hose.pressure_before(1e4, -3.0, term, RT) == 0.0


def test_friction_of_flexible_hose() -> None:
    """Common practice, no source: rigid duct lies near Colebrook, open corrugated one at the top of
    its band, 3.8 times as high."""
    rows = pd.read_csv(DATA / "duct_loss.csv", comment="#")
    assert len(rows) == 2
    inch_of_water, velocity = 249.089, 4000 * 0.00508
    for row in rows.itertuples():
        bore = row.bore_in * 0.0254
        dynamic = SEA / RT * velocity**2 / 2 / inch_of_water * 0.3048 / bore
        rigid, flexible = row.rigid_in_h2o_ft / dynamic, row.flexible_in_h2o_ft / dynamic
        colebrook = friction_factor(Re=velocity * bore / 1.51e-5, eD=0.15e-3 / bore)
        assert rigid == pytest.approx(colebrook, rel=0.15)
        corrugated = hose.FRICTION["corrugated"]
        assert corrugated.median < flexible < corrugated.median * corrugated.factor**2
        assert flexible / rigid == pytest.approx(3.8, abs=0.1)


def test_friction_of_unknown_hose_against_flexible_duct() -> None:
    """6 in at 4000 ft/min. ACGIH, Industrial Ventilation, 1998, flexible duct of fabric over wire:
    0.0311 V^0.604 / Q^0.639 velocity pressures a foot, ft/min and ft³/min; coefficients and place
    from memory. f = 0.0329.
    """
    area_ft2 = np.pi / 4 * 0.5**2
    duct = 0.0311 * 4000**0.604 / (4000 * area_ft2) ** 0.639 * 0.5
    assert duct == pytest.approx(0.0329, abs=5e-5)
    unknown = hose.FRICTION["unknown"]
    assert unknown.median / unknown.factor < duct < unknown.median * unknown.factor


def test_equivalent_lengths_against_crane() -> None:
    """Crane TP-410, in bores, as carried by fluids: 20 at one bore's radius, 60 for a mitre."""
    friction = ft_Crane(BORE)
    swept = bend_rounded_Crane(Di=BORE, angle=90, bend_diameters=1) / friction
    square = bend_miter(Di=BORE, angle=90, method="Crane") / friction
    assert hose.EQUIVALENT_BORES["swept bend"] == pytest.approx(swept, rel=0.05)
    assert hose.EQUIVALENT_BORES["square bend"] == pytest.approx(square, rel=0.2)
    assert hose.EQUIVALENT_BORES["coupling"] < hose.EQUIVALENT_BORES["swept bend"]


@pytest.mark.parametrize("beta", [0.3, 0.5, 0.75])
def test_plate_against_fluids(beta: float) -> None:
    expected = discharge_coefficient_to_K(D=1.0, Do=beta, C=0.6)
    assert hose.plate_loss(beta) == pytest.approx(expected, rel=1e-12)


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


terms, flows = st.floats(1e2, 1e6), st.floats(0.01, 1.0)


@settings(max_examples=60, deadline=None)
@given(st.floats(40e3, 105e3), flows, terms, st.floats(0, 20e3))
def test_a_loss_is_found_again_from_its_pressures(
    behind: float, flow: float, term: float, resistance: float
) -> None:
    ahead = hose.pressure_before(behind, flow, term, RT)
    assert hose.term_between(ahead, behind, flow, RT) == pytest.approx(term, rel=1e-6)
    ahead = hose.pressure_before(behind, flow, term, RT, resistance)
    found = hose.resistance_between(ahead, behind, flow, RT, term)
    assert found == pytest.approx(resistance, rel=1e-6, abs=1e-3)


def test_a_filters_two_parts() -> None:
    """2440 Pa s/m³ and 1000 Pa s²/m⁶ at 0.5 m³/s behind it, 90 kPa, 293.15 K, by hand: 250 Pa of
    the square part; the linear one at the mean pressure's density, 1220 Pa x 90 000 / 90 855."""
    rt = 287.05 * 293.15
    flow = 0.5 * 90_000.0 / rt
    ahead = hose.filter_pressure_before(90_000.0, flow, 2440.0, 1000.0, rt)
    assert ahead == pytest.approx(90_250.0 + 1220.0 * 90_000.0 / 90_855.0, abs=0.5)
    alone = hose.pressure_before(90_000.0, flow, 0.0, rt, 2440.0)
    assert hose.filter_pressure_before(90_000.0, flow, 2440.0, 0.0, rt) == alone

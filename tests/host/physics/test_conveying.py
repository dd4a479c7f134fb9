"""What air carries: particles, clouds and kinds of spoil, against fluids and published values."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from fluids.drag import v_terminal
from fluids.saltation import (
    Matsumoto_1974,
    Matsumoto_1975,
    Matsumoto_1977,
    Rizk,
    Schade,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import conveying
from pullcurve.physics.spoils import SPOILS, carrying

DATA = Path(__file__).parents[2] / "reference_data"
RHO, MU, BORE = 1.204, 1.82e-5, 0.1270
FT3_MIN, FT_MIN = 4.719474e-4, 0.00508

solids = st.floats(0.05, 5)
grains = st.floats(0.3e-3, 3e-3)
heavy = st.floats(800, 8000)
thin = st.floats(0.7, 1.3)
bores = st.floats(0.05, 0.3)


@settings(max_examples=100, deadline=None)
@given(st.floats(5e-5, 0.05), heavy, thin)
def test_terminal_velocity_against_fluids(diameter: float, density: float, rho: float) -> None:
    """Another drag law (Barati et al., 2014, below Re = 2e5); the two part by 5 % at most."""
    v = conveying.terminal_velocity(diameter, density, rho, MU)
    if v * diameter * rho / MU < 1e5:
        expected = v_terminal(D=diameter, rhop=density, rho=rho, mu=MU)
        assert v == pytest.approx(expected, rel=0.05)
    # The balance of weight and drag itself.
    drag = conveying.drag_coefficient(rho * v * diameter / MU) * rho * v**2 / 2 / 4
    assert drag == pytest.approx((density - rho) * 9.80665 * diameter / 6, rel=1e-8)


def test_fine_and_coarse_limits() -> None:
    """Stokes' law of dust; of stones v_t goes with the root of the size and of 1/density."""
    dust = conveying.terminal_velocity(5e-6, 2650.0, RHO, MU)
    assert dust == pytest.approx(9.80665 * 2649 * 25e-12 / 18 / MU, rel=0.01)
    stones = conveying.terminal_velocity(np.array([0.02, 0.04]), 2650.0, RHO, MU)
    assert stones[1] / stones[0] == pytest.approx(np.sqrt(2), rel=0.01)
    high = conveying.terminal_velocity(0.04, 2650.0, 1.11, MU)
    assert high / stones[1] == pytest.approx(np.sqrt(RHO / 1.11), rel=3e-3)


@settings(max_examples=60, deadline=None)
@given(st.floats(2e-5, 0.1), heavy, thin, st.floats(1, 2))
def test_the_largest_stone_is_the_inverse(
    diameter: float, density: float, rho: float, margin: float
) -> None:
    v = margin * conveying.terminal_velocity(diameter, density, rho, MU)
    assert conveying.largest_lifted(v, density, rho, MU, margin) == pytest.approx(
        diameter, rel=1e-9
    )
    assert conveying.largest_lifted(1.01 * v, density, rho, MU, margin) > diameter
    assert conveying.largest_lifted(0.0, density, rho, MU) == 0


def test_rizk_against_the_textbook() -> None:
    """Rhodes, Introduction to Particle Technology, worked example, as quoted in fluids' help."""
    v = conveying.saltation_rizk(0.25, 100e-6, 1.2, 0.078)
    assert v == pytest.approx(9.8833, abs=5e-5)


@settings(max_examples=60, deadline=None)
@given(solids, st.floats(0.3e-3, 0.02), heavy, thin, bores)
def test_saltation_against_fluids(
    flow: float, diameter: float, density: float, rho: float, bore: float
) -> None:
    """fluids' own self-test values are its formulas'; so this checks the code alone."""
    terminal = float(conveying.terminal_velocity(diameter, density, rho, MU))
    args = {"mp": flow, "rhop": density, "dp": diameter, "rhog": rho, "D": bore}
    five = (flow, diameter, density, rho, bore)
    for ours, theirs in (
        (conveying.saltation_matsumoto_1974, Matsumoto_1974),
        (conveying.saltation_matsumoto_1975, Matsumoto_1975),
        (conveying.saltation_matsumoto_1977, Matsumoto_1977),
    ):
        expected = theirs(**args, Vterminal=terminal)
        assert ours(*five, terminal) == pytest.approx(expected, rel=1e-9)
    assert conveying.saltation_schade(*five) == pytest.approx(Schade(**args), rel=1e-9)
    rizk = Rizk(mp=flow, dp=diameter, rhog=rho, D=bore)
    assert conveying.saltation_rizk(flow, diameter, rho, bore) == pytest.approx(rizk, rel=1e-9)


def test_saltation_of_steel_grit() -> None:
    """0.7 mm, 2 kg/s: Rizk, which knows no density, is far below the others and left out."""
    band = conveying.saltation_band(2.0, 0.7e-3, 7500.0, RHO, MU, BORE)
    assert conveying.saltation_rizk(2.0, 0.7e-3, RHO, BORE) < 0.75 * band.low
    assert band.low < band.high < 1.3 * band.low


@settings(max_examples=60, deadline=None)
@given(solids, grains, heavy, thin, bores)
def test_more_solids_need_more_air(
    flow: float, diameter: float, density: float, rho: float, bore: float
) -> None:
    args = (diameter, density, rho, MU, bore)
    here = conveying.saltation_band(flow, *args)
    more = conveying.saltation_band(1.1 * flow, *args)
    assert 0 < here.low <= here.high
    assert more.low > here.low
    assert more.high > here.high


def test_pickup() -> None:
    """1 mm sand off a layer, each correlation as printed with the answer put in."""
    args = (1e-3, 2650.0, RHO, MU, BORE)
    cabrejos, kalman = conveying.pickup_cabrejos_klinzing(*args), conveying.pickup_kalman(*args)
    reynolds = RHO * cabrejos * 1e-3 / MU
    froude = 0.0428 * reynolds**0.175 * (BORE / 1e-3) ** 0.25 * (2650 / RHO) ** 0.75
    assert cabrejos / np.sqrt(9.80665e-3) == pytest.approx(froude, rel=1e-9)
    starred = RHO * kalman * 1e-3 / MU / (1.4 - 0.8 * np.exp(-BORE / 0.075))
    archimedes = RHO * (2650 - RHO) * 9.80665 * 1e-9 / MU**2
    assert starred == pytest.approx(5 * archimedes ** (3 / 7), rel=1e-9)
    band = conveying.pickup_band(*args)
    assert [float(end) for end in band] == pytest.approx([float(kalman), float(cabrejos)])


def test_outside_its_limits_a_formula_says_nothing() -> None:
    assert np.isnan(conveying.pickup_cabrejos_klinzing(0.7e-3, 7500.0, RHO, MU, BORE))  # steel
    assert np.isnan(conveying.pickup_kalman(30e-6, 2650.0, RHO, MU, BORE))
    assert np.isnan(conveying.pickup_band(30e-6, 7500.0, RHO, MU, BORE).high)
    assert np.isnan(conveying.saltation_matsumoto_1974(1.0, 0.2e-3, 2650.0, RHO, BORE, 1.0))
    for diameter in (50e-6, 0.02):
        assert np.isnan(conveying.saltation_band(1.0, diameter, 2650.0, RHO, MU, BORE).low)


def test_handbook_velocities_are_the_published_ones() -> None:
    rows = pd.read_csv(DATA / "transport_velocity.csv", comment="#")
    assert len(rows) == 6
    for row in rows.itertuples():
        margin = 1.2 if row.kind == "least" else 1.0
        low, high = SPOILS[row.spoil].velocity
        assert low == pytest.approx(margin * row.least_ft_min * FT_MIN, abs=0.35)
        if row.greatest_ft_min == row.greatest_ft_min:
            assert high == pytest.approx(margin * row.greatest_ft_min * FT_MIN, abs=0.35)


@settings(max_examples=80, deadline=None)
@given(st.sampled_from(sorted(SPOILS)), st.floats(0.02, 2.0), bores, solids, st.booleans())
def test_every_spoil_gets_an_answer(
    name: str, flow: float, bore: float, load: float, lifts: bool
) -> None:
    spoil = SPOILS[name]
    answer = carrying(flow, bore, spoil, density=RHO, viscosity=MU, solids_flow=load, lifts=lifts)
    assert spoil.velocity[0] <= answer.needed.low <= answer.needed.high
    assert answer.carries == (answer.velocity >= answer.needed.high)
    assert not (answer.carries and answer.falls_short)
    assert answer.largest_stone.low <= answer.largest_stone.high <= bore / 2
    # The flow that would be needed is enough, and a little less than its low end is not.
    enough, short = (
        carrying(q, bore, spoil, density=RHO, viscosity=MU, solids_flow=load, lifts=lifts)
        for q in (answer.needed_flow.high * (1 + 1e-9), answer.needed_flow.low * 0.99)
    )
    assert enough.carries
    assert short.falls_short
    if lifts and enough.largest_stone.high < bore / 2:
        assert enough.largest_stone.high >= spoil.largest


def test_grit_in_a_hose_of_5_in() -> None:
    """25 to 30 m/s are 671 to 805 ft³/min there, by hand; the widest bore is the slowest."""
    flow = np.array([640, 840]) * FT3_MIN
    answer = carrying(flow, BORE, SPOILS["dry grit"], density=RHO, viscosity=MU)
    np.testing.assert_allclose(
        [float(end) / FT3_MIN for end in answer.needed_flow], [671, 805], atol=1.5
    )
    np.testing.assert_array_equal(answer.falls_short, [True, False])
    np.testing.assert_array_equal(answer.carries, [False, True])
    wide = carrying(flow, 0.1524, SPOILS["dry grit"], density=RHO, viscosity=MU)
    assert wide.falls_short.all()


def test_stones_of_40_mm_want_some_2000_ft3_min_in_a_hose_of_6_in() -> None:
    """Common practice, no source. 51.7 m/s by hand: 0.94389 m³/s over 0.018241 m²."""
    answer = carrying(2000 * FT3_MIN, 0.1524, SPOILS["gravel"], density=RHO, viscosity=MU)
    assert answer.velocity == pytest.approx(51.7, abs=0.05)
    assert not answer.falls_short
    assert answer.largest_stone.low < 0.04 < answer.largest_stone.high
    assert v_terminal(D=0.04, rhop=2650.0, rho=RHO, mu=MU) < answer.velocity

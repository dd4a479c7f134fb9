"""Orifice plates against published tables, the text of ISO 5167-2:2003 and the library fluids."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from fluids.flow_meter import C_Reader_Harris_Gallagher, dP_orifice, orifice_expansibility
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import orifice, venturi
from pullcurve.physics.orifice import Taps

DATA = Path(__file__).parents[2] / "reference_data"


def test_coefficient_against_published_values() -> None:
    rows = pd.read_csv(DATA / "orifice_coefficient.csv", comment="#")
    assert len(rows) == 20
    for row in rows.itertuples():
        c = orifice.coefficient(row.beta, row.reynolds, row.pipe_bore_m, Taps(row.taps))
        assert c == pytest.approx(row.coefficient, abs=5.1e-5)


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([(Taps.CORNER, "corner"), (Taps.FLANGE, "flange"), (Taps.D_AND_HALF_D, "D")]),
    st.floats(0.1, 0.75),
    st.floats(5e3, 1e7),
    st.floats(0.05, 0.5),
)
def test_coefficient_against_fluids(
    taps: tuple[Taps, str], beta: float, reynolds: float, pipe: float
) -> None:
    flow = reynolds * np.pi * pipe * 1.8e-5 / 4
    expected = C_Reader_Harris_Gallagher(
        D=pipe, Do=pipe * beta, rho=1.2, mu=1.8e-5, m=flow, taps=taps[1]
    )
    assert orifice.coefficient(beta, reynolds, pipe, taps[0]) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("taps", Taps)
def test_coefficient_is_smooth_where_the_small_pipe_begins_and_where_it_is_held(
    taps: Taps,
) -> None:
    below, above = (orifice.coefficient(0.5, 5e4, 0.07112 + h, taps) for h in (-1e-9, 1e-9))
    assert below == pytest.approx(above, rel=1e-7)
    assert orifice.coefficient(0.5, 5e3, 0.07112 - 0.01, taps) > orifice.coefficient(
        0.5, 5e3, 0.07112, taps
    )
    held = orifice.coefficient(0.6, np.array([0.0, 100.0, 4999.0, 5000.0]), 0.1, taps)
    np.testing.assert_allclose(held, held[3], rtol=1e-3)
    assert held[0] == held[1] == held[3]


def test_expansibility_against_published_values() -> None:
    rows = pd.read_csv(DATA / "orifice_expansibility.csv", comment="#")
    assert len(rows) == 4
    for row in rows.itertuples():
        value = orifice.expansibility(row.pressure_ratio, row.beta, row.isentropic_exponent)
        assert value == pytest.approx(row.expansibility, abs=5.1e-5)


@settings(max_examples=80, deadline=None)
@given(st.floats(0.75, 0.9999), st.floats(0.1, 0.75), st.floats(1.2, 1.67))
def test_expansibility_against_fluids(tau: float, beta: float, k: float) -> None:
    expected = orifice_expansibility(D=1.0, Do=beta, P1=1.0, P2=tau, k=k)
    assert orifice.expansibility(tau, beta, k) == pytest.approx(expected, rel=1e-12)
    assert orifice.expansibility(tau, beta, k) > venturi.expansibility(tau, beta, k)
    assert orifice.expansibility(1.0, beta, k) == 1.0
    assert np.isnan(orifice.expansibility(0.0, beta, k))


# ISO 5167-2:2003, 5.3.3.1, worked by hand; (1.667 beta - 0.5) % at 0.75 is 0.75 %.
@pytest.mark.parametrize(
    ("beta", "reynolds", "pipe", "percent"),
    [
        (0.10, 1e5, 0.1, 0.60),
        (0.1999, 1e5, 0.1, 0.5001),
        (0.20, 1e5, 0.1, 0.50),
        (0.60, 1e5, 0.1, 0.50),
        (0.75, 1e5, 0.1, 0.75025),
        (0.55, 9999.0, 0.1, 1.00),
        (0.55, 1e4, 0.1, 0.50),
        (0.50, 9999.0, 0.1, 0.50),
        (0.50, 1e5, 0.0508, 0.50 + 0.9 * 0.25 * 0.8),
        (0.50, 4999.0, 0.1, np.nan),
        (0.70, 16_000 * 0.49 - 1, 0.1, np.nan),
        (0.70, 16_000 * 0.49 + 1, 0.1, 1.6669 - 0.5 + 0.5 - 1.0 + 0.5),
    ],
)
def test_uncertainty_of_the_coefficient(
    beta: float, reynolds: float, pipe: float, percent: float
) -> None:
    value = orifice.coefficient_uncertainty(beta, reynolds, pipe, Taps.CORNER)
    assert value == pytest.approx(percent / 100, rel=1e-6, nan_ok=True)


@pytest.mark.parametrize(
    ("taps", "beta", "pipe", "least"),
    [
        (Taps.CORNER, 0.5, 0.1, 5000),
        (Taps.D_AND_HALF_D, 0.75, 0.1, 9000),
        (Taps.FLANGE, 0.5, 0.1, 5000),
        (Taps.FLANGE, 0.75, 0.1, 9562.5),
        (Taps.FLANGE, 0.75, 0.2, 19_125),
    ],
)
def test_least_reynolds_number(taps: Taps, beta: float, pipe: float, least: float) -> None:
    """ISO 5167-2:2003, 5.3.1, as in the documentation of fluids; worked by hand."""
    assert orifice.least_reynolds(beta, pipe, taps) == pytest.approx(least)


def test_uncertainty_of_the_expansibility() -> None:
    """ISO 5167-2:2003, 5.3.3.2, worked by hand: 3.5 * 3000 / (1.4 * 94100) %."""
    value = orifice.expansibility_uncertainty(-3000.0, 94_100.0, 0.5)
    assert value == pytest.approx(7.970e-4, rel=1e-3)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.1, 0.75), st.floats(0.58, 1.0))
def test_pressure_loss_against_fluids(beta: float, c: float) -> None:
    expected = dP_orifice(D=1.0, Do=beta, P1=1.0, P2=0.9, C=c) / 0.1
    assert orifice.pressure_loss(beta, c) == pytest.approx(expected, rel=1e-9)

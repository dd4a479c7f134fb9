"""Expansibility, the tube with a stated C, and what ISO 5167-4:2003 states of its three kinds."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from fluids.flow_meter import nozzle_expansibility
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.physics import air
from pullcurve.physics.venturi import (
    AS_CAST,
    MACHINED,
    ROUGH_WELDED,
    ClassicalVenturi,
    VenturiTube,
    expansibility,
    expansibility_uncertainty,
)

DATA = Path(__file__).parents[2] / "reference_data"
PIPE, THROAT = 0.14460, 0.09830
SITE = 94_100.0  # Pa, about 620 m

ratios = st.floats(0.75, 1.0)
betas = st.floats(0.2, 0.8)


def test_expansibility_against_published_values() -> None:
    rows = pd.read_csv(DATA / "expansibility.csv", comment="#")
    assert len(rows) == 13
    for row in rows.itertuples():
        value = expansibility(row.pressure_ratio, row.beta_4**0.25, row.isentropic_exponent)
        assert value == pytest.approx(row.expansibility, abs=row.tolerance)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.5, 0.9999), betas, st.floats(1.2, 1.67))
def test_expansibility_against_fluids(tau: float, beta: float, k: float) -> None:
    """The same formula, so a check of the code; the check of the physics follows."""
    expected = nozzle_expansibility(D=1.0, Do=beta, P1=1.0, P2=tau, k=k, beta=beta)
    assert expansibility(tau, beta, k) == pytest.approx(expected, rel=1e-10)


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
    """(4 + 100 * 0.680^8) % * 3000 / 94 100, worked by hand."""
    value = expansibility_uncertainty(-3000.0, SITE, THROAT / PIPE)
    assert value == pytest.approx(0.00273, abs=1e-5)


def test_a_throat_wider_than_the_pipe_is_refused() -> None:
    with pytest.raises(ValueError, match="must be smaller"):
        VenturiTube(PIPE, np.array([THROAT, PIPE]), 0.98)


def test_a_stated_coefficient_holds_above_its_reynolds_number_and_falls_below() -> None:
    tube = VenturiTube(PIPE, THROAT, 0.984, fall_per_halving=0.012)
    c = tube.coefficient(np.array([0.0, 1e4, 1e5, 2e5 - 1e-3, 2e5, 1e6, np.inf]))
    halvings = np.log2(20)
    expected = 0.984 * (1 - 0.012 * np.array([halvings, halvings, 1, 0, 0, 0, 0]))
    np.testing.assert_allclose(c, expected, rtol=1e-9)


# ISO 5167-4:2003, 5.5, and informative annex B; C as carried by the source of the library
# fluids, uncertainties from memory.
@pytest.mark.parametrize(
    ("kind", "reynolds", "coefficient", "uncertainty"),
    [
        (AS_CAST, 4e4, 0.957, 0.025),
        (AS_CAST, 6e4, 0.966, 0.020),
        (AS_CAST, 1e5, 0.976, 0.015),
        (AS_CAST, 1.5e5, 0.982, 0.010),
        (AS_CAST, 2e5, 0.984, 0.007),
        (AS_CAST, 2e6, 0.984, 0.007),
        (MACHINED, 5e4, 0.970, 0.030),
        (MACHINED, 1e5, 0.977, 0.025),
        (MACHINED, 2e5, 0.995, 0.010),
        (MACHINED, 1e6, 0.995, 0.010),
        (ROUGH_WELDED, 4e4, 0.960, 0.030),
        (ROUGH_WELDED, 6e4, 0.970, 0.025),
        (ROUGH_WELDED, 1e5, 0.980, 0.025),
        (ROUGH_WELDED, 2e5, 0.985, 0.015),
    ],
)
def test_classical_tubes_keep_their_rows(
    kind: ClassicalVenturi, reynolds: float, coefficient: float, uncertainty: float
) -> None:
    assert kind.coefficient(0.5, reynolds, 0.2) == pytest.approx(coefficient, abs=1e-12)
    assert kind.coefficient_uncertainty(0.5, reynolds, 0.2) == uncertainty


@pytest.mark.parametrize("kind", [AS_CAST, MACHINED, ROUGH_WELDED])
def test_classical_tubes_between_and_beyond_their_rows(kind: ClassicalVenturi) -> None:
    reynolds = np.geomspace(1e3, 1e7, 2000)
    c = kind.coefficient(0.5, reynolds, 0.2)
    assert (np.diff(c) >= 0).all()
    assert np.abs(np.diff(c)).max() < 2e-4  # no jump where annex B ends
    assert kind.coefficient(0.5, 0.0, 0.2) == kind.low[0][1]
    assert kind.coefficient(0.5, np.inf, 0.2) == kind.discharge_coefficient
    u = kind.coefficient_uncertainty(0.5, reynolds, 0.2)
    known = (reynolds >= kind.low[0][0]) & (reynolds <= kind.most_reynolds)
    np.testing.assert_array_equal(np.isfinite(u), known)
    assert (np.diff(u[known]) <= 0).all()

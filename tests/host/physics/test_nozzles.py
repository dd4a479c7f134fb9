"""Nozzles in a pipe and inlets from the open, against published tables and formulas."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pullcurve.physics import nozzles, open_inlets
from pullcurve.physics.primary_elements import STANDARDS, ElementKind

DATA = Path(__file__).parents[2] / "reference_data"


def test_coefficients_against_published_values() -> None:
    rows = pd.read_csv(DATA / "nozzle_coefficient.csv", comment="#")
    assert len(rows) == 29
    for row in rows.itertuples():
        c = STANDARDS[ElementKind(row.kind)].coefficient(row.beta, row.reynolds, 0.2)
        assert c == pytest.approx(row.coefficient, abs=1e-4)


# Values from the texts named in the functions, from memory; arithmetic by hand.
@pytest.mark.parametrize(
    ("kind", "beta", "reynolds", "percent"),
    [
        (ElementKind.NOZZLE_ISA_1932, 0.50, 1e5, 0.8),
        (ElementKind.NOZZLE_ISA_1932, 0.60, 1e5, 0.8),
        (ElementKind.NOZZLE_ISA_1932, 0.80, 1e5, 1.2),
        (ElementKind.NOZZLE_ISA_1932, 0.43, 6.9e4, np.nan),
        (ElementKind.NOZZLE_ISA_1932, 0.44, 2e4, 0.8),
        (ElementKind.NOZZLE_LONG_RADIUS, 0.50, 1e4, 2.0),
        (ElementKind.NOZZLE_LONG_RADIUS, 0.50, 9.9e3, np.nan),
        (ElementKind.VENTURI_NOZZLE, 0.50, 2e5, 1.2 + 1.5 * 0.0625),
        (ElementKind.VENTURI_NOZZLE, 0.50, 1.4e5, np.nan),
        (ElementKind.BELLMOUTH, 0.0, 2e5, 2.0),
        (ElementKind.BELLMOUTH, 0.0, 1.1e4, np.nan),
        (ElementKind.CONICAL_INLET, 0.0, 3.1e5, 1.5),
        (ElementKind.CONICAL_INLET, 0.0, 1e5, 2.0),
        (ElementKind.CONICAL_INLET, 0.0, 1.9e4, np.nan),
    ],
)
def test_uncertainties_of_the_coefficients(
    kind: ElementKind, beta: float, reynolds: float, percent: float
) -> None:
    value = STANDARDS[kind].coefficient_uncertainty(beta, reynolds, 0.2)
    assert value == pytest.approx(percent / 100, nan_ok=True)


def test_uncertainties_of_the_expansibility() -> None:
    """ISO 5167-3:2003, from memory: 2 dp/p1 %; a conical inlet has none of its own."""
    assert nozzles.expansibility_uncertainty(-1882.0, 94_100.0, 0.5) == pytest.approx(4e-4)
    assert open_inlets.conical_expansibility_uncertainty(1882.0, 94_100.0, 0.0) == 0


def test_a_bellmouth_lies_near_a_long_radius_nozzle_in_a_wide_pipe() -> None:
    """Two documents, one shape of flow: their C agree within the uncertainty of both (2 %).

    The long radius formula holds with the throat's Re: sqrt(1e6 beta/Re_D) = sqrt(1e6/Re_d).
    """
    reynolds = np.geomspace(2e4, 1e6, 50)
    bellmouth = open_inlets.bellmouth_coefficient(0.0, reynolds, np.inf)
    nozzle = nozzles.long_radius_coefficient(0.2, reynolds * 0.2, 0.2)
    known = reynolds * 0.2 >= 1e4
    np.testing.assert_allclose(bellmouth[known], nozzle[known], rtol=0.01)


# ISO 5801, from memory; 1 - 0.5 * 1e5^-0.2 = 0.95 by hand
@pytest.mark.parametrize(
    ("reynolds", "compound"), [(1e5, 0.95), (3e5, 0.9599), (4e5, 0.96), (1e7, 0.96)]
)
def test_conical_inlet(reynolds: float, compound: float) -> None:
    value = open_inlets.conical_coefficient(0.0, reynolds, np.inf)
    assert value == pytest.approx(compound, abs=5e-5)


@pytest.mark.parametrize("kind", ElementKind)
def test_every_coefficient_is_finite_at_any_flow_and_has_no_jump(kind: ElementKind) -> None:
    reynolds = np.geomspace(1.0, 1e8, 20_000)
    c = np.broadcast_to(STANDARDS[kind].coefficient(0.55, reynolds, 0.1), reynolds.shape)
    assert np.abs(np.diff(c) / c[1:]).max() < 1e-3
    assert STANDARDS[kind].coefficient(0.55, 0.0, 0.1) == pytest.approx(c[0], rel=1e-9)
    assert np.isfinite(STANDARDS[kind].coefficient(0.55, np.inf, 0.1))

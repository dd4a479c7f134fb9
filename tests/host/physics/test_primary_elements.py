"""Elements of the standards: limits of use on both sides, and what C is worth within them."""

import numpy as np
import pytest

from pullcurve.physics.primary_elements import (
    OUTSIDE_UNCERTAINTY,
    STANDARDS,
    ElementKind,
    Limit,
    StandardElement,
    coefficient_uncertainty,
    limits,
)

# kind, pipe and throat bore in m, Reynolds number; the limits that this crosses
CASES = [
    (ElementKind.VENTURI_AS_CAST, 0.15, 0.09, 5e5, set()),
    (ElementKind.VENTURI_AS_CAST, 0.0999, 0.0600, 5e5, {"pipe bore"}),
    (ElementKind.VENTURI_AS_CAST, 0.1001, 0.0600, 5e5, set()),
    (ElementKind.VENTURI_AS_CAST, 0.801, 0.45, 5e5, {"pipe bore"}),
    (ElementKind.VENTURI_AS_CAST, 0.15, 0.15 * 0.751, 5e5, {"diameter ratio"}),
    (ElementKind.VENTURI_AS_CAST, 0.15, 0.15 * 0.299, 5e5, {"diameter ratio"}),
    (ElementKind.VENTURI_AS_CAST, 0.15, 0.09, 2.1e6, {"Reynolds number"}),
    (ElementKind.VENTURI_MACHINED, 0.15, 0.15 * 0.39, 5e5, {"diameter ratio"}),
    (ElementKind.VENTURI_MACHINED, 0.15, 0.09, 1.9e5, {"Reynolds number"}),
    (ElementKind.VENTURI_WELDED, 0.25, 0.25 * 0.71, 5e5, {"diameter ratio"}),
    (ElementKind.ORIFICE_CORNER, 0.1, 0.06, 5800.0, set()),
    (ElementKind.ORIFICE_CORNER, 0.1, 0.06, 5700.0, {"Reynolds number"}),
    (ElementKind.ORIFICE_FLANGE, 0.1, 0.06, 6200.0, set()),
    (ElementKind.ORIFICE_FLANGE, 0.1, 0.06, 6100.0, {"Reynolds number"}),
    (ElementKind.ORIFICE_CORNER, 0.049, 0.0124, 1e5, {"pipe bore", "throat bore"}),
    (ElementKind.NOZZLE_ISA_1932, 0.1, 0.04, 6.9e4, {"Reynolds number"}),
    (ElementKind.NOZZLE_LONG_RADIUS, 0.64, 0.3, 1e5, {"pipe bore"}),
    (ElementKind.VENTURI_NOZZLE, 0.066, 0.049, 2e5, {"throat bore"}),
    (ElementKind.BELLMOUTH, np.inf, 0.08, 1.1e4, {"Reynolds number"}),
    (ElementKind.CONICAL_INLET, np.inf, 0.08, 2.1e4, set()),
]


@pytest.mark.parametrize(("kind", "pipe", "throat", "reynolds", "crossed"), CASES)
def test_limits_and_what_they_cost(
    kind: ElementKind, pipe: float, throat: float, reynolds: float, crossed: set[str]
) -> None:
    values = {
        "pipe bore": pipe,
        "throat bore": throat,
        "diameter ratio": throat / pipe,
        "Reynolds number": reynolds,
    }
    found = {
        limit.quantity
        for limit in limits(kind, pipe, throat)
        if limit.quantity in values and limit.crossed_by(values[limit.quantity]) is not None
    }
    assert found == crossed
    u = coefficient_uncertainty(kind, reynolds, pipe_bore=pipe, throat_bore=throat)
    stated = STANDARDS[kind].coefficient_uncertainty(throat / pipe, reynolds, pipe)
    annex_b = kind is ElementKind.VENTURI_MACHINED and crossed == {"Reynolds number"}
    assert u == (OUTSIDE_UNCERTAINTY if crossed and not annex_b else stated)


def test_too_much_pressure_for_a_conical_inlet_costs_at_that_point_alone() -> None:
    u = coefficient_uncertainty(
        ElementKind.CONICAL_INLET,
        np.array([4e5, 4e5]),
        pipe_bore=np.inf,
        throat_bore=0.1,
        differential_pressure=np.array([2000.0, 2001.0]),
    )
    np.testing.assert_array_equal(u, [0.015, OUTSIDE_UNCERTAINTY])


@pytest.mark.parametrize(
    ("bores", "u"), [(None, 0.007), (10.0, 0.007), (9.9, 0.012), (3.0, 0.012), (2.9, 0.04)]
)
def test_straight_pipe(bores: float | None, u: float) -> None:
    """ISO 5167-4:2003, table 1 (from memory): beta 0.6 wants 10 bores, 3 with 0.5 % added."""
    value = coefficient_uncertainty(
        ElementKind.VENTURI_AS_CAST,
        5e5,
        pipe_bore=0.125,
        throat_bore=0.075,
        straight_length=None if bores is None else bores * 0.125,
    )
    assert value == pytest.approx(u)


@pytest.mark.parametrize("kind", ElementKind)
def test_straight_lengths_grow_with_beta_and_the_short_one_is_shorter(kind: ElementKind) -> None:
    straight = STANDARDS[kind].straight
    if straight is None:
        assert STANDARDS[kind].pipe_bore is None
        return
    short, full = zip(*(straight.at(beta) for beta in np.linspace(0.3, 0.8, 30)), strict=True)
    assert (np.diff(full) >= 0).all()
    assert (np.diff(short) >= 0).all()
    assert (np.array(short) < np.array(full)).all()


def test_a_limit_names_the_value_farthest_outside() -> None:
    limit = Limit("Reynolds number", 2e5, 2e6, "source")
    assert limit.crossed_by(np.array([np.nan, 0.0, 1e5, 5e4, 3e6])) == 5e4
    assert limit.crossed_by(np.array([np.nan, 0.0, 2e5, 2e6, np.inf])) is None


@pytest.mark.parametrize(
    ("kind", "pipe", "throat"),
    [
        (ElementKind.ORIFICE_CORNER, 0.1, 0.1),
        (ElementKind.ORIFICE_CORNER, 0.1, 0.0),
        (ElementKind.ORIFICE_CORNER, np.inf, 0.1),
        (ElementKind.BELLMOUTH, 0.2, 0.1),
    ],
)
def test_bores_that_are_no_such_element_are_refused(
    kind: ElementKind, pipe: float, throat: float
) -> None:
    with pytest.raises(ValueError, match="pipe"):
        StandardElement(kind, pipe, throat)

"""The line through the points and its bend, against numpy's fit and against drawn runs."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.report.curve_shape import LEAST_BEND, curve_shape

SPEED = np.array([1130.0, 1470, 1840, 2195, 2450, 2620, 2445, 1835, 1150])


def test_the_bend_and_its_interval_are_those_of_a_least_squares_parabola() -> None:
    flow = 0.00012 * SPEED - 4e-9 * SPEED**2 + 1e-4 * np.sin(SPEED)
    shape = curve_shape(SPEED, flow)
    assert shape is not None
    x = np.interp(SPEED, [1130.0, 2620.0], [-1.0, 1.0])
    coefficients, covariance = np.polyfit(x, flow, 2, cov=True)
    # Student's t for 95 % and 6 degrees of freedom: 2.447 (JCGM 100:2008, table G.2: 2.45).
    assert shape.bend == pytest.approx(coefficients[0] / flow.max(), rel=1e-9)
    assert shape.bend_u95 == pytest.approx(2.4469 * covariance[0, 0] ** 0.5 / flow.max(), rel=1e-4)


@pytest.mark.parametrize(("bend", "verdict"), [(-0.03, "flattens"), (0.03, "steepens")])
def test_a_bend_is_named_by_its_direction(bend: float, verdict: str) -> None:
    x = np.interp(SPEED, [1130.0, 2620.0], [-1.0, 1.0])
    shape = curve_shape(SPEED, 1 + 0.4 * x + bend * x**2 + 0.001 * np.cos(9 * x))
    assert shape is not None
    assert shape.verdict == verdict


def test_scatter_alone_is_seldom_called_a_bend() -> None:
    """Scatter so large that LEAST_BEND protects from nothing: only the interval does."""
    noise = np.random.default_rng(20).normal(scale=0.05, size=(1000, len(SPEED)))
    line = SPEED / SPEED.max()
    shapes = [curve_shape(SPEED, line + each) for each in noise]
    called = sum(shape is not None and shape.verdict != "straight" for shape in shapes)
    assert np.mean([shape.bend_u95 for shape in shapes if shape]) > 3 * LEAST_BEND
    # 50 are expected of 1000; the bounds are four standard deviations of the binomial.
    assert 22 <= called <= 78


@pytest.mark.parametrize(
    "speeds",
    [
        [1150.0, 1690, 2230, 2600],
        [1150.0, 1151, 1152, 2600, 2601, 2602],
    ],
)
def test_too_few_points_leave_the_bend_open(speeds: list[float]) -> None:
    speed = np.array(speeds)
    shape = curve_shape(speed, 1e-4 * speed**2)
    assert shape is not None
    assert shape.verdict == "open"


def test_one_speed_has_no_shape() -> None:
    assert curve_shape(np.array([2600.0, 2608.0]), np.array([0.40, 0.41])) is None
    assert curve_shape(np.array([2600.0]), np.array([0.40])) is None
    assert curve_shape(SPEED, 0 * SPEED) is None


@given(factor=st.floats(1e-3, 1e4), bend=st.floats(-0.1, 0.1))
@settings(max_examples=40, deadline=None)
def test_the_verdict_does_not_depend_on_the_units(factor: float, bend: float) -> None:
    x = np.interp(SPEED, [1130.0, 2620.0], [-1.0, 1.0])
    flow = 1 + 0.4 * x + bend * x**2 + 0.003 * np.cos(9 * x)
    one, other = curve_shape(SPEED, flow), curve_shape(SPEED / 60, factor * flow)
    assert one is not None
    assert other is not None
    assert other.verdict == one.verdict
    assert other.bend == pytest.approx(one.bend, rel=1e-6, abs=1e-9)
    assert other.slope == pytest.approx(60 * factor * one.slope, rel=1e-6)

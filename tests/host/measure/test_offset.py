"""An offset of the differential pressure, from the readings of a sweep."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.stats import multivariate_normal

from pullcurve.measure.offset import Offset, Sensor, find_offset, weigh
from pullcurve.measure.offset_readings import readings
from pullcurve.measure.sweep_curve import Known, log_curve

Array = NDArray[np.float64]

SPEEDS = np.array([1150.0, 1530, 1910, 2290, 2750, 2520, 2060, 1375])
HOLD_S, ZERO_S, BLOCK_S = 16.0, 15.0, 0.1
FIRST_S = ZERO_S + 5
END_S = FIRST_S + len(SPEEDS) * (HOLD_S + 4)
SENSOR = Sensor(-4000.0, 4000.0, 0.6, 100.0, 20.0)


def swept(
    offset: Callable[[Array], Array], path: Callable[[Array], Array], *, spoil: bool = False
) -> Offset | None:
    """A sweep of a machine that loses 6 % to slip and 4 % of the air's pressure, 2500 Pa at the
    top, with a zero before and after; offset(t) is added in Pa, path(t) multiplies."""
    time_s = np.arange(0, END_S + ZERO_S, BLOCK_S) + BLOCK_S / 2
    starts = FIRST_S + (HOLD_S + 4) * np.arange(len(SPEEDS))
    place = np.searchsorted(starts, time_s) - 1
    turning = (place >= 0) & (time_s < END_S)
    speed = np.where(turning, SPEEDS[np.maximum(place, 0)], 0.0)
    pressure = 2500 * (speed / 2750) ** 2 * (1 - 0.08 * (speed / 2750) ** 2) * path(time_s)
    noise = np.random.default_rng(5).normal(0, 3, len(time_s))
    table = pd.DataFrame(
        {
            "time_s": time_s,
            "speed_rpm": speed,
            "sensor_dp_pa": pressure + 20 + offset(time_s) + noise,
        }
    )
    zeros = pd.DataFrame({"start_s": [0.0, END_S + 3], "end_s": [ZERO_S, END_S + ZERO_S]})
    points = pd.DataFrame({"start_s": starts, "end_s": starts + HOLD_S, "speed_rpm": SPEEDS})
    inside = [table[table["time_s"].between(a, a + HOLD_S)] for a in starts]
    means = np.array([part["sensor_dp_pa"].mean() for part in inside]) - 20
    points = points.assign(differential_pressure_pa=means, scatter_pa=0.3, clipped_share=0.0)
    known = Known(
        speed_rpm=SPEEDS,
        pressure_ratio=1 - 0.04 * (SPEEDS / 2750) ** 2,
        unread="nothing",
        differential_ratio=means / 94100,
        meter=-0.02 * (SPEEDS / 2750) ** 2,
        belt=False,
        spoil=spoil,
    )
    return find_offset(points, readings(points, zeros, table), known, SENSOR)


def always(value: float) -> Callable[[Array], Array]:
    return lambda time_s: np.full_like(time_s, value)


def between(pa: float, from_s: float, to_s: float) -> Callable[[Array], Array]:
    return lambda time_s: np.where((time_s >= from_s) & (time_s < to_s), pa, 0.0)


def test_a_clean_sweep_has_no_offset_and_pays_little_for_the_doubt() -> None:
    found = swept(always(0), always(1))
    assert found is not None
    assert not found.named
    assert (found.taken_off_pa == 0).all()
    assert found.u_pa.max() < 15


@pytest.mark.parametrize("pa", [-150.0, 80.0, 300.0])
@pytest.mark.parametrize(
    ("from_s", "to_s"),
    [
        (FIRST_S - 3, END_S + 1),  # whenever the engine turns
        (FIRST_S + 68, END_S + 100),  # from the midst of a hold
        (FIRST_S + 38, FIRST_S + 98),  # between holds, and gone again
        (7.0, END_S + 100),  # from the midst of the first zero
    ],
)
def test_an_offset_is_found_with_its_size_and_times(pa: float, from_s: float, to_s: float) -> None:
    found = swept(between(pa, from_s, to_s), always(1))
    assert found is not None
    assert found.named
    starts = FIRST_S + (HOLD_S + 4) * np.arange(len(SPEEDS))
    held = (
        np.clip(to_s, starts, starts + HOLD_S) - np.clip(from_s, starts, starts + HOLD_S)
    ) / HOLD_S
    in_zero = 8 / 15 if from_s < ZERO_S else 0.0
    after = 1.0 if to_s > END_S + 3 else 0.0
    middle = (starts + HOLD_S / 2 - ZERO_S / 2) / (END_S + 9 - ZERO_S / 2)
    true = pa * (held - (1 - middle) * in_zero - middle * after)
    assert (np.abs(found.taken_off_pa - true) < 2.5 * found.u_pa + 1).all()
    assert found.turning_only == (from_s == FIRST_S - 3)
    if from_s > FIRST_S:
        assert found.from_s == pytest.approx(from_s, abs=6)


@pytest.mark.parametrize("to_s", [FIRST_S + 76, FIRST_S + 120, END_S + 1])
def test_a_clog_is_no_offset(to_s: float) -> None:
    """Within one hold, over two, and to the end."""
    found = swept(
        always(0), lambda time_s: 1 - between(0.12, FIRST_S + 67, to_s)(time_s), spoil=True
    )
    assert found is not None
    assert not found.named


def test_one_speed_tells_nothing() -> None:
    points = pd.DataFrame(
        {"speed_rpm": [2290.0] * 4, "differential_pressure_pa": [2000.0] * 4, "sweep": 1}
    )
    known = Known(
        np.full(4, 2290.0), np.ones(4), "path", np.full(4, 0.02), np.zeros(4), False, False
    )
    assert find_offset(points, None, known, SENSOR) is None  # type: ignore[arg-type]


def test_columns_are_weighed_as_the_normal_distribution_says() -> None:
    """Against scipy: a column of prior size s adds s^2 h h' to the covariance; its size then has
    mean and variance of the conditional distribution (any textbook)."""
    generator = np.random.default_rng(3)
    mixing = generator.normal(size=(6, 6))
    covariance = mixing @ mixing.T + np.eye(6)
    left, columns = generator.normal(size=6) * 3, generator.normal(size=(6, 2))
    sizes = np.array([0.7, 2.0])
    weighed = weigh(left, covariance, columns, 1.0)
    alone = multivariate_normal(cov=covariance).logpdf(left)
    mean, variance = weighed.size(sizes)
    for i, size in enumerate(sizes):
        for j in range(2):
            whole = covariance + size**2 * np.outer(columns[:, j], columns[:, j])
            expected = multivariate_normal(cov=whole).logpdf(left) - alone
            assert weighed.log_with(sizes)[i, j] - weighed.log == pytest.approx(expected)
            gain = size**2 * np.linalg.solve(whole, columns[:, j])
            assert mean[i, j] == pytest.approx(gain @ left)
            assert variance[i, j] == pytest.approx(size**2 - gain @ columns[:, j] * size**2)


@pytest.mark.parametrize("slip_rpm", [60.0, 190.0, 345.0])  # that holds one psi
@pytest.mark.parametrize("filter_pa", [500.0, 6000.0])  # at the top speed
def test_real_curves_lie_within_the_prior(slip_rpm: float, filter_pa: float) -> None:
    """A machine solved by itself: p0^2 - p^2 = K m^2 R T / A^2 + 2 c m R T, and slip of the
    trade's orifice form, S sqrt(14.696 (r - 1))."""
    ambient, heat, speed = 94100.0, 287.05 * 285.15, np.linspace(1300, 2670, 6)
    mass, outlet = 0.72 * speed / speed.max(), ambient * (1 + 0.01 * (speed / speed.max()) ** 2)
    for _ in range(200):
        inlet = np.sqrt(ambient**2 - 7 * heat * (mass / 0.0127) ** 2 - filter_pa * 1.25e5 * mass)
        taken = speed - slip_rpm * np.sqrt(14.696 * (outlet / inlet - 1))
        mass += 0.3 * (0.0160 * taken / 60 * inlet / heat - mass)
    curve = 2 * np.log(mass / mass[-1])
    for unread, ratio in (("nothing", inlet / ambient), ("path", np.ones(6))):
        known = Known(speed, ratio, unread, np.full(6, 0.02), np.zeros(6), False, False)
        mean, covariance = log_curve(known)
        assert mean[-1] == 0
        left = np.abs(curve - mean)[:-1] / np.sqrt(np.diag(covariance))[:-1]
        assert (left < 2.5).all()

"""When blower and air are steady, and by how much a held speed sags."""

import math

import numpy as np
import pytest

from pullcurve.cut.samples import SAMPLE_S
from pullcurve.cut.throttle import Throttle


def fed(
    throttle: Throttle, *legs: tuple[float, float], from_s: float = 0.0
) -> list[tuple[float, bool, bool]]:
    """legs of (seconds, rpm); time, whether steady, whether a new hold."""
    found, time_s = [], from_s
    for seconds, rpm in legs:
        for _ in range(round(seconds / SAMPLE_S)):
            time_s += SAMPLE_S
            steady = throttle.add(time_s, rpm)
            found.append((time_s, steady, throttle.new_hold))
    return found


def test_it_is_steady_five_seconds_after_the_speed_last_moved() -> None:
    """The move shows in the two samples after it; five seconds on engine, tank and hose follow."""
    found = fed(Throttle(), (10, 1500.0), (15, 2200.0))
    steady = [time_s for time_s, is_steady, _ in found if is_steady]
    assert steady[0] == pytest.approx(1.0 + 5.0, abs=0.5)
    again = [time_s for time_s in steady if time_s > 10]
    assert again[0] == pytest.approx(11.0 + 5.0, abs=0.5)
    assert not any(10 < time_s < 15.5 for time_s in steady)


@pytest.mark.parametrize(("step", "moves"), [(0.015, False), (0.025, True)])
def test_the_throttle_moves_from_2_percent_in_a_second_on(step: float, moves: bool) -> None:
    found = fed(Throttle(), (10, 2000.0), (3, 2000.0 * (1 + step)))
    assert all(is_steady for time_s, is_steady, _ in found if time_s > 10) != moves


@pytest.mark.parametrize("rpm", [0.0, 250.0, math.nan])
def test_a_shaft_that_stands_crawls_or_is_not_seen_is_not_steady(rpm: float) -> None:
    throttle = Throttle()
    fed(throttle, (30, 2000.0))
    assert not any(is_steady for _, is_steady, _ in fed(throttle, (30, rpm), from_s=30))
    assert math.isnan(throttle.mean_rpm)
    # And begins anew when it turns again.
    found = fed(throttle, (10, 2000.0), from_s=60)
    assert not found[8][1]
    assert found[-1][1]


def test_the_speed_held_is_the_median_of_the_first_half_of_twenty_seconds() -> None:
    """A sample that is off makes no difference to a median."""
    throttle = Throttle()
    fed(throttle, (8, 2000.0), (SAMPLE_S, 2030.0), (8, 2000.0))
    assert throttle.held_rpm == 2000.0
    assert not throttle.new_hold


def test_another_speed_is_a_new_hold_once_and_the_first_speed_is_none() -> None:
    found = fed(Throttle(), (30, 1800.0), (40, 2200.0))
    news = [time_s for time_s, _, is_new in found if is_new]
    assert len(news) == 1
    # Two samples of moving, 5 s, and 10 s of it.
    assert news[0] == pytest.approx(31 + 5 + 10, abs=1.0)


def test_the_same_speed_again_after_a_pause_is_no_new_hold() -> None:
    """Five seconds of idle are no hold; then 0.7 % from the old speed."""
    throttle = Throttle()
    fed(throttle, (30, 2200.0), (5, 900.0))
    found = fed(throttle, (40, 2215.0), from_s=35)
    assert not any(is_new for _, _, is_new in found)
    assert found[-1][1]
    assert throttle.held_rpm == 2200.0


def test_a_sag_is_the_share_by_which_ten_seconds_lie_below_the_speed_held() -> None:
    """2200 rpm, then slowly to 2090: 5 %, in steps that are no move of the throttle."""
    throttle = Throttle()
    fed(throttle, (40, 2200.0))
    assert throttle.sag == pytest.approx(0.0)
    falling = [(SAMPLE_S, float(rpm)) for rpm in np.linspace(2200, 2090, 60)]
    fed(throttle, *falling, (12, 2090.0), from_s=40)
    assert throttle.mean_rpm == pytest.approx(2090)
    assert throttle.sag == pytest.approx(0.05)
    throttle.hold_here()
    assert throttle.sag == pytest.approx(0.0)


def test_a_sag_is_not_known_before_ten_seconds_are() -> None:
    throttle = Throttle()
    fed(throttle, (14, 2200.0))
    assert math.isnan(throttle.sag)
    throttle.hold_here()
    assert math.isnan(throttle.held_rpm)


def test_a_sag_is_as_uncertain_as_the_scatter_of_both_means() -> None:
    """Speeds that go to and fro by 11 rpm of 2200, 0.5 %: 10 s of them are 2 independent ones and
    20 s 4, at five seconds each."""
    throttle = Throttle()
    for place in range(120):
        throttle.add(SAMPLE_S * place, 2200.0 + 11 * (-1) ** place)
    assert throttle.sag_u == pytest.approx(0.005 * math.sqrt(1 / 2 + 1 / 4), rel=0.02)

"""Speed and its wander, the belt, and marks that are missed."""

import numpy as np
import pytest

from host.bench.plain import scenario
from pullcurve.bench.grid import STEP_S
from pullcurve.bench.instrument import PickupTruth
from pullcurve.bench.plant import simulate

SETTLED = slice(500, None)


def test_hunting_is_a_sine_about_the_calm_speed() -> None:
    engine = {"machine__engine__hunting_rpm": 12.0, "machine__engine__hunting_period_s": 2.5}
    truth = simulate(scenario(**engine)).truth(STEP_S)
    calm = truth["calm_speed_rpm"][SETTLED]
    away = truth["speed_rpm"][SETTLED] - calm
    assert calm == pytest.approx(2400.0, abs=0.01)
    assert np.abs(away).max() == pytest.approx(12.0, rel=1e-3)
    rises = np.flatnonzero((away[1:] >= 0) & (away[:-1] < 0))
    assert np.diff(rises) * STEP_S == pytest.approx(2.5, abs=0.011)


def test_slow_wander_comes_on_top_and_from_its_own_stream() -> None:
    quick = {"machine__engine__wander_rpm": 6.0, "duration_s": 600.0}
    quick["machine__engine__throttle"] = [[0.0, 2400.0], [600.0, 2400.0]]
    slow = {"machine__engine__slow_wander_rpm": 10.0, "machine__engine__slow_wander_time_s": 8.0}
    with_both = simulate(scenario(**quick, **slow)).truth(STEP_S)["speed_rpm"]
    with_quick = simulate(scenario(**quick)).truth(STEP_S)["speed_rpm"]
    added = (with_both - with_quick)[SETTLED]
    assert added.std() == pytest.approx(10.0, rel=0.25)
    lag = round(8.0 / STEP_S)
    correlation = np.corrcoef(added[:-lag], added[lag:])[0, 1]
    assert correlation == pytest.approx(np.exp(-1), abs=0.2)


def test_the_belt_slips_more_under_load() -> None:
    machine = {"machine__belt_slip": 0.01, "machine__belt_slip_at_load": 0.03}
    truth = simulate(scenario(**machine, machine__engine__full_load_w=20e3)).truth()
    load = truth["gas_power_w"][-1] / 20e3
    assert load > 0.1
    slip = 1 - truth["speed_rpm"][-1] / truth["engine_speed_rpm"][-1]
    assert slip == pytest.approx(0.01 + 0.03 * load, rel=1e-3)


def test_one_mark_is_missed_often_and_the_others_never() -> None:
    plant = simulate(scenario())
    uneven = (0.0, 0.1, -0.05)
    clean = plant.edges(PickupTruth(role="blower_shaft", marks=3, uneven=uneven))
    often = PickupTruth(role="blower_shaft", marks=3, uneven=uneven, missed_marks=(0.0, 0.4, 0.0))
    missed = ~np.isin(clean, plant.edges(often))
    number = np.arange(clean.size) % 3
    which = np.unique(number[missed])
    assert which.size == 1
    assert missed[number == which[0]].mean() == pytest.approx(0.4, abs=0.05)
    # That mark stands 0.1 of a pitch late: the interval ahead of it is the longest.
    ahead = np.diff(clean)[np.isin(number[1:], which)]
    assert ahead == pytest.approx(1.1 * 60 / 2400 / 3, rel=1e-3)

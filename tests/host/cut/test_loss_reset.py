"""A slow loss ends when a stop of the engine has done away with it, and what comes then is new."""

import math
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from cut_bench import SAMPLE, clean_pipe_rig

from fed import Fed
from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.loss_reset import LONG, Stops
from pullcurve.cut.samples import SAMPLE_S, Sample, Samples
from pullcurve.cut.watch import Watch
from pullcurve.examine import rig_of
from pullcurve.physics.air import DRY_AIR_GAS_CONSTANT
from pullcurve.run_log.reading import read_log

AIR_PA, AIR_K = 1e5, 293.0
RPM = 2600.0
SPOIL = 0.02  # scatter of the path's resistance, correlated over some seconds
CLEAN = 2.1e6  # Pa²/(kg/s)²/K: 1.5 % of the air's pressure is lost on the way in


def standing(time_s: float) -> Sample:
    return Sample(time_s, 0.0, math.nan, 0.0, AIR_PA, AIR_K, AIR_PA, math.nan, 0.0, False, False)


def working(time_s: float, path: float, speed_rpm: float) -> Sample:
    """A blower of 16 L a turn that slips by 380 rpm behind a path whose resistance is known."""
    taken = (
        0.0160 * (speed_rpm - 380) / 60 / DRY_AIR_GAS_CONSTANT / AIR_K
    )  # kg/s for each pascal ahead of it
    tap = AIR_PA / math.sqrt(1 + path * taken**2 * AIR_K)
    return Sample(
        time_s, speed_rpm, math.nan, 1e3, AIR_PA, AIR_K, tap, math.nan, taken * tap, False, False
    )


Plan = Iterable[tuple[float, float, float, float]]


def plant(seed: int, plan: Plan) -> Iterator[Sample]:
    """plan: the speed, for how long, and the path's resistance from and to, over CLEAN."""
    dice = np.random.default_rng(seed)
    time_s = spoil = 0.0
    for speed_rpm, length_s, first, last in plan:
        count = round(length_s / SAMPLE_S)
        for place in range(count):
            time_s += SAMPLE_S
            if speed_rpm == 0:
                yield standing(time_s)
                continue
            spoil = 0.8 * spoil + dice.normal(0, SPOIL) * 0.6
            path = CLEAN * (first + (last - first) * place / count) * math.exp(spoil)
            yield working(time_s, path, speed_rpm)


OFF, REST = (0.0, 30.0, 0.0, 0.0), (0.0, 300.0, 0.0, 0.0)


def work(seconds: float, first: float, last: float) -> tuple[float, float, float, float]:
    return RPM, seconds, first, last


class Handed(Samples):
    """Hands on the samples that a test has made."""

    samples: Iterator[Sample]

    def take(self, batch: object) -> list[Sample]:  # type: ignore[override]
        return [next(self.samples)]


def slow_alarms(seed: int, plan: Plan) -> list[CutAlarm]:
    rig = clean_pipe_rig()
    watched = Watch(rig)
    handed = watched.samples = Handed(rig)
    watch = Fed(watched)
    given = list(plant(seed, plan))
    handed.samples = iter(given)
    (some,) = read_log(SAMPLE).received[:1]
    for _ in given:
        watch.add(some)
    return [event for event in watch.events if event.kind in ("filter_loading", "leak")]


LOADS = work(2400, 1.4, 1.54)


def test_a_filter_that_is_changed_ends_its_alarm_and_the_next_one_is_told_anew() -> None:
    first, second, third = slow_alarms(1, [OFF, LOADS, REST, LOADS, REST, LOADS])
    assert {event.kind for event in (first, second, third)} == {"filter_loading"}
    assert first.end_s == pytest.approx(30 + 2400, abs=1)  # where the engine stopped
    assert first.size == pytest.approx(0.1, abs=0.03)  # as it was in the end
    assert first.forecast is not None
    assert second.start_s > 30 + 2400 + 300 - 15
    assert second.end_s is not None
    assert third.end_s is None


def test_a_stop_that_mends_nothing_ends_nothing_and_tells_nothing_again() -> None:
    plan = [OFF, LOADS, REST, work(1200, 1.54, 1.61), REST, work(1200, 1.61, 1.68)]
    (alarm,) = slow_alarms(2, plan)
    assert alarm.end_s is None
    assert alarm.size == pytest.approx(0.2, abs=0.05)  # and its size is followed


@pytest.mark.parametrize("before", [[(2000.0, 120.0, 1.4, 1.4)], []])
def test_a_loss_is_followed_over_a_stop_whatever_was_held_before(before: list[Any]) -> None:
    plan = [OFF, *before, LOADS, REST, work(3600, 1.54, 1.8)]
    (alarm,) = slow_alarms(3, plan)
    assert alarm.size == pytest.approx(0.28, abs=0.06)


def test_a_short_trial_behind_the_change_leaves_what_was_before_in_mind() -> None:
    trial = (RPM, 40.0, 1.4, 1.4)
    first, *_ = slow_alarms(1, [OFF, LOADS, REST, trial, (0.0, 120.0, 0.0, 0.0), LOADS])
    assert first.end_s is not None


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_stop_ends_nothing_that_was_told_after_it(seed: int) -> None:
    """The filter was changed before anything was told; then it loads."""
    plan = [OFF, work(300, 1.96, 1.96), REST, work(3600, 1.4, 1.61)]
    (alarm,) = slow_alarms(seed, plan)
    assert (alarm.kind, alarm.end_s) == ("filter_loading", None)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_of_two_losses_in_one_residual_a_stop_may_mend_one(seed: int) -> None:
    """The filter loads, then air creeps in; the stop ends the leak."""
    loads, leaks = work(2400, 1.4, 1.57), work(1500, 1.57, 1.37)
    alarms = slow_alarms(seed, [OFF, loads, leaks, REST, work(2400, 1.57, 1.57)])
    ended = {alarm.kind: alarm.end_s for alarm in alarms}
    assert ended["leak"] == pytest.approx(30 + 2400 + 1500, abs=1)
    assert ended["filter_loading"] is None


@pytest.mark.parametrize("change", [-0.2, -0.03, 0.03, 0.2])
def test_spoil_alone_mends_nothing(change: float) -> None:
    """Scatter of 2 % whose correlation falls by half in 10 s: half of the loss and 4 standard
    deviations of the mean, in fewer than 2 of 100 stops."""
    dice, claimed = np.random.default_rng(3), 0
    for _ in range(400):
        stops, level = Stops(), 0.0
        for _ in range(2):
            for _ in range(LONG):
                level = 0.966 * level + dice.normal(0, 0.02 * math.sqrt(1 - 0.966**2))
                stops.add("path", level, RPM)
            claimed += stops.undone("path", change)
            stops.stood()
    assert claimed <= 8


@pytest.mark.parametrize("speeds", [(2600.0, 2610.0), (2600.0, 1860.0)])
def test_only_stretches_at_one_speed_are_compared(speeds: tuple[float, float]) -> None:
    stops, told = Stops(), []
    for speed, level in zip(speeds, (0.2, 0.0), strict=True):
        stops.stood()
        for place in range(LONG):
            stops.add("path", level + 0.01 * (place % 7), speed)
        told.append(stops.undone("path", 0.2))
    assert told == [False, speeds[1] > 2500]


def test_a_clog_that_becomes_worse_is_told_again() -> None:
    log = read_log(SAMPLE)
    watch = Fed(Watch(rig_of(log, None)))
    news = [event for each in log.received for event in watch.add(each)]
    told = [event.size for event in news if event.number == 1 and event.end_s is None]
    assert 2 <= len(told) <= 5
    assert all(b > 1.25 * a for a, b in pairwise(told))

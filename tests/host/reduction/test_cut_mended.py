"""A slow loss ends when a stop of the engine has done away with it, and what comes then is new."""

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from cut_bench import SAMPLE, clean_pipe_rig

from pullcurve.reduction.cut_watch.events import Event
from pullcurve.reduction.cut_watch.mended import LONG, Stops
from pullcurve.reduction.cut_watch.path import GAS_CONSTANT
from pullcurve.reduction.cut_watch.samples import SAMPLE_S, Sample, Samples
from pullcurve.reduction.cut_watch.watch import Watch
from pullcurve.reduction.run import rig_of
from pullcurve.run_log.reading import read_log

AIR_PA, AIR_K = 1e5, 293.0
RPM = 2800.0
SPOIL = 0.02  # scatter of the path's resistance, correlated over some seconds
CLEAN = 7e6  # Pa²/(kg/s)²/K: a tenth of the air's pressure is lost on the way in


def standing(time_s: float) -> Sample:
    return Sample(time_s, 0.0, math.nan, 0.0, AIR_PA, AIR_K, AIR_PA, math.nan, 0.0, False, False)


def working(time_s: float, path: float) -> Sample:
    """A blower of 8.5 L a turn that slips by 500 rpm behind a path whose resistance is known."""
    taken = 0.0085 * (RPM - 500) / 60 / GAS_CONSTANT / AIR_K  # kg/s for each pascal ahead of it
    tap = AIR_PA / math.sqrt(1 + path * taken**2 * AIR_K)
    return Sample(
        time_s, RPM, math.nan, 1e3, AIR_PA, AIR_K, tap, math.nan, taken * tap, False, False
    )


def day(dice: np.random.Generator, *lengths_s: float, mended: bool) -> Iterator[Sample]:
    """Work in which the path's resistance grows by a tenth in 40 min, with stops of 5 min, in
    which it becomes what it was, or nothing."""
    time_s = worked_s = spoil = 0.0
    for length_s in (0.0, *lengths_s):
        for _ in range(round((300 if time_s else 30) / SAMPLE_S)):
            time_s += SAMPLE_S
            yield standing(time_s)
        worked_s = 0.0 if mended else worked_s
        for _ in range(round(length_s / SAMPLE_S)):
            time_s, worked_s = time_s + SAMPLE_S, worked_s + SAMPLE_S
            spoil = 0.8 * spoil + dice.normal(0, SPOIL) * 0.6
            grown = 1 + 0.1 * worked_s / 2400
            yield working(time_s, 1.4 * CLEAN * grown * math.exp(spoil))


class Handed(Samples):
    """Hands on the samples that a test has made."""

    samples: Iterator[Sample]

    def add(self, received: object) -> list[Sample]:  # type: ignore[override]
        return [next(self.samples)]


def slow_alarms(samples: Iterator[Sample]) -> list[Event]:
    rig = clean_pipe_rig()
    watch = Watch(rig)
    handed = watch.samples = Handed(rig)
    given = list(samples)
    handed.samples = iter(given)
    (some,) = read_log(SAMPLE).received[:1]
    for _ in given:
        watch.add(some)
    return [event for event in watch.events if event.kind in ("filter_loading", "leak")]


def test_a_filter_that_is_changed_ends_its_alarm_and_the_next_one_is_told_anew() -> None:
    first, second, third = slow_alarms(day(np.random.default_rng(1), 2400, 2400, 2400, mended=True))
    assert {event.kind for event in (first, second, third)} == {"filter_loading"}
    assert first.end_s == pytest.approx(330 + 2400, abs=1)  # where the engine stopped
    assert first.size == pytest.approx(0.1, abs=0.03)  # as it was in the end
    assert first.forecast is not None
    assert second.start_s > 330 + 2400 + 300 - 15
    assert second.end_s is not None
    assert third.end_s is None


def test_a_stop_that_mends_nothing_ends_nothing_and_tells_nothing_again() -> None:
    (alarm,) = slow_alarms(day(np.random.default_rng(2), 2400, 1200, 1200, mended=False))
    assert alarm.end_s is None
    assert alarm.size == pytest.approx(0.2, abs=0.05)  # and its size is followed


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


@pytest.mark.parametrize("speeds", [(2800.0, 2810.0), (2800.0, 2000.0)])
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
    watch = Watch(rig_of(log, None))
    news = [event for each in log.received for event in watch.add(each)]
    told = [event.size for event in news if event.number == 1 and event.end_s is None]
    assert 2 <= len(told) <= 5
    assert all(b > 1.25 * a for a, b in pairwise(told))

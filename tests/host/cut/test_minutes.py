"""The minutes of a shift, and its curve over time."""

import math
from itertools import pairwise

import pytest

from pullcurve.cut.minutes import MOST_ROWS, History, Minute, Minutes
from pullcurve.cut.samples import SAMPLE_S, Sample


def sample(
    time_s: float, rpm: float = 2200.0, *, flow: float = 0.5, after_gap: bool = False
) -> Sample:
    return Sample(
        time_s, rpm, math.nan, 1e3, 94_100.0, 285.15, 90_000.0, math.nan, flow, False, after_gap
    )


def watched(minutes: Minutes, from_s: float, to_s: float, **said: object) -> None:
    """Samples of half a second; rpm, steady, quiet and lost as said."""
    known: dict[str, object] = {"rpm": 2200.0, "steady": True, "quiet": True, "lost": 0.0} | said
    rpm = known.pop("rpm")
    for place in range(round((to_s - from_s) / SAMPLE_S)):
        at = sample(from_s + SAMPLE_S * (place + 1), rpm)  # type: ignore[arg-type]
        minutes.add(at, **known)  # type: ignore[arg-type]


def test_a_minute_counts_the_seconds_of_running_and_of_flow() -> None:
    """15 s of standing, 20 s of moving throttle, 15 s of work, 10 s of a clog."""
    minutes = Minutes()
    watched(minutes, 0, 15, rpm=0.0, steady=False, quiet=False)
    watched(minutes, 15, 35, steady=False, quiet=False)
    watched(minutes, 35, 50, lost=0.09)
    watched(minutes, 50, 60, lost=0.11, quiet=False)
    (minute,) = minutes.all
    assert (minute.start_s, minute.running_s) == (0.0, 45.0)
    assert (minute.enough_s, minute.short_s) == (15.0, 10.0)
    assert (minute.quiet_from_s, minute.quiet_to_s, minute.quiet_s) == (35.0, 50.0, 15.0)


def test_a_sample_that_ends_with_a_minute_belongs_to_it() -> None:
    minutes = Minutes()
    watched(minutes, 0, 180)
    assert [minute.start_s for minute in minutes.all] == [0.0, 60.0, 120.0]
    assert [minute.running_s for minute in minutes.all] == [60.0] * 3


def test_of_the_quiet_pieces_of_a_minute_the_longest_counts_with_its_mean_speed() -> None:
    minutes = Minutes()
    watched(minutes, 0, 10)
    watched(minutes, 10, 11, quiet=False)
    watched(minutes, 11, 25, rpm=2100.0)
    watched(minutes, 25, 39, rpm=2300.0)
    watched(minutes, 39, 40, quiet=False)
    watched(minutes, 40, 60)
    (minute,) = minutes.quiet()
    assert (minute.quiet_from_s, minute.quiet_to_s) == (11.0, 39.0)
    assert minute.speed_rpm == pytest.approx(2200.0)


def test_a_gap_in_the_records_parts_a_quiet_piece() -> None:
    minutes = Minutes()
    watched(minutes, 0, 15)
    minutes.add(sample(20.0, after_gap=True), steady=True, quiet=True, lost=0.0)
    watched(minutes, 20, 38)
    (minute,) = minutes.all
    assert (minute.quiet_from_s, minute.quiet_to_s) == (20.0, 38.0)


@pytest.mark.parametrize(("seconds", "points"), [(19.5, 0), (20.0, 1)])
def test_a_minute_makes_a_point_from_twenty_quiet_seconds_on(seconds: float, points: int) -> None:
    minutes = Minutes()
    watched(minutes, 0, seconds)
    assert len(minutes.quiet()) == points


def test_what_an_alarm_finds_out_to_have_been_its_beginning_was_not_quiet() -> None:
    """In the minute before as well."""
    minutes = Minutes()
    watched(minutes, 0, 80)
    minutes.forget(55.0)
    assert [minute.quiet_s for minute in minutes.all] == [55.0, 0.0]
    watched(minutes, 80, 105)
    assert minutes.all[1] == Minute(60.0, 45.0, 45.0, 0.0, 80.0, 105.0, pytest.approx(2200.0))


def test_the_history_holds_means_of_a_second_each() -> None:
    history = History()
    for place in range(1, 9):
        history.add(sample(0.5 * place, 2200 + place, flow=0.1 * place))
    # By the second that a sample's end lies in: 0.5; 1 and 1.5; 2 and 2.5; ...
    assert [row[0] for row in history.rows] == pytest.approx([0.5, 1.25, 2.25, 3.25])
    assert [row[1] for row in history.rows] == pytest.approx([0.1, 0.25, 0.45, 0.65])
    assert {row[2] for row in history.rows} == {4100.0}
    assert history.rows[1][3] == pytest.approx(2202.5)


def test_a_long_shift_keeps_its_curve_in_so_many_rows() -> None:
    """An hour and a half: the step doubles three times, and the rows stay in order and even."""
    history = History()
    count = 10_800
    for place in range(1, count + 1):
        history.add(sample(0.5 * place, flow=0.5 * place))
    assert MOST_ROWS / 2 <= len(history.rows) < MOST_ROWS
    assert history.step_s == 8.0
    times = [row[0] for row in history.rows]
    steps = [b - a for a, b in pairwise(times)]
    assert steps.count(8.0) > 0.98 * len(steps)
    assert min(steps) >= 4  # a row that was begun before the step doubled
    assert max(steps) <= 12
    assert all(row[1] == pytest.approx(row[0]) for row in history.rows)  # flow was the time

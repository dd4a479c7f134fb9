"""Settled points on synthetic throttles whose holds are known."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.measure.settled_points import AIR_S, LONGEST_S, SHORTEST_S, Stretch, find_settled

BLOCK_S = 0.1


def run(*legs: tuple[float, float], wander_rpm: float = 3.0, seed: int = 0) -> pd.DataFrame:
    """A table of channels: legs of (seconds, rpm at their end), the first from standstill.

    Speed wanders with a correlation time of one second; flow goes as speed.
    """
    generator = np.random.default_rng(seed)
    times, levels = [0.0], [0.0]
    for seconds, rpm in legs:
        times.append(times[-1] + seconds)
        levels.append(rpm)
    time_s = np.arange(BLOCK_S / 2, times[-1], BLOCK_S)
    speed = np.interp(time_s, times, levels)
    noise = generator.normal(0, 1, len(time_s))
    wander = np.zeros(len(time_s))
    for i in range(1, len(time_s)):
        wander[i] = wander[i - 1] * np.exp(-BLOCK_S) + noise[i] * np.sqrt(1 - np.exp(-2 * BLOCK_S))
    speed = np.where(speed > 0, speed + wander_rpm * wander, 0.0)
    pressure = 3000 * (speed / 2750) ** 2 * (1 + 0.005 * generator.normal(0, 1, len(time_s)))
    return pd.DataFrame(
        {
            "time_s": time_s,
            "length_s": BLOCK_S,
            "speed_rpm": speed,
            "zeroed_dp_pa": pressure,
        }
    )


def kept(table: pd.DataFrame) -> list[Stretch]:
    return [stretch for stretch in find_settled(table) if not stretch.rejected]


def test_the_holds_of_a_sweep_are_found_and_nothing_else() -> None:
    table = run(
        *((10, 0.0), (3, 2000), (20, 2000), (2, 2500), (15, 2500), (4, 2700), (25, 2700)),
        *((5, 2200), (12, 2200), (4, 0.0), (10, 0.0)),
    )
    found = kept(table)
    holds = [(13, 33), (35, 50), (54, 79), (84, 96)]
    assert [round(stretch.speed_rpm, -2) for stretch in found] == [2000, 2500, 2700, 2200]
    for stretch, (start, end) in zip(found, holds, strict=True):
        assert start + AIR_S - 0.8 <= stretch.start_s
        assert stretch.end_s <= end + 0.6
        assert stretch.end_s - stretch.start_s > end - start - AIR_S - 3.5


@settings(max_examples=40, deadline=None)
@given(
    rpm=st.floats(900, 4000),
    seconds=st.floats(9, 40),
    wander=st.floats(0, 0.0012),
    seed=st.integers(0, 1000),
)
def test_one_hold_is_found_once(rpm: float, seconds: float, wander: float, seed: int) -> None:
    table = run((5, 0.0), (4, rpm), (seconds, rpm), (3, 0.0), wander_rpm=wander * rpm, seed=seed)
    found = kept(table)
    assert sum(stretch.end_s - stretch.start_s for stretch in found) > seconds - AIR_S - 4.5
    for stretch in found:
        assert stretch.start_s >= 9.0
        assert stretch.end_s <= 9.0 + seconds + 0.6
        assert stretch.speed_rpm == pytest.approx(rpm, rel=0.005)


def spans(table: pd.DataFrame) -> list[float]:
    """Greatest over least speed of each point, less 1."""
    found = []
    for stretch in kept(table):
        inside = table["time_s"].between(stretch.start_s, stretch.end_s)
        speed = table.loc[inside, "speed_rpm"]
        found.append(speed.max() / speed.min() - 1)
    return found


@pytest.mark.parametrize("rise", [0.01, -0.01, 0.003])
def test_a_creeping_throttle_gives_no_point(rise: float) -> None:
    """1 % or 0.3 % of speed every second, for a minute."""
    assert find_settled(run((5, 0.0), (2, 2000), (60, 2000 * (1 + 60 * rise)), wander_rpm=2)) == []


@pytest.mark.parametrize("rise", [0.0005, -0.0005])
def test_a_slow_creep_gives_points_that_lie_within_1_percent_each(rise: float) -> None:
    """A twentieth of a per cent every second: over the minute 3 %, so three points at least."""
    found = spans(run((5, 0.0), (2, 2000), (60, 2000 * (1 + 60 * rise)), wander_rpm=0.0))
    assert len(found) >= 3
    assert max(found) < 0.01


def hunting(amplitude: float) -> pd.DataFrame:
    """A governor that hunts about 2200 rpm, once in 40 s, for 50 s; flow goes as speed."""
    table = run((5, 0.0), (0.1, 2200), (50, 2200), (1, 0.0), (3, 0.0), wander_rpm=0.0)
    since = table["time_s"] - 5.1
    swings = 1 + amplitude * np.cos(2 * np.pi * since / 40)
    table["speed_rpm"] *= np.where((since > 0) & (since < 50), swings, 1.0)
    table["zeroed_dp_pa"] = 3000 * (table["speed_rpm"] / 2750) ** 2
    return table


def test_speed_within_half_a_percent_of_one_level_is_one_hold() -> None:
    (point,) = kept(hunting(0.004))
    assert point.start_s == pytest.approx(5.1 + AIR_S, abs=0.6)
    assert point.end_s > 55.1 - 2
    assert spans(hunting(0.004)) == [pytest.approx(0.008, abs=1e-3)]


@pytest.mark.parametrize("amplitude", [0.006, 0.007])
def test_speed_that_leaves_half_a_percent_about_one_level_is_no_longer_that_hold(
    amplitude: float,
) -> None:
    found = spans(hunting(amplitude))
    assert len(found) == 3  # about the top, about the bottom, about the top again
    assert max(found) < 2 * 0.0048


@pytest.mark.parametrize(("short", "time_constant_s"), [(0.03, 4.0), (0.02, 3.0)])
def test_a_point_begins_when_the_flow_is_within_half_a_percent_of_its_later_value(
    short: float, time_constant_s: float
) -> None:
    """Speed is there at once; flow over speed begins short by 3 % and comes in exponentially, as a
    tank fills: 0.4 % are left after 4 s ln(3 / 0.4) = 8.1 s."""
    table = run((5, 0.0), (0.1, 2400), (40, 2400), (1, 0.0), (3, 0.0), wander_rpm=0.0)
    since = np.maximum(table["time_s"] - 5.1, 0)
    ratio = 1 - short * np.exp(-since / time_constant_s)
    table["zeroed_dp_pa"] = 3000 * (table["speed_rpm"] / 2750 * ratio) ** 2
    (point,) = kept(table)
    within = 5.1 + time_constant_s * np.log(short / 0.004)
    assert point.start_s == pytest.approx(within, abs=0.7)
    assert point.end_s > 43


def test_a_short_hold_is_named_with_its_length() -> None:
    table = run((5, 0.0), (2, 2000), (5.0, 2000), (2, 2700), (20, 2700))
    (short,) = [stretch for stretch in find_settled(table) if stretch.rejected]
    assert short.speed_rpm == pytest.approx(2000, rel=0.005)
    length = int(short.rejected.removeprefix("held for ").split(" s, ")[0])
    assert abs(length - 5) <= 1
    assert short.rejected == f"held for {length} s, 8 s are needed"
    assert [stretch.speed_rpm > 2600 for stretch in kept(table)] == [True]


def test_a_long_hold_is_cut_into_parts() -> None:
    found = kept(run((5, 0.0), (2, 2700), (200, 2700)))
    assert len(found) == 4
    assert all(SHORTEST_S < stretch.end_s - stretch.start_s <= LONGEST_S for stretch in found)


def test_flow_that_moves_at_steady_speed_does_not_count() -> None:
    table = run((5, 0.0), (2, 2700), (30, 2700))
    table["zeroed_dp_pa"] *= np.where(table["time_s"] > 20, 0.5, 1.0)
    stretches = find_settled(table)
    assert [stretch.rejected for stretch in stretches] == [
        "the flow did not hold still, although the speed did"
    ]

"""Speed from edges: exact over whole turns, whatever the marks do."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from pullcurve.measure.shaft_speed import marks


def blocks(edges_s: NDArray[np.float64], until_s: float, length_s: float = 0.1) -> pd.DataFrame:
    """What a board sends of these edges: a row a block."""
    rows = []
    last = None
    for start in np.arange(0, until_s, length_s):
        inside = edges_s[(edges_s >= start) & (edges_s < start + length_s)]
        known = inside if last is None else np.concatenate(([last], inside))
        intervals = np.diff(known)
        rows.append(
            (
                len(inside),
                inside[0] if len(inside) else 0.0,
                inside[-1] if len(inside) else 0.0,
                intervals.min() if len(intervals) else 0.0,
                intervals.max() if len(intervals) else 0.0,
                0,
                False,
            )
        )
        last = inside[-1] if len(inside) else last
    return pd.DataFrame(
        rows,
        columns=[
            "edges",
            "first_s",
            "last_s",
            "least_interval_s",
            "greatest_interval_s",
            "rejects",
            "after_gap",
        ],
    )


def turning(rpm: float, offsets: list[float], until_s: float) -> NDArray[np.float64]:
    """Edges of a shaft at constant speed whose marks lie at (k + offset) pitches."""
    turn_s = 60 / rpm
    count = int(until_s / turn_s)
    angle = (np.arange(len(offsets)) + offsets) / len(offsets)
    return (np.arange(count)[:, None] + angle).ravel() * turn_s + 0.003


@settings(max_examples=40, deadline=None)
@given(
    rpm=st.one_of(st.floats(600, 6000), st.sampled_from([1730.0, 2710.0, 3390.0])),
    offsets=st.lists(st.floats(-0.05, 0.05), min_size=1, max_size=6),
)
def test_uneven_marks_cancel_over_whole_turns(rpm: float, offsets: list[float]) -> None:
    seen = marks(blocks(turning(rpm, offsets, 42.0), 42.0), len(offsets))
    measured, uncertainty = seen.between(1.0, 41.0)
    assert abs(measured - rpm) < 2 * uncertainty
    assert uncertainty < 2e-4 * rpm
    if rpm in (1730.0, 2710.0, 3390.0):  # else it may be long until the same mark ends a block
        assert measured == pytest.approx(rpm, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    rpm=st.floats(900, 4500),
    number=st.integers(2, 4),
    seed=st.integers(0, 2**32 - 1),
)
def test_missed_and_doubled_marks_are_put_right(rpm: float, number: int, seed: int) -> None:
    """One mark in fifty missed, one in a hundred seen twice, 10 us of jitter."""
    generator = np.random.default_rng(seed)
    edges = turning(rpm, [0.0] * number, 20.0)
    pitch = 60 / rpm / number
    edges = edges + generator.normal(0, 10e-6, len(edges))
    doubled = edges[generator.random(len(edges)) < 0.01] + 0.2 * pitch
    kept = edges[generator.random(len(edges)) > 0.02]
    seen = marks(blocks(np.sort(np.concatenate((kept, doubled))), 20.0), number)
    measured, _ = seen.between(1.0, 19.0)
    assert measured == pytest.approx(rpm, rel=1e-3)
    assert seen.missed > 0


def test_a_standing_shaft_is_zero_and_an_unseen_one_is_unknown() -> None:
    edges = turning(3000, [0.0, 0.0], 20.0)
    edges = edges[(edges > 5) & ((edges < 12) | (edges > 13.5))]
    seen = marks(blocks(edges, 30.0), 2)
    speed = seen.at(np.array([2.0, 8.0, 12.75, 16.0, 25.0]))
    assert speed[[0, 4]].tolist() == [0.0, 0.0]
    assert speed[[1, 3]] == pytest.approx([3000, 3000], rel=1e-6)
    assert np.isnan(speed[2])


def test_turning_that_was_not_seen_all_the_way_has_no_mean_speed() -> None:
    edges = turning(3000, [0.0, 0.0], 20.0)
    seen = marks(blocks(edges[(edges < 8) | (edges > 12)], 20.0), 2)
    assert np.isnan(seen.between(7.0, 14.0)[0])
    assert seen.between(5.0, 14.0)[0] == pytest.approx(3000, rel=1e-9)
    assert seen.between(12.0, 19.0)[0] == pytest.approx(3000, rel=1e-9)


def often_missed(seed: int) -> tuple[float, float, float, int]:
    """Speed and its U95, each over the true speed, of 20 s of a wandering shaft of which one or
    two marks are often missed; the true number of missed marks, and how many were counted."""
    generator = np.random.default_rng(seed)
    number = int(generator.integers(2, 13))
    rpm = generator.uniform(700, 2750)
    if generator.random() < 0.4:  # a block lasts as long as some whole turns
        rpm = 600 * round(rpm / 600) + generator.normal()
    offsets = np.clip(generator.normal(0, generator.uniform(0.002, 0.02), number), -0.04, 0.04)
    chance = np.zeros(number)
    chance[generator.permutation(number)[: generator.integers(1, 3)]] = generator.uniform(0.05, 0.8)
    edges = turning(rpm, list(offsets), 20.0)
    rate, wander = 0.7, generator.uniform(0, 0.0015)
    edges = edges + wander / rate * np.sin(rate * edges)
    kept = edges[generator.random(len(edges)) >= np.resize(chance, len(edges))]
    missed = len(edges) - len(kept)
    kept = kept + generator.normal(0, 8e-6, len(kept))
    second = kept[generator.random(len(kept)) < 0.003] + generator.uniform(450e-6, 900e-6)
    seen = marks(blocks(np.sort(np.concatenate((kept, second))), 20.0), number)
    speed, uncertainty = seen.between(2.0, 18.0)
    steady = np.linspace(0, 20, 200_001)  # the times at which a steady shaft would be as far
    turned = np.interp([2.0, 18.0], steady + wander / rate * np.sin(rate * steady), steady)
    true = rpm * (turned[1] - turned[0]) / 16
    return speed / true, 2 * uncertainty / true, missed, seen.missed


def test_marks_that_are_often_missed_cost_no_speed() -> None:
    found = np.array([often_missed(seed) for seed in range(60)])
    error = np.abs(found[:, 0] - 1)
    assert np.mean(error < 5e-4) >= 0.95
    assert np.mean(error <= found[:, 1]) >= 0.95
    assert np.mean(found[:, 1] < 5e-4) >= 0.95
    assert np.mean(np.abs(found[:, 3] / found[:, 2] - 1) < 0.15) >= 0.95


def test_a_pitch_that_competes_with_another_widens_the_speed() -> None:
    """One of two marks is hardly ever seen, the other one half of the time."""
    generator = np.random.default_rng(3)
    edges = turning(1450.0, [0.0, 0.01], 20.0)
    seen = generator.random(len(edges)) < np.resize([0.5, 0.03], len(edges))
    speed, uncertainty = marks(blocks(edges[seen], 20.0), 2).between(2.0, 18.0)
    assert abs(speed - 1450) < 2 * uncertainty


def test_a_gap_of_some_marks_is_counted_at_the_speed_around_it() -> None:
    """One mark a turn, seen every second time by chance; here and there six are missed at once."""
    generator = np.random.default_rng(5)
    edges = turning(1450.0, [0.0], 60.0)
    seen = marks(blocks(edges[generator.random(len(edges)) > 0.5], 60.0), 1)
    speed, uncertainty = seen.between(2.0, 58.0)
    assert speed == pytest.approx(1450, rel=2e-4)
    assert abs(speed - 1450) < 2 * uncertainty


@settings(max_examples=30, deadline=None)
@given(rpm=st.floats(900, 4000), share=st.floats(0.0, 0.06), seed=st.integers(0, 1000))
def test_lost_blocks_cost_no_turns(rpm: float, share: float, seed: int) -> None:
    table = blocks(turning(rpm, [0.0, 0.01], 30.0), 30.0)
    kept = np.random.default_rng(seed).random(len(table)) >= share
    table["after_gap"] = np.concatenate(([False], ~kept[:-1]))
    seen = marks(table[kept], 2)
    assert seen.between(2.0, 28.0)[0] == pytest.approx(rpm, rel=1e-4)

"""Speed from edges: exact over whole turns, whatever the marks do."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from pullcurve.reduction.speed import marks


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


@settings(max_examples=60, deadline=None)
@given(
    rpm=st.floats(600, 6000),
    offsets=st.lists(st.floats(-0.08, 0.08), min_size=1, max_size=6),
)
def test_uneven_marks_cancel_over_whole_turns(rpm: float, offsets: list[float]) -> None:
    seen = marks(blocks(turning(rpm, offsets, 12.0), 12.0), len(offsets))
    measured, uncertainty = seen.between(1.0, 11.0)
    assert measured == pytest.approx(rpm, rel=1e-9)
    assert uncertainty < 1e-4 * rpm


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


@pytest.mark.parametrize("chance", [0.1, 0.3, 0.6])
@pytest.mark.parametrize("rpm", [1900.0, 3217.0])
def test_one_mark_that_is_often_missed_costs_no_speed(chance: float, rpm: float) -> None:
    generator = np.random.default_rng(7)
    offsets = [0.0, 0.015]
    edges = turning(rpm, offsets, 30.0) + generator.normal(
        0, 8e-6, len(turning(rpm, offsets, 30.0))
    )
    second = np.arange(len(edges)) % 2 == 1
    kept = edges[~(second & (generator.random(len(edges)) < chance))]
    seen = marks(blocks(kept, 30.0), 2)
    assert seen.between(2.0, 28.0)[0] == pytest.approx(rpm, rel=2e-4)
    assert seen.missed == pytest.approx(chance * len(edges) / 2, rel=0.15)


@settings(max_examples=30, deadline=None)
@given(rpm=st.floats(900, 4000), share=st.floats(0.0, 0.06), seed=st.integers(0, 1000))
def test_lost_blocks_cost_no_turns(rpm: float, share: float, seed: int) -> None:
    table = blocks(turning(rpm, [0.0, 0.01], 30.0), 30.0)
    kept = np.random.default_rng(seed).random(len(table)) >= share
    table["after_gap"] = np.concatenate(([False], ~kept[:-1]))
    seen = marks(table[kept], 2)
    assert seen.between(2.0, 28.0)[0] == pytest.approx(rpm, rel=1e-4)

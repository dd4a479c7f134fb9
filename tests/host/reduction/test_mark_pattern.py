"""The number of marks, from their unevenness."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_speed import blocks, turning

from pullcurve.reduction.mark_pattern import pattern
from pullcurve.reduction.speed import marks


def seen(offsets: list[float], rpm: float, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Three holds, one after the other, each a little faster."""
    generator = np.random.default_rng(seed)
    edges = np.concatenate(
        [turning(rpm * factor, offsets, 20.0) + 20.0 * i for i, factor in enumerate((1, 1.13, 1.3))]
    )
    edges = edges + 0.004 * np.sin(edges)  # speed wanders by 0.4 %
    edges = edges[np.concatenate(([True], np.diff(edges) > 1e-3))]
    found = marks(blocks(edges + generator.normal(0, 10e-6, len(edges)), 60.0), 1)
    return found.interval, found.interval_mark


@settings(max_examples=25, deadline=None)
@given(
    number=st.integers(2, 6),
    rpm=st.floats(1200, 3500),
    seed=st.integers(0, 1000),
)
def test_uneven_marks_tell_no_other_number_than_theirs(number: int, rpm: float, seed: int) -> None:
    offsets = np.random.default_rng(seed).normal(0, 0.02, number)
    found = pattern(*seen(list(offsets), rpm, seed), typed=number)
    assert found is not None
    # 1: where a block holds whole turns, one mark alone is seen.
    assert found.period in (1, number)


@pytest.mark.parametrize("number", [2, 3, 4, 6])
@pytest.mark.parametrize("rpm", [1730.0, 2710.0, 3390.0])
def test_uneven_marks_tell_their_number_where_blocks_hold_no_whole_turns(
    number: int, rpm: float
) -> None:
    offsets = np.random.default_rng(number).normal(0, 0.02, number)
    found = pattern(*seen(list(offsets), rpm))
    assert found is not None
    assert found.period == number


@pytest.mark.parametrize("number", [1, 3])
def test_even_marks_tell_nothing(number: int) -> None:
    found = pattern(*seen([0.0] * number, 2710.0))
    assert found is not None
    assert found.period == 1
    assert found.resolved < 1e-3

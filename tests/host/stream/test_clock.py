"""Board seconds from wrapping ticks, against a clock that does not wrap."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.stream.clock import unwrap

PERIOD_S = 2**30 * 1e-6  # ticks_us of a board: 17.9 minutes
BLOCK_US = 100_000


def board_s(true_us: list[int], lag_s: float = 0.0, first_us: int = 0) -> np.ndarray:
    true = np.array(true_us, dtype=np.int64)
    ticks = (true + first_us) % 2**30
    return unwrap(ticks, numbers(true), true * 1e-6 + lag_s, 1000, 30, BLOCK_US)


def numbers(true_us: np.ndarray) -> np.ndarray:
    """Sequence numbers of a board that sends a record a block."""
    return np.arange(len(true_us)) + np.maximum.accumulate(true_us) // BLOCK_US


@settings(max_examples=150, deadline=None)
@given(
    first_us=st.integers(0, 2**30 - 1),
    steps_us=st.lists(st.integers(-(10**7), 2**28), min_size=1, max_size=50),
)
def test_steps_within_a_quarter_period_need_no_host(first_us: int, steps_us: list[int]) -> None:
    true = np.cumsum([0, *steps_us])
    found = board_s(true.tolist(), first_us=first_us)
    np.testing.assert_allclose(found, true * 1e-6, rtol=1e-12, atol=1e-9)


@settings(max_examples=150, deadline=None)
@given(
    first_us=st.integers(0, 2**30 - 1),
    gaps_s=st.lists(st.floats(1.0, 6 * 3600.0), min_size=1, max_size=10),
    drift=st.floats(-200e-6, 200e-6),
    lag_s=st.floats(0, 5.0),
)
def test_a_gap_of_many_periods_is_bridged_by_the_host(
    first_us: int, gaps_s: list[float], drift: float, lag_s: float
) -> None:
    """The board's crystal is off by up to 200e-6 and the last record came late."""
    true_us = np.cumsum([0, *(round(gap * 1e6) for gap in gaps_s)])
    host_s = true_us * 1e-6 * (1 + drift)
    host_s[-1] += lag_s
    ticks = (true_us + first_us) % 2**30
    found = unwrap(ticks, numbers(true_us), host_s, 1000, 30, BLOCK_US)
    np.testing.assert_allclose(found, true_us * 1e-6, rtol=1e-12, atol=1e-9)


@settings(max_examples=150, deadline=None)
@given(
    first_us=st.integers(0, 2**30 - 1),
    lost=st.lists(st.integers(0, 50), min_size=2, max_size=60),
    jump_s=st.floats(-1e6, 1e6),
    where=st.floats(0, 1),
)
def test_a_jump_of_the_hosts_clock_is_no_wrap(
    first_us: int, lost: list[int], jump_s: float, where: float
) -> None:
    """Few records are missing, so the counter cannot have come round."""
    seq = np.cumsum([0, *(1 + gap for gap in lost)])
    true_us = seq * BLOCK_US
    host_s = true_us * 1e-6
    host_s[int(where * len(lost)) :] += jump_s
    found = unwrap((true_us + first_us) % 2**30, seq, host_s, 1000, 30, BLOCK_US)
    np.testing.assert_allclose(found, true_us * 1e-6, rtol=1e-12, atol=1e-9)


def test_an_instant_just_before_the_last_one_is_no_wrap() -> None:
    found = board_s([0, 100_000, 99_000, 200_000], first_us=2**30 - 99_500)
    assert found == pytest.approx([0, 0.1, 0.099, 0.2], abs=1e-9)


def test_other_ticks_than_microseconds_and_no_ticks_at_all() -> None:
    ticks = np.array([65530, 5, 4], dtype=np.int64)
    seq = np.arange(3)
    found = unwrap(ticks, seq, np.zeros(3), 1_000_000, 16, BLOCK_US)
    assert found == pytest.approx([0, 0.011, 0.010], abs=1e-9)
    assert unwrap(ticks[:0], seq[:0], np.zeros(0), 1000, 30, BLOCK_US).size == 0

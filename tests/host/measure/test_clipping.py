"""Ends of the range are found where the readings pile up, and nowhere else."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.measure.clipping import clipped_blocks


def blocks(level: np.ndarray, spread: float, end: int | None, seed: int = 0) -> pd.DataFrame:
    """Blocks of 20 readings about each level, pinned at `end`."""
    generator = np.random.default_rng(seed)
    counts = np.rint(level[:, None] + spread * generator.normal(0, 1, (len(level), 20)))
    if end is not None:
        counts = np.minimum(counts, end)
    counts = counts.astype(np.int64)
    pivot = counts[:, 0]
    d = counts - pivot[:, None]
    return pd.DataFrame(
        {
            "n": 20,
            "pivot": pivot,
            "sum": d.sum(axis=1),
            "sumsq": (d**2).sum(axis=1),
            "least": counts.min(axis=1),
            "greatest": counts.max(axis=1),
            "stale": 0,
            "faulty": 0,
            "clipped": 0,
        }
    )


SWEEP = np.concatenate((np.full(100, 8192.0), np.linspace(8192, 13000, 60), np.full(300, 13000.0)))
TURNING = np.arange(len(SWEEP)) >= 100


@settings(max_examples=40, deadline=None)
@given(spread=st.floats(1.0, 400.0), seed=st.integers(0, 10_000))
def test_a_sweep_within_the_range_has_no_end(spread: float, seed: int) -> None:
    assert not clipped_blocks(blocks(SWEEP, spread, None, seed), TURNING).any()


@pytest.mark.parametrize("spread", [2.0, 50.0, 300.0])
@pytest.mark.parametrize("beyond", [-1.0, 0.5])
def test_an_end_is_found_at_whatever_count_it_lies(spread: float, beyond: float) -> None:
    """Readings whose middle lies beyond the end, or half a standard deviation below it."""
    end = int(13000 + beyond * spread)
    found = clipped_blocks(blocks(SWEEP, spread, end), TURNING)
    assert found[-300:].mean() > 0.9
    assert not found[:100].any()


def test_what_the_firmware_counted_is_believed() -> None:
    table = blocks(SWEEP, 5.0, None)
    table.loc[200, "clipped"] = 1
    assert np.flatnonzero(clipped_blocks(table, TURNING)).tolist() == [200]

"""A block's statistics against those of the readings themselves."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.stream.block import Block
from pullcurve.stream.header import Channel

CHANNEL = Channel("differential_pressure", "Pa", "linear", -500.0, 1500.0, 1000.0, 9000.0, 0, 9999)
PA_A_COUNT = 2000 / 8000
readings = st.lists(st.integers(0, 9999), min_size=1, max_size=40)


def record(counts: list[int], clipped: int = 0) -> dict[str, int]:
    pivot = counts[0] if counts else 0
    off = [count - pivot for count in counts]
    return {
        "n": len(counts),
        "pivot": pivot,
        "sum": sum(off),
        "sumsq": sum(each**2 for each in off),
        "least": min(counts, default=0),
        "greatest": max(counts, default=0),
        "stale": 1,
        "faulty": 2,
        "clipped": clipped,
    }


@settings(deadline=None)
@given(st.lists(readings, min_size=1, max_size=6))
def test_mean_and_spread_are_those_of_the_readings(served: list[list[int]]) -> None:
    block = Block.of(record(counts) for counts in served)
    pressures = [-500 + PA_A_COUNT * (np.array(counts) - 1000) for counts in served]
    np.testing.assert_allclose(block.pressure(CHANNEL), [p.mean() for p in pressures], atol=1e-9)
    spread = [p.std(ddof=1) if len(p) > 1 else np.nan for p in pressures]
    np.testing.assert_allclose(block.spread(CHANNEL), spread, rtol=1e-6, atol=1e-6)
    everything = np.concatenate(pressures)
    assert block.pooled_pressure(CHANNEL) == pytest.approx(everything.mean(), abs=1e-9)


def test_a_block_without_a_reading_has_no_pressure() -> None:
    block = Block.of([record([])])
    assert np.isnan(block.pressure(CHANNEL)).all()
    assert np.isnan(block.spread(CHANNEL)).all()
    assert np.isnan(block.pooled_pressure(CHANNEL))
    assert np.isnan(Block.of([]).pooled_pressure(CHANNEL))


def test_a_channel_that_falls_has_a_spread_that_is_positive() -> None:
    falling = Channel("differential_pressure", "Pa", "linear", 0.0, -800.0, 0.0, 800.0, 0, 800)
    block = Block.of([record([100, 102])])
    assert block.pressure(falling)[0] == pytest.approx(-101)
    assert block.spread(falling)[0] == pytest.approx(np.sqrt(2))

"""Times and numbers of the edges that a record of edges stamps."""

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Integers = NDArray[np.int64]


def signed(ticks: Any, tick_bits: int) -> Integers:
    """Tick differences as the nearest ones to 0, whatever the counter's wraps."""
    half = 1 << tick_bits >> 1
    return np.asarray((np.asarray(ticks, dtype=np.int64) + half) % (2 * half) - half)


def edge_ticks(
    first: Iterable[int], steps: Iterable[tuple[int, ...]], tick_bits: int
) -> tuple[Integers, Integers]:
    """Ticks from the start of each record to its first and to its last edge."""
    begin = signed(list(first), tick_bits)
    period = 1 << tick_bits
    passed = [sum(step % period for step in each) for each in steps]
    return begin, begin + np.array(passed, dtype=np.int64)


def stamps(
    edges: int, stride: int, first: int, steps: tuple[int, ...]
) -> tuple[Integers, Integers]:
    """Numbers within the record, from 0, of the edges that were stamped, and their ticks after
    the record's start. A record without edges has none.

    Notes
    -----
    Edges 0, stride, 2 stride, ... are stamped, as many as there is room for, and the last one.
    """
    if not edges:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    number = np.minimum(np.arange(len(steps) + 1) * stride, edges - 1)
    number[-1] = edges - 1
    return number, first + np.concatenate(([0], np.cumsum(np.array(steps, dtype=np.int64))))

"""Times and numbers of the edges that a record of edges stamps."""

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any, NamedTuple

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


class Part(NamedTuple):
    """A stretch between stamps: how many edges it has, the ticks of the first and the last one
    after the record's start, and the least and the greatest interval that ends in it."""

    edges: int
    first: int
    last: int
    least: int
    greatest: int


def parts(
    edges: int,
    stride: int,
    first: int,
    steps: tuple[int, ...],
    extremes: tuple[int, int],
    length: int,
) -> Iterator[Part]:
    """A record of edges, cut at stamps into parts of `length` ticks and more; one part where it
    has no stamps between its first and its last edge.

    Parameters
    ----------
    edges, stride, first, steps
        The record's fields; ticks.
    extremes
        Its least and greatest interval, ticks.
    length
        Least length of a part, ticks.

    Notes
    -----
    Between two stamps that are more than one edge apart the edges are taken to lie evenly, and
    the record's extreme intervals to lie in the part whose intervals are the least and the
    greatest on an average.
    """
    number, at = stamps(edges, stride, first, steps)
    least, greatest = extremes
    if len(number) < 3 or at[-1] - at[0] < 2 * length:
        if len(number):
            yield Part(edges, first, int(at[-1]), least, greatest)
        return
    cuts = [0]
    for i in range(1, len(at)):
        if at[i] - at[cuts[-1]] >= length:
            cuts.append(i)
    if at[-1] - at[cuts[-1]] < length / 2:
        cuts.pop()
    cuts.append(len(at) - 1)
    mean = np.diff(at[cuts]) / np.diff(number[cuts])
    slowest, fastest = int(mean.argmax()), int(mean.argmin())
    for i, (a, b) in enumerate(pairwise(cuts)):
        low, high = round(mean[i]), round(mean[i])
        begin = first if i == 0 else int(at[a] + (at[a + 1] - at[a]) / (number[a + 1] - number[a]))
        yield Part(
            int(number[b] - number[a]) + (i == 0),
            begin,
            int(at[b]),
            min(low, least) if i == fastest else low,
            max(high, greatest) if i == slowest else high,
        )

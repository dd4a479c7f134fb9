"""Times and numbers of the edges that a record of edges stamps."""

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Integers = NDArray[np.int64]

# Of a record's usual interval, beyond which a single one has lost or won an edge.
MISSED, DOUBLED = 1.5, 0.65


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
    Between two stamps the edges are taken to lie evenly, but where the step between them is not as
    long as its number of edges at the record's usual interval: there a mark was missed or seen
    twice. The record's extreme intervals lie in the part of which that is so; where it is so of
    none, in the first one, which the interval from the record before ends.
    """
    number, at = stamps(edges, stride, first, steps)
    least, greatest = extremes
    if len(number) < 3 or at[-1] - at[0] < 2 * length:
        if len(number):
            yield Part(edges, first, int(at[-1]), least, greatest)
        return
    step, passed = np.diff(at), np.diff(number)
    usual = float(np.median(step / passed))
    excess = np.round(step / usual).astype(np.int64) - passed
    missed = greatest > MISSED * usual and not (excess > 0).any()
    doubled = least < DOUBLED * usual and not (excess < 0).any()
    cuts = [0]
    for i in range(1, len(at)):
        if at[i] - at[cuts[-1]] >= length:
            cuts.append(i)
    if at[-1] - at[cuts[-1]] < length / 2:
        cuts.pop()
    cuts.append(len(at) - 1)
    for i, (a, b) in enumerate(pairwise(cuts)):
        own = slice(a, b)
        mean = step[own] / passed[own]
        low, high = mean.min(), mean.max()
        if (excess[own] < 0).any() or (i == 0 and doubled):
            low = least
        if (excess[own] > 0).any():
            high = max(high, (excess[own].max() + 1) * usual)
        elif i == 0 and missed:
            high = greatest
        yield Part(
            int(number[b] - number[a]) + (i == 0),
            first if i == 0 else int(at[a] + mean[0]),
            int(at[b]),
            max(round(low), least),
            min(round(high), greatest),
        )

"""How many marks a shaft carries, from how unevenly they are spaced.

Marks put on by hand are uneven by a part of a per cent or more, and what is uneven comes again
after a whole turn. So the intervals between neighbouring marks, each in typical intervals there,
repeat with the true number of marks: the analysis of variance of the intervals over the count
of marks modulo M finds it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

MOST_MARKS = 12
WORTH = 0.3  # of what is left unexplained: a further mark explains most of it
CHUNK = 72
PARTS = 5  # of a run, each asked by itself
CHANCE = 1e-6  # of a pattern that is none, for each M that is tried
USUAL = 0.1  # intervals farther from 1 than this are faults, not spacing

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pattern:
    """`period`: marks after which the intervals repeat, 1 where no pattern shows;
    `unevenness`: the pattern's standard deviation, in intervals; `resolved`: the standard
    deviation that a pattern must have to be seen; `tried`: the periods that most parts of the run
    could be asked for."""

    period: int
    unevenness: float
    resolved: float
    tried: frozenset[int]


def pattern(interval: Array, mark: Array, typed: int = 1) -> Pattern | None:
    """The pattern of a shaft's intervals, None where they are too few.

    interval: in typical intervals, in the order of time; mark: the count of the mark that
    begins each; typed: the number that is believed, which a lesser one must not only nearly
    explain. The count may slip where speed changes fast, so means are taken within chunks
    of CHUNK intervals. Source: one-way analysis of variance, F test (any textbook of
    statistics).
    """
    usual = np.abs(interval - 1) < USUAL
    value, index = interval[usual], np.round(mark[usual]).astype(np.int64)
    parts = [
        _pattern(v, i, typed)
        for v, i in zip(np.array_split(value, PARTS), np.array_split(index, PARTS), strict=True)
        if len(v) >= CHUNK
    ]
    if not parts:
        return None
    # At a speed at which blocks hold nearly whole turns a part may mislead; not most of them.
    periods = [part.period for part in parts]
    common = max(sorted(set(periods)), key=periods.count)
    # A part of the turn that is believed may repeat almost: then all must agree.
    needed = len(periods) if typed % common == 0 and typed != common else len(periods) // 2 + 1
    if periods.count(common) < needed:
        common = 1
    chosen = [part for part in parts if part.period == common] or parts
    return Pattern(
        common,
        float(np.mean([part.unevenness for part in chosen])) if common > 1 else 0.0,
        float(np.median([part.resolved for part in parts]) / np.sqrt(len(parts))),
        frozenset(
            period
            for period in range(1, MOST_MARKS + 1)
            if 2 * sum(period in part.tried for part in parts) > len(parts)
        ),
    )


def _pattern(value: Array, index: NDArray[np.int64], typed: int) -> Pattern:
    chunks = len(value) // CHUNK
    value, index = value[: chunks * CHUNK], index[: chunks * CHUNK]
    # Winsorised, against the few intervals that a fault has bent.
    value = np.clip(value, *np.quantile(value, (0.005, 0.995)))
    value = (
        value.reshape(chunks, CHUNK) - value.reshape(chunks, CHUNK).mean(axis=1)[:, None]
    ).ravel()
    total = float(np.sum(value**2))
    resolved = float(np.sqrt(8 * total) / len(value))
    chunk = np.repeat(np.arange(chunks), CHUNK)
    # period: what it explains of the total sum of squares, and with how many means
    explained = {1: (0.0, chunks)}
    for period in range(2, MOST_MARKS + 1):
        group = chunk * period + index % period
        number = np.bincount(group, minlength=chunks * period)
        fair = (number >= CHUNK / (2 * period)).reshape(chunks, period).all(axis=1)
        if fair.mean() < 0.5:
            continue  # most chunks see some marks hardly ever
        sums = np.bincount(group, value, minlength=chunks * period)
        seen = number > 0
        explained[period] = (float(np.sum(sums[seen] ** 2 / number[seen])), int(seen.sum()))
    # The least period beside which no other one explains more than chance does.
    for period, (gained, means) in explained.items():
        if not any(
            _more_than_chance(more - gained, others - means, total - more, len(value) - others)
            for other, (more, others) in explained.items()
            if other > period
        ):
            break
    if typed % period == 0 and typed in explained and period > 1:
        gained, means = explained[period]
        more, others = explained[typed]
        if _more_than_chance(more - gained, others - means, total - more, len(value) - others, 0.0):
            period = typed
    if period == 1:
        return Pattern(1, 0.0, resolved, frozenset(explained))
    unevenness = float(np.sqrt(explained[period][0] / len(value)))
    return Pattern(period, unevenness, resolved, frozenset(explained))


def _more_than_chance(
    gain: float, steps: int, left: float, freedom: int, worth: float = WORTH
) -> bool:
    if gain < worth * (gain + left) or steps <= 0 or freedom <= 0:
        return False
    ratio = (gain / steps) / max(left / freedom, 1e-30)
    return float(special.fdtrc(steps, freedom, ratio)) < CHANCE

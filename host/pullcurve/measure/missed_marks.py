"""How many marks pass in each block, where the pickup misses some of them or sees some twice.

A block tells how many edges it saw and when the last one came, its least and its greatest interval,
and the interval to its first edge from the edge before it. An interval between edges is a whole
number of pitches. So each number of marks that a block may have held gives a pitch, and speed
changes little from one block to the next: the run's most likely sequence of numbers is found, and
of a stretch of level speed it is asked how much less likely another sequence is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from pullcurve.measure.true_runs import true_runs
from pullcurve.stream.edges import DOUBLED, MISSED

GREATEST_GAP_S, GREATEST_GAP = 0.5, 40.0  # without edges; in pitches
FEW_PITCHES = 10.0  # are counted through a gap however slow the shaft
NEIGHBOURS = 11  # blocks, over which the pitch is a mean
UNLIKE = 1.35  # the mean interval, of extreme ones that are no sign of missed marks
NEAR, LONGEST = 50, 5000  # blocks around such a sign; blocks that are looked at as a whole
LEVEL, LEVEL_BLOCKS, LEVEL_LEAST = 0.008, 5, 20  # of the pitch, over blocks on either side
LEAPS = 0.02  # of the pitch, likewise: no speed that counts as settled
SHIFTS = (-1, 1, -2, 2)  # marks a block, by which a whole stretch may be counted wrongly
TIMES = (2.0, 0.5)  # of the pitch: the same
CERTAIN = 8.0  # log likelihoods by which a sequence is preferred to all others

# Costs, in log likelihoods. Judgements; a study of random shafts bears them out.
AGAINST = 7.0  # number of edges and extreme intervals contradict the number of marks
SEEN_TWICE, AT_HALF = 3.0, 1.5  # a mark; the second time just halfway to the next mark
NONE_SINGLE = 0.25  # no interval of one pitch in a block
MANY_MISSED = 0.3  # a mark, beyond two of a turn or half of all
OFF_PITCHES, OFF_MOST, OFF_WEIGHT = 0.05, 3.0, 0.5  # an interval beside whole pitches
EXTREME_FREE = 0.08  # uneven marks make the least interval small, and the greatest great
RAMP = 4.0  # at most, the change of the speed
JUMP, JUMP_FREE, JUMP_S = 100.0, 0.25, 0.1  # no shaft's speed changes so much so soon

Array = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Blocks:
    """Of each block with edges: their `number`, the time `since_s` the last edge of the block
    before, its extreme intervals, and the interval `first_s` that its first edge ends."""

    number: Array
    since_s: Array
    least_s: Array
    greatest_s: Array
    first_s: Array

    def of(self, which: NDArray[np.bool_] | slice) -> "Blocks":
        return Blocks(
            self.number[which],
            self.since_s[which],
            self.least_s[which],
            self.greatest_s[which],
            self.first_s[which],
        )


@dataclass(frozen=True)
class Counted:
    """A value a block. `passed`: marks since the block before, NaN where that was not counted;
    `late_s`: how long after its mark the last edge came, being the second one of the mark;
    `doubt`: how far the speed is off, relative, if another sequence is right that is nearly as
    likely."""

    passed: Array
    late_s: Array
    doubt: Array


def count_marks(blocks: Blocks, known: NDArray[np.bool_], marks_per_turn: int) -> Counted:
    """The most likely number of marks in each block.

    known: blocks before which neither records are missing nor the shaft stood. Blocks with a long
    gap are left out; their marks come from the pitch around them.
    """
    passed = np.full(len(known), np.nan)
    late_s, doubt = np.zeros(len(known)), np.zeros(len(known))
    least = _rolling(np.where(known, blocks.least_s, np.nan)).min()
    with np.errstate(invalid="ignore"):
        mean = _rolling(np.where(known, blocks.since_s / blocks.number, np.nan)).median()
    pitch = np.fmax(least.to_numpy(), mean.to_numpy() / 5)
    known = known & (blocks.greatest_s < np.minimum(GREATEST_GAP_S, GREATEST_GAP * pitch))
    if not known.any():
        return Counted(passed, late_s, doubt)
    of, pitch = blocks.of(known), pitch[known]
    follows = np.diff(np.flatnonzero(known), prepend=-2) == 1
    marks = of.number.copy()
    doubtful = _doubtful(of)
    for piece in _pieces(doubtful):
        candidates = _candidates(of.of(piece), pitch[piece], marks_per_turn)
        marks[piece] = _most_likely(of.of(piece), candidates, follows[piece], marks_per_turn)
    change = _change(np.log(mean_pitch(of.since_s, marks)))
    # A speed that leaps about is no shaft's: the sequence lost its way there.
    off = np.where(change > LEAPS, change, 0.0)
    stretches = _level(change)
    for stretch in stretches:
        off[stretch] = 0.0
        if doubtful[stretch].any():
            marks[stretch], off[stretch] = _compared(of.of(stretch), marks[stretch], marks_per_turn)
    for before, after in pairwise(stretches):
        between = slice(before.stop, after.start)
        bridged = _bridged(of, marks, before, after)
        if bridged is not None:
            marks[between] = bridged
            off[between] = max(off[before][-1], off[after][0])
    doubt[known] = off
    passed[known], late_s[known] = _second_edges_off(of, marks, follows)
    return Counted(passed, late_s, doubt)


def mean_pitch(since_s: Array, passed: Array) -> Array:
    """Time a mark, as a mean over neighbouring blocks; blocks that are NaN have no part in it."""
    counted = np.isfinite(passed)
    seconds = pd.Series(np.where(counted, since_s, 0.0)).rolling(NEIGHBOURS, 1, center=True).sum()
    marks = pd.Series(np.where(counted, passed, 0.0)).rolling(NEIGHBOURS, 1, center=True).sum()
    return np.asarray((seconds / marks.where(marks > 0)).to_numpy(), dtype=np.float64)


def _rolling(values: Array) -> "pd.api.typing.Rolling[pd.Series[float]]":
    return pd.Series(values).rolling(2 * NEIGHBOURS - 1, min_periods=1, center=True)


def _doubtful(blocks: Blocks) -> NDArray[np.bool_]:
    """Blocks near one whose intervals are not all alike; elsewhere every mark made one edge."""
    pitch = blocks.since_s / blocks.number
    odd = (blocks.greatest_s > UNLIKE * pitch) | (blocks.least_s * UNLIKE < pitch)
    odd |= np.abs(np.diff(np.log(pitch), prepend=np.log(pitch[0]))) > np.log(UNLIKE)
    near = pd.Series(odd.astype(float)).rolling(2 * NEAR + 1, 1, center=True).max()
    return np.asarray(near.to_numpy() > 0)


def _pieces(doubtful: NDArray[np.bool_]) -> Iterator[slice]:
    for run in true_runs(doubtful):
        for part in range(run.start, run.stop, LONGEST):
            yield slice(part, min(part + LONGEST, run.stop))


def _candidates(blocks: Blocks, pitch: Array, marks_per_turn: int) -> Array:
    """Numbers of marks, a row a block, NaN where a row has fewer: from every third edge a second
    one of its mark, to two marks of a turn never seen."""
    unseen = min(2 / marks_per_turn + 0.12, 0.8)
    low = np.maximum(np.ceil(blocks.number / 1.5) - 1, 1)
    high = 2 + np.ceil(
        np.maximum(blocks.number / (1 - unseen), blocks.number - 1 + blocks.greatest_s / pitch)
    )
    marks = low[:, None] + np.arange(int((high - low).max()) + 1)
    return np.where(marks <= high[:, None], marks, np.nan)


def _evidence(blocks: Blocks, marks: Array, marks_per_turn: int) -> Array:
    """Log likelihood of each number of marks (a row a block) from the block alone."""
    number = blocks.number[:, None]
    pitch = blocks.since_s[:, None] / marks
    least, greatest = blocks.least_s[:, None] / pitch, blocks.greatest_s[:, None] / pitch
    doubled, missed = least < DOUBLED, greatest > MISSED
    more = marks - number
    contradicts = np.where(
        missed,
        ~doubled & (more < np.round(greatest) - 1),
        np.where(doubled, more >= 0, more != 0),
    )
    score = -AGAINST * contradicts
    score -= np.where(doubled, SEEN_TWICE + AT_HALF * (np.abs(least - 0.5) < 0.05), 0.0)
    score -= np.where(least > MISSED, NONE_SINGLE, 0.0)
    score -= MANY_MISSED * np.maximum(more - min(2 / marks_per_turn, 0.5) * marks - 1, 0)
    for interval, free in (
        (least, EXTREME_FREE),
        (greatest, EXTREME_FREE),
        (blocks.first_s[:, None] / pitch, 0.0),
    ):
        off = np.maximum(np.abs(interval - np.round(interval)) - free, 0) / OFF_PITCHES
        cost = OFF_WEIGHT * np.minimum(off**2 / 2, OFF_MOST)
        score -= np.where((interval > DOUBLED) & (interval < 6.5), cost, 0.0)
    return np.asarray(score, dtype=np.float64)


def _most_likely(
    blocks: Blocks, marks: Array, follows: NDArray[np.bool_], marks_per_turn: int
) -> Array:
    """The sequence of candidates that is most likely as a whole, the pitch being continuous.

    Source: Viterbi, IEEE Transactions on Information Theory 13 (1967) 260, from memory. The
    change of the pitch's logarithm has a Cauchy density, as wide as wander and uneven marks.
    """
    score = np.where(np.isnan(marks), -np.inf, _evidence(blocks, marks, marks_per_turn))
    log_pitch = np.log(blocks.since_s[:, None] / marks)
    own = 0.001 + (0.03 if marks_per_turn > 1 else 0.01) / marks
    came_from = np.zeros(marks.shape, dtype=np.int64)
    total = score[0]
    columns = np.arange(marks.shape[1])
    for i in range(1, len(marks)):
        change = np.abs(log_pitch[i][:, None] - log_pitch[i - 1])
        longer = max(1.0, float(blocks.since_s[i]) / JUMP_S)
        cost = np.log1p((change / (own[i][:, None] + own[i - 1]) / longer) ** 2)
        cost = np.minimum(cost, RAMP)
        if follows[i]:
            free = JUMP_FREE * longer
            cost += JUMP * np.maximum(change - free, 0)
        likely = np.where(np.isnan(cost), -np.inf, total - cost)
        came_from[i] = likely.argmax(axis=1)
        total = score[i] + likely[columns, came_from[i]]
    path = np.zeros(len(marks), dtype=np.int64)
    path[-1] = total.argmax()
    for i in range(len(marks) - 1, 0, -1):
        path[i - 1] = came_from[i, path[i]]
    return np.asarray(marks[np.arange(len(marks)), path], dtype=np.float64)


def _change(log_pitch: Array) -> Array:
    """The pitch's relative change around each block."""
    change = np.zeros(len(log_pitch))
    width = LEVEL_BLOCKS
    change[width:-width] = np.abs(log_pitch[2 * width :] - log_pitch[: -2 * width])
    return change


def _level(change: Array) -> list[slice]:
    """The stretches of blocks in which the pitch hardly changes."""
    return [run for run in true_runs(change < LEVEL) if run.stop - run.start >= LEVEL_LEAST]


def _compared(blocks: Blocks, marks: Array, marks_per_turn: int) -> tuple[Array, float]:
    """The numbers of a level stretch, compared with those of other pitches: the better ones, and
    how far the speed is off if another pitch is right."""
    pitch = mean_pitch(blocks.since_s, marks)
    usual = float(np.median(marks))
    near = [1.0, *(usual / (usual + more) for more in SHIFTS if abs(more) < usual / 4)]
    ratios = np.array([*near, *TIMES])
    others = np.maximum(np.round(blocks.since_s[:, None] / (pitch[:, None] * ratios)), 1)
    others[:, 0] = marks
    likely = _evidence(blocks, others, marks_per_turn).sum(axis=0)
    # A pitch twice as long has every other mark of a turn: this tells nothing about it.
    repeating = [_repeating(blocks, row, marks_per_turn) for row in others.T[: len(near)]]
    likely += np.concatenate((repeating, [repeating[0]] * len(TIMES)))
    same = (others == marks[:, None]).mean(axis=0) > 0.5
    likely[1:][same[1:]] = -np.inf
    best = int(likely[: len(near)].argmax())
    off = np.abs(ratios[best] / ratios - 1)
    return others[:, best], float(off[likely > likely[best] - CERTAIN].max())


def _bridged(blocks: Blocks, marks: Array, before: slice, after: slice) -> Array | None:
    """The numbers between two level stretches of one speed, close to each other, where the
    sequence went over from one number to another; None if the speeds are not the same."""
    ends = (
        slice(before.stop - LEVEL_LEAST, before.stop),
        slice(after.start, after.start + LEVEL_LEAST),
    )
    pitches = [float(blocks.since_s[end].sum() / marks[end].sum()) for end in ends]
    near = after.start - before.stop <= LEVEL_LEAST
    if not near or abs(np.log(pitches[0] / pitches[1])) > LEVEL:
        return None
    since_s = blocks.since_s[before.stop : after.start]
    return np.asarray(np.maximum(np.round(2 * since_s / sum(pitches)), 1), dtype=np.float64)


def _repeating(blocks: Blocks, marks: Array, marks_per_turn: int) -> float:
    """Log likelihood of where marks are missed and how they are spaced, being the same in
    every turn: only a sequence of right numbers finds the same mark again.

    Whether a mark is seen has a chance of its own, which is not known (beta-binomial); an
    interval's departure from one pitch has a mean of its own (Schwarz's criterion; any textbook
    of statistics).
    """
    if marks_per_turn == 1:
        return 0.0
    interval = blocks.first_s / mean_pitch(blocks.since_s, marks)
    steps = np.round(interval).astype(np.int64)
    before = np.concatenate(([0.0], np.cumsum(marks)[:-1])).astype(np.int64)
    use = np.flatnonzero((interval > DOUBLED) & (steps <= 6))
    total = 0.0
    # In chunks: one wrong number in a long stretch would mix up the marks.
    for part in np.array_split(use, max(len(use) // 40, 1)):
        seen = np.bincount((before + steps)[part] % marks_per_turn, minlength=marks_per_turn)
        unseen = np.zeros(marks_per_turn)
        for step in range(1, 6):
            index = (before[part[steps[part] > step]] + step) % marks_per_turn
            unseen += np.bincount(index, minlength=marks_per_turn)
        total += float(np.sum(special.betaln(seen + 1, unseen + 0.5) - special.betaln(1, 0.5)))
        single = part[steps[part] == 1]
        if len(single) > 10:
            index, off = before[single] % marks_per_turn, interval[single] - 1
            number = np.bincount(index, minlength=marks_per_turn)
            mean = np.bincount(index, off, minlength=marks_per_turn) / np.maximum(number, 1)
            left = np.mean((off - mean[index]) ** 2) + 0.004**2  # wander and jitter
            total -= (len(single) * np.log(left) + np.sum(number > 0) * np.log(len(single))) / 2
    return total


def _second_edges_off(
    blocks: Blocks, marks: Array, follows: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """The numbers, with last edges that were second ones of their marks put back to the mark, and
    how late those edges were.

    Such an edge lies between marks by what the next interval is short of whole pitches.
    """
    pitch = mean_pitch(blocks.since_s, marks)
    pitches = blocks.since_s / pitch
    short = np.ceil(blocks.first_s / pitch) - blocks.first_s / pitch
    late = np.append(np.where(follows[1:], short[1:], 0.0), 0.0)
    beside = np.abs((pitches - late + 0.5) % 1 - 0.5)
    late = np.where((beside < 0.15) & (late > 0.1) & (late < 0.7), late, 0.0)
    before = np.where(follows, np.concatenate(([0.0], late[:-1])), 0.0)
    true = pitches - late + before
    put_back = (late > 0) | (before > 0)
    marks = np.where(put_back, np.maximum(np.round(true), 1), marks)
    return marks, late * pitch

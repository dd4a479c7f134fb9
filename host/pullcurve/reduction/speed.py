"""Shaft speed from edges, over whole revolutions.

A node is an instant at which the number of marks that have passed is known: the first or the
last edge of a block. Speed between two nodes is marks over time, so no error of a single edge
adds up, and between nodes at which the same mark passes the marks' unevenness cancels.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

STOPPED_S = 2.0  # without an edge: the shaft stands, or nobody saw it turn
UNSEEN_PITCHES = 6.0  # without an edge: too long to know how many marks passed
NEIGHBOURS = 11  # blocks around one, for what is typical there
LEAST_ALIKE = 3  # of them, to take the mean interval from them
MISSED, DOUBLED = 1.5, 0.65  # of the typical interval
NEARLY_WHOLE, MOSTLY = 0.2, 0.6  # of an interval; of the blocks (two fifths are so by chance)
CLOCK_BOUND = 1e-4  # of a board's crystal: 50 ppm typical and its temperature; from memory

Array = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Marks:
    """Marks passed until each node, within stretches of turning that were seen whole.

    A new `stretch` begins after each gap without edges; counts of different stretches do not
    compare. `interval`, a row a pair of neighbouring marks that two blocks part, holds how long
    after the mark `interval_mark` (its count) the next one came, in typical intervals there.
    """

    time_s: Array
    count: Array
    stretch: Integers
    marks_per_turn: int
    interval: Array
    interval_mark: Array
    passed: int
    missed: int
    doubled: int
    rejected: int

    def between(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Mean speed between two times, in rev/min, and its standard uncertainty.

        Where the turning was not seen all the way, that of the longest stretch that was; NaN
        where that is less than half of the time. The uncertainty is that of the board's clock;
        the same mark begins and ends the stretch, so uneven ones do not matter.
        """
        inside = np.flatnonzero((self.time_s >= start_s) & (self.time_s <= end_s))
        runs = [inside[self.stretch[inside] == s] for s in np.unique(self.stretch[inside])]
        spans = [self.time_s[run[-1]] - self.time_s[run[0]] for run in runs]
        if not runs or max(spans) < (end_s - start_s) / 2:
            return np.nan, np.nan
        first, last = self._same_mark(runs[int(np.argmax(spans))])
        marks = self.count[last] - self.count[first]
        seconds = self.time_s[last] - self.time_s[first]
        if marks <= 0 or seconds <= 0:
            return np.nan, np.nan
        rpm = 60 * marks / self.marks_per_turn / seconds
        # Where a part was not seen, speed may have been another one there.
        unseen = 1 - max(spans) / (end_s - start_s)
        return rpm, rpm * float(np.hypot(CLOCK_BOUND, 0.002 * max(unseen - 0.1, 0)) / np.sqrt(3))

    def _same_mark(self, inside: Integers) -> tuple[int, int]:
        """The two nodes farthest apart of those at which the same mark passes."""
        mark = self.count[inside] % self.marks_per_turn
        pairs = [(same[0], same[-1]) for m in np.unique(mark) if len(same := inside[mark == m])]
        first, last = max(pairs, key=lambda pair: self.time_s[pair[1]] - self.time_s[pair[0]])
        return int(first), int(last)

    def at(self, times_s: Array, width_s: float = 1.0) -> Array:
        """Speed around each time, in rev/min: the slope over `width_s`; 0 where the shaft
        stands, NaN where its turning was not seen."""
        if not len(self.time_s):
            return np.zeros(len(times_s))
        low = np.searchsorted(self.time_s, times_s - width_s / 2, side="left")
        high = np.searchsorted(self.time_s, times_s + width_s / 2, side="right") - 1
        low, high = np.clip(low, 0, len(self.time_s) - 1), np.clip(high, 0, None)
        seen = (high > low) & (self.stretch[low] == self.stretch[high])
        seconds = np.where(seen, self.time_s[high] - self.time_s[low], np.nan)
        speed = 60 * (self.count[high] - self.count[low]) / self.marks_per_turn / seconds
        after = np.searchsorted(self.time_s, times_s, side="right")
        padded = np.concatenate(([-np.inf], self.time_s, [np.inf]))
        since, until = times_s - padded[after], padded[after + 1] - times_s
        stands = ~seen & (since + until > STOPPED_S) & (np.minimum(since, until) > width_s / 2)
        return np.where(stands, 0.0, speed)

    def gaps(self) -> list[tuple[float, float]]:
        """The times between which no edge was seen, from one stretch to the next."""
        change = np.flatnonzero(np.diff(self.stretch))
        return [(float(self.time_s[i]), float(self.time_s[i + 1])) for i in change]


def marks(edges: pd.DataFrame, marks_per_turn: int) -> Marks:
    """Count the marks of one pickup.

    edges: a row a block, in order, with `edges`, `first_s`, `last_s` (times of the first and
    the last edge), `least_interval_s`, `greatest_interval_s`, `rejects` and `after_gap` (whether
    records before it are missing). A block in which
    the least or the greatest interval is far from the typical one has missed a mark or seen one
    twice; its number of marks is then the time since the last node over the typical interval.
    """
    rows = edges[edges["edges"] > 0]
    lost = edges["after_gap"].cumsum()[edges["edges"] > 0].diff().to_numpy() > 0
    first_s, last_s = rows["first_s"].to_numpy(float), rows["last_s"].to_numpy(float)
    number = rows["edges"].to_numpy(float)
    least_s = rows["least_interval_s"].to_numpy(float)
    greatest_s = rows["greatest_interval_s"].to_numpy(float)
    since_s = np.diff(last_s, prepend=-np.inf)
    begins = since_s > STOPPED_S
    pitch_s, odd = _pitch(number, np.where(begins | lost, np.nan, since_s), least_s, greatest_s)
    with np.errstate(invalid="ignore"):
        begins |= greatest_s > UNSEEN_PITCHES * pitch_s
        pitches = since_s / pitch_s
    # Of a block before which records are missing, the marks in between were not counted.
    odd = (odd | lost) & ~begins & np.isfinite(pitches)
    passed = np.where(odd, np.round(pitches), number)
    count = np.cumsum(passed)
    # A block's first edge is a node as well, one mark after the last one before it; its last
    # edge is none where it lies between marks.
    with np.errstate(invalid="ignore"):
        nodes = np.column_stack(
            (begins | (~odd & (number > 1)), ~odd | (np.abs(pitches - passed) < 0.1))
        )
    nodes[begins & (number == 1), 1] = False
    times = np.column_stack((first_s, last_s))
    counts = np.column_stack((count - passed + 1, count))
    stretches = np.repeat(np.cumsum(begins, dtype=np.int64)[:, None], 2, axis=1)
    plain = ~odd & ~begins & ~np.roll(odd, 1) & np.isfinite(pitch_s)
    return Marks(
        times[nodes],
        counts[nodes],
        np.asarray(stretches[nodes], dtype=np.int64),
        marks_per_turn,
        interval=((first_s - np.roll(last_s, 1)) / pitch_s)[plain],
        interval_mark=np.roll(count, 1)[plain],
        passed=int(passed.sum()),
        missed=int(np.maximum(passed - number, 0)[~lost].sum()),
        doubled=int(np.maximum(number - passed, 0)[~lost].sum()),
        rejected=int(edges["rejects"].sum()),
    )


def _pitch(
    number: Array, since_s: Array, least_s: Array, greatest_s: Array
) -> tuple[Array, NDArray[np.bool_]]:
    """The mean interval between marks around each block, and whether the block is odd.

    Neighbouring blocks whose intervals are all alike give it exactly. Where none is, as with a
    mark that is often missed, the interval that is typical there is made exact by the whole
    numbers of marks that it gives.
    """
    typical = _typical(number, since_s, least_s, greatest_s)
    with np.errstate(invalid="ignore", divide="ignore"):
        odd = (greatest_s > MISSED * typical) | (least_s < DOUBLED * typical)
        alike = ~odd & np.isfinite(since_s)
        pitch = _summed(np.where(alike, since_s, 0.0)) / _summed(np.where(alike, number, 0.0))
        rough = typical
        for _ in range(2):
            rough = _around(since_s / np.maximum(np.round(since_s / rough), 1))
    return np.where(_summed(alike.astype(float)) >= LEAST_ALIKE, pitch, rough), odd


def _typical(number: Array, since_s: Array, least_s: Array, greatest_s: Array) -> Array:
    """The interval that most marks keep: of each block the mean without least and greatest.

    When a mark is often missed that is no mark's interval, and the times between nodes are no
    whole numbers of it; then it is near the least intervals.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        trimmed = (since_s - least_s - greatest_s) / (number - 2)
        mean = _around(np.where(number >= 4, trimmed, since_s / number))
        pitches = since_s / mean
    whole = np.abs(pitches - np.round(pitches)) < NEARLY_WHOLE
    known = np.isfinite(pitches)
    if known.any() and whole[known].mean() > MOSTLY:
        return mean
    return _around(np.where(least_s > 0, least_s, np.nan))


def _around(values: Array) -> Array:
    rolling = pd.Series(values).rolling(NEIGHBOURS, center=True, min_periods=1)
    return np.asarray(rolling.median(), dtype=np.float64)


def _summed(values: Array) -> Array:
    rolling = pd.Series(values).rolling(NEIGHBOURS, center=True, min_periods=1)
    return np.asarray(rolling.sum(), dtype=np.float64)

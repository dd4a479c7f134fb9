"""Shaft speed from edges, over whole revolutions.

A node is an instant at which the number of marks that have passed is known: the first or the
last edge of a block. Speed between two nodes is marks over time, so no error of a single edge
adds up, and between nodes at which the same mark passes the marks' unevenness cancels.
"""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.measure.missed_marks import (
    FEW_PITCHES,
    GREATEST_GAP,
    GREATEST_GAP_S,
    Blocks,
    count_marks,
    mean_pitch,
)
from pullcurve.stream.edges import DOUBLED, MISSED, edge_ticks

STOPPED_S = 2.0  # without an edge: the shaft stands, or nobody saw it turn
MIN_RECORDS = 5  # of edges, of which the median counts
CLOCK_BOUND = 1e-4  # of a board's crystal: 50 ppm typical and its temperature; from memory
UNEVEN = 0.03  # of a pitch, between different marks (judgement)
LEAST_SEEN = 0.5  # of a time, of which the mean speed is asked
NEAR = 2  # blocks on either side, within which speed hardly wanders
MOSTLY = 0.98  # of a stretch: enough of it
WANDER = 0.001  # of the mean speed, from one part of a settled stretch to another (judgement)

Array = NDArray[np.float64]
Integers = NDArray[np.int64]


class ShaftSpeed(Protocol):
    """Tells a shaft's mean speed over a time."""

    def between(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Mean speed between two times, rev/min, and its standard uncertainty."""
        ...


@dataclass(frozen=True)
class LoggedSpeed:
    """Speed as another logger wrote it down.

    `time_s` and `rpm` are a row a reading; `u_relative` is the instrument's standard uncertainty
    over the reading.
    """

    time_s: Array
    rpm: Array
    u_relative: float

    def between(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Mean of the readings between two times, rev/min, and its standard uncertainty; NaN
        without one."""
        inside = self.rpm[(self.time_s >= start_s) & (self.time_s <= end_s)]
        inside = inside[np.isfinite(inside)]
        if not len(inside):
            return np.nan, np.nan
        mean = float(inside.mean())
        return mean, self.u_relative * mean


@dataclass(frozen=True)
class Marks:
    """Marks passed until each node, within stretches of turning that were seen whole.

    A new `stretch` begins after each gap without edges; counts of different stretches do not
    compare. `doubt`: how far the speed is off there, relative, if other numbers of marks are right
    that are nearly as likely. `interval`, a row a pair of neighbouring marks that two blocks part,
    holds how long after the mark `interval_mark` (its count) the next one came, in typical
    intervals there.
    """

    time_s: Array
    count: Array
    stretch: Integers
    doubt: Array
    marks_per_turn: int
    interval: Array
    interval_mark: Array
    passed: int
    missed: int
    doubled: int
    rejected: int

    def between(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Mean speed between two times, in rev/min, and its standard uncertainty.

        From the stretches that were seen; NaN where they are less than half of the time. The
        uncertainty is that of the board's clock, of what was not seen, and of uneven marks where no
        mark both begins and ends a stretch; where two numbers of marks compete it holds both.
        """
        inside = np.flatnonzero((self.time_s >= start_s) & (self.time_s <= end_s))
        runs = [inside[self.stretch[inside] == s] for s in np.unique(self.stretch[inside])]
        ends = [self._ends(run) for run in runs if len(run) > 1]
        if not ends:
            return np.nan, np.nan
        first, last = np.array(ends, dtype=np.int64).T
        marks = self.count[last] - self.count[first]
        seconds = self.time_s[last] - self.time_s[first]
        seen = float(seconds.sum()) / (end_s - start_s)
        if seen < LEAST_SEEN or marks.min() <= 0:
            return np.nan, np.nan
        rpm = float(60 * marks.sum() / self.marks_per_turn / seconds.sum())
        uneven = UNEVEN * np.sqrt(np.sum(marks % self.marks_per_turn > 0)) / marks.sum()
        parts = (CLOCK_BOUND / np.sqrt(3), uneven, WANDER * (1 - seen))
        # At the ends the pitch around a node is in part that of a ramp.
        well = inside[
            np.abs(self.time_s[inside] - (start_s + end_s) / 2) < (end_s - start_s) / 2 - 1
        ]
        doubt = float(self.doubt[well].max(initial=0.0))
        return rpm, rpm * (float(np.linalg.norm(parts)) + doubt / 2)

    def _ends(self, inside: Integers) -> tuple[int, int]:
        """The two nodes between which speed is known best: those farthest apart of which the
        same mark passes, or if they are not far apart, as when a turn lasts as long as a block,
        those where uneven marks and speed that is not seen matter least."""
        mark = self.count[inside] % self.marks_per_turn
        firsts = np.unique(mark, return_index=True)[1]
        lasts = len(inside) - 1 - np.unique(mark[::-1], return_index=True)[1]
        first, last = (grid.ravel() for grid in np.meshgrid(inside[firsts], inside[lasts]))
        marks = self.count[last] - self.count[first]
        length = (self.time_s[last] - self.time_s[first]) / np.ptp(self.time_s[inside])
        uneven = UNEVEN * (marks % self.marks_per_turn > 0) / np.maximum(marks, 1)
        doubtful = np.hypot(uneven, WANDER * (1 - length))
        doubtful -= (uneven == 0) & (length > MOSTLY)
        best = int(np.argmin(np.where(marks > 0, doubtful, np.inf)))
        return int(first[best]), int(last[best])

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
    first_interval_s = first_s - np.concatenate(([-np.inf], last_s[:-1]))
    seen = Blocks(number, since_s, least_s, greatest_s, first_interval_s)
    counted = count_marks(seen, ~(begins | lost), marks_per_turn)
    last_s = last_s - counted.late_s
    since_s = np.diff(last_s, prepend=-np.inf)
    pitch_s = mean_pitch(since_s, counted.passed)
    with np.errstate(invalid="ignore"):
        odd = (greatest_s > MISSED * pitch_s) | (least_s < DOUBLED * pitch_s)
        longest_s = np.maximum(FEW_PITCHES * pitch_s, GREATEST_GAP_S)
        begins |= greatest_s > np.minimum(GREATEST_GAP * pitch_s, longest_s)
        pitches = np.where(begins, 1 + (last_s - first_s) / pitch_s, since_s / pitch_s)
        longest = greatest_s / pitch_s
        # No sign of a missed mark where it is not, as when the shaft starts or runs down.
        whole = np.abs(longest - np.round(longest)) < 0.15
    # Of a block before which records are missing, the marks in between were not counted.
    odd = (odd | lost | begins) & np.isfinite(pitches)
    rounded = np.where(np.isfinite(counted.passed), counted.passed, np.round(pitches))
    passed = np.where(odd, np.where(begins, np.round(pitches), rounded), number)
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
    plain = ~odd & ~np.roll(odd, 1) & np.isfinite(pitch_s)
    return Marks(
        times[nodes],
        counts[nodes],
        np.asarray(stretches[nodes], dtype=np.int64),
        np.repeat(counted.doubt[:, None], 2, axis=1)[nodes],
        marks_per_turn,
        interval=((first_s - np.roll(last_s, 1)) / _near_pitch(since_s, passed))[plain],
        interval_mark=np.roll(count, 1)[plain],
        passed=int(passed.sum()),
        missed=int(np.maximum(passed - number, 0)[~lost & whole].sum()),
        doubled=int(np.maximum(number - passed, 0)[~lost].sum()),
        rejected=int(edges["rejects"].sum()),
    )


def _near_pitch(since_s: Array, passed: Array) -> Array:
    """Time a mark around each block's beginning, over so few blocks that speed hardly wanders."""
    known = np.isfinite(since_s)
    sums = [
        np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
        for values in (since_s, passed)
    ]
    block = np.arange(len(since_s))
    low, high = np.maximum(block - NEAR, 0), np.minimum(block + NEAR, len(block))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((sums[0][high] - sums[0][low]) / (sums[1][high] - sums[1][low]))


class NewestSpeed:
    """Speed over the newest second of a stream of `edges` records of one pickup.

    The median over records, MIN_RECORDS at the least, so that a mark that was missed or seen twice
    does not matter.
    """

    def __init__(self, marks_per_turn: int, tick_ns: int, tick_bits: int) -> None:
        self._marks = marks_per_turn
        self._tick_s = tick_ns * 1e-9
        self._tick_bits = tick_bits
        self._last: int | None = None  # ticks of the newest edge
        self._next_start: int | None = None
        self._speeds: deque[tuple[float, float]] = deque()  # when, and the speed
        self._turned_s = 0.0
        self._end_s = 0.0

    def add(self, record: Mapping[str, Any]) -> None:
        """Take the fields of the next record."""
        period = 1 << self._tick_bits
        if record["start_ticks"] != self._next_start:  # records are missing
            self._last = None
        self._next_start = (record["start_ticks"] + record["length_ticks"]) % period
        self._end_s += record["length_ticks"] * self._tick_s
        if not record["edges"]:
            return
        first, last = edge_ticks([record["first"]], [record["steps"]], self._tick_bits)
        intervals, since = record["edges"], self._last
        if since is None:
            intervals, since = intervals - 1, record["start_ticks"] + int(first[0])
        self._last = record["start_ticks"] + int(last[0])
        seconds = (self._last - since) % period * self._tick_s
        if 0 < seconds < STOPPED_S:
            self._speeds.append((self._end_s, 60 * intervals / self._marks / seconds))
        while len(self._speeds) > MIN_RECORDS and self._speeds[0][0] <= self._end_s - 1.0:
            self._speeds.popleft()
        self._turned_s = self._end_s

    def turns(self) -> bool:
        """Whether an edge came within the newest STOPPED_S."""
        return self._turned_s > 0 and self._end_s - self._turned_s < STOPPED_S

    def rpm(self) -> float:
        """Revolutions a minute; 0 where the shaft stands, NaN where its speed was not seen."""
        if not self.turns():
            self._speeds.clear()
            return 0.0
        return float(np.median([speed for _, speed in self._speeds] or [np.nan]))

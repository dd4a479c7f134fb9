"""Shaft speed from edges, over whole revolutions.

A node is an instant at which the number of marks that have passed is known: the first or the
last edge of a block. Speed between two nodes is marks over time, so no error of a single edge
adds up, and between nodes a whole number of turns apart the marks' unevenness cancels.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

STOPPED_S = 2.0  # without an edge: the count of marks begins anew
NEIGHBOURS = 9  # blocks whose median interval is the typical one
MISSED, DOUBLED = 1.6, 0.6  # of the typical interval
CLOCK_BOUND = 1e-4  # of a board's crystal: 50 ppm typical and its temperature; from memory

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Marks:
    """Marks passed until each node, within stretches of turning.

    A new `stretch` begins after each stop; counts of different stretches do not compare.
    """

    time_s: Array
    count: Array
    stretch: NDArray[np.int64]
    marks_per_turn: int
    missed: int
    doubled: int
    rejected: int

    def between(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Mean speed between two times, in rev/min, and its standard uncertainty.

        NaN when the shaft's turning was not seen all the way. The uncertainty is that of the
        board's clock; the same mark begins and ends the stretch, so uneven ones do not matter.
        """
        inside = np.flatnonzero((self.time_s >= start_s) & (self.time_s <= end_s))
        if len(inside) < 2 or self.stretch[inside[0]] != self.stretch[inside[-1]]:
            return np.nan, np.nan
        first, last = self._whole_turns(inside)
        marks = self.count[last] - self.count[first]
        seconds = self.time_s[last] - self.time_s[first]
        if marks <= 0 or seconds <= 0:
            return np.nan, np.nan
        rpm = 60 * marks / self.marks_per_turn / seconds
        return rpm, rpm * CLOCK_BOUND / np.sqrt(3)

    def _whole_turns(self, inside: NDArray[np.int64]) -> tuple[int, int]:
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
        turns = (self.count[high] - self.count[low]) / self.marks_per_turn
        speed = 60 * turns / seconds
        after = np.searchsorted(self.time_s, times_s, side="right")
        since = times_s - np.where(after > 0, self.time_s[np.maximum(after - 1, 0)], -np.inf)
        until = (
            np.where(
                after < len(self.time_s),
                self.time_s[np.minimum(after, len(self.time_s) - 1)],
                np.inf,
            )
            - times_s
        )
        stands = ~seen & (since > STOPPED_S / 2) & (until > STOPPED_S / 2)
        return np.where(stands, 0.0, speed)


def marks(edges: pd.DataFrame, marks_per_turn: int) -> Marks:
    """Count the marks of one pickup.

    edges: a row a block, in order, with `edges`, `first_s`, `last_s` (times of the first and
    the last edge), `least_interval_s`, `greatest_interval_s` and `rejects`. A block in which
    the least or the greatest interval is far from the typical one has missed a mark or seen one
    twice; its number of marks is then the time since the last node over the typical interval.
    """
    rows = edges[edges["edges"] > 0]
    last_s = rows["last_s"].to_numpy(float)
    number = rows["edges"].to_numpy(float)
    since_s = np.diff(last_s, prepend=-np.inf)
    begins = since_s > STOPPED_S
    greatest_s = rows["greatest_interval_s"].to_numpy(float)
    least_s = rows["least_interval_s"].to_numpy(float)
    typical_s = _typical_interval(number, np.where(begins, np.nan, since_s), least_s, greatest_s)
    with np.errstate(invalid="ignore"):
        odd = (greatest_s > MISSED * typical_s) | (least_s < DOUBLED * typical_s)
        pitches = since_s / typical_s
    odd &= ~begins & np.isfinite(pitches)
    passed = np.where(odd, np.round(pitches), number)
    count = np.cumsum(passed)
    # A block's first edge is a node as well, one mark after the last one before it; its last
    # edge is none where it lies between marks.
    nodes = np.column_stack((begins | (~odd & (number > 1)), ~odd | (abs(pitches - passed) < 0.1)))
    times = np.column_stack((rows["first_s"].to_numpy(float), last_s))
    counts = np.column_stack((count - passed + 1, count))
    stretches = np.repeat(np.cumsum(begins, dtype=np.int64)[:, None], 2, axis=1)
    single = begins & (number == 1)
    nodes[single, 1] = False
    return Marks(
        times[nodes],
        counts[nodes],
        np.asarray(stretches[nodes], dtype=np.int64),
        marks_per_turn,
        missed=int(np.maximum(passed - number, 0).sum()),
        doubled=int(np.maximum(number - passed, 0).sum()),
        rejected=int(edges["rejects"].sum()),
    )


def _typical_interval(number: Array, since_s: Array, least_s: Array, greatest_s: Array) -> Array:
    """Median, over a block and its neighbours, of a block's mean interval; where it has enough
    edges without its least and its greatest."""
    with np.errstate(divide="ignore", invalid="ignore"):
        trimmed = (since_s - least_s - greatest_s) / (number - 2)
        own = pd.Series(np.where(number >= 4, trimmed, since_s / number))
    return own.rolling(NEIGHBOURS, center=True, min_periods=1).median().to_numpy(float)

"""How many marks a shaft carries, from how unevenly they are spaced.

Marks put on by hand are uneven by a part of a per cent or more, and what is uneven comes again
after a whole turn. So the intervals between neighbouring marks, each in pitches of the speed there,
repeat with the true number of marks: how much of their variance a pattern of M marks explains finds
it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MOST_MARKS = 12
CHUNK = 60  # intervals, within which no mark is miscounted
ROUNDS = 6
USUAL = 0.1  # intervals farther from 1 than this are faults, not spacing
# Standard deviations, in intervals. Judgements: marks put on by hand are uneven by more.
TELLING = 0.0013  # wander of the speed makes patterns of less
ALIKE, EVEN = 0.0009, 0.0005
RESOLVED = 0.001
# Parts: speed between uneven marks is not known as well as between even ones.
MORE_TELLING, MORE_ALIKE = 0.33, 0.2  # of the pattern that is there anyway
WORTH = 0.1  # of the variance that is left
BY_CHANCE = 3.0  # times what so many means explain by chance
ABOUT_EVEN = 4.0  # variances of a mean, by which a pattern may seem to be there

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pattern:
    """`explained`: variance of the intervals that a pattern of so many marks explains, from 1 mark
    (none) to MOST_MARKS; `total`: their variance; `number`: of intervals."""

    explained: dict[int, float]
    total: float
    number: int

    @property
    def repeats_after(self) -> int:
        """The least number of marks that explains nearly as much as any."""
        most = max(self.explained.values())
        alike = max(ALIKE, MORE_ALIKE * np.sqrt(most)) ** 2
        return min(marks for marks, part in self.explained.items() if most - part <= alike)

    def contradicts(self, typed: int) -> bool:
        """Whether the intervals repeat, and not with the number of marks that is believed."""
        if typed not in self.explained:
            return False
        best = max(self.explained, key=lambda marks: self.explained[marks])
        own, most = self.explained[typed], self.explained[best]
        left = self.total - most
        telling = max(TELLING, MORE_TELLING * np.sqrt(own)) ** 2
        by_chance = BY_CHANCE * best * left / self.number
        return most - own > telling + by_chance and most - own > WORTH * left

    def part_of(self, typed: int) -> int | None:
        """The least part of a believed turn after which the intervals repeat as evenly as no marks
        put on by hand do, if the intervals resolve that."""
        if typed not in self.explained:
            return None
        own = self.explained[typed]
        of_mean = (self.total - own) / self.number
        if 8 * of_mean > RESOLVED**2:
            return None
        for part in range(1, typed):
            more = own - self.explained[part]
            if typed % part == 0 and more < EVEN**2 + ABOUT_EVEN * of_mean:
                return part
        return None


def pattern(interval: Array, mark: Array) -> Pattern | None:
    """The pattern of a shaft's intervals, None where they are too few.

    interval: in pitches of the speed there, in the order of time; mark: the count of the mark that
    begins each. The count may slip where speed changes fast, so it is believed within chunks of
    CHUNK intervals only, and each chunk is turned until it fits the others best: a pattern that
    wander feigns in one of them is none in the next.
    """
    usual = np.abs(interval - 1) < USUAL
    chunks = int(usual.sum()) // CHUNK
    if not chunks:
        return None
    value = interval[usual][: chunks * CHUNK]
    index = np.round(mark[usual][: chunks * CHUNK]).astype(np.int64)
    # Winsorised, against the few intervals that a fault has bent.
    value = np.clip(value, *np.quantile(value, (0.005, 0.995))).reshape(chunks, CHUNK)
    value = (value - value.mean(axis=1)[:, None]).ravel()
    explained = {marks: _explained(value, index, marks) for marks in range(2, MOST_MARKS + 1)}
    return Pattern({1: 0.0, **explained}, float(np.mean(value**2)), len(value))


def _explained(value: Array, index: NDArray[np.int64], marks: int) -> float:
    """The variance that one pattern of so many marks explains, every chunk turned to fit it."""
    chunks = len(value) // CHUNK
    group = np.repeat(np.arange(chunks), CHUNK) * marks + index % marks
    number = np.bincount(group, minlength=chunks * marks).reshape(chunks, marks)
    total = np.bincount(group, value, minlength=chunks * marks).reshape(chunks, marks)
    turned = (np.arange(marks)[:, None] + np.arange(marks)) % marks
    numbers, totals = number[:, turned], total[:, turned]  # chunk, turn, mark
    own = total**2 / np.maximum(number, 1)
    first = int(own.sum(axis=1).argmax())
    means = total[first] / np.maximum(number[first], 1)
    for _ in range(ROUNDS):
        turn = (2 * totals @ means - numbers @ means**2).argmax(axis=1)
        at = np.arange(chunks)
        summed, counted = totals[at, turn].sum(axis=0), numbers[at, turn].sum(axis=0)
        means = summed / np.maximum(counted, 1)
    return float(np.sum(summed**2 / np.maximum(counted, 1)) / len(value))

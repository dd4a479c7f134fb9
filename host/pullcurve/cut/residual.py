"""Level and scatter of a residual whose neighbouring values hang together.

A cumulative sum designed for independent values alarms far too often when they are not: with
an autocorrelation of 0.5 after one step, and a design of 465 steps, every 51 (two-sided, k 0.5,
h 5). So the sum runs on what is new in each value: the difference between it and what the two
before it foretold, by a second-order autoregression whose coefficients come from the residual
itself (Yule-Walker equations). Those differences are independent, and the published run
lengths hold.
Source: Alwan and Roberts, J. Business and Economic Statistics 6 (1988) 87-95, who chart such
residuals (from memory); the tests simulate the case.
"""

import math
from collections.abc import Sequence
from typing import Final

WINSOR: Final = 3.0  # standard deviations: what is further off is counted as so far
GREATEST: Final = 0.97  # sum of the coefficients: a level of its own is kept apart
BEND: Final = 2  # samples


class Level:
    """Level, scatter and coefficients of a residual, learned with fading memory.

    The level forgets over `level_s`, the scatter over `scatter_s`; at first the level is a plain
    mean, and the scatter that of a cut like others. `known_s`: how long has been learned from.
    """

    def __init__(self, step_s: float, level_s: float, scatter_s: float, scatter: float) -> None:
        self._step_s, self._level_s, self._scatter_s = step_s, level_s, scatter_s
        self.level = math.nan
        self.known_s = 0.0
        self._before: list[float] = []
        self.rescatter(scatter)

    def relearn(self, level: float, known_s: float = 0.0) -> None:
        """The level has jumped for good: go on from here, with the scatter as it was.

        known_s: from how long this level is known."""
        self.level = level
        self.known_s = known_s
        self._before = []

    def rescatter(self, scatter: float) -> None:
        """What scatters now is something else: it begins as in a cut like others."""
        self._seen_s = 0.0
        # Products of a departure with itself, with the one before, and with the one before that.
        self._products = [scatter**2, 0.6 * scatter**2, 0.4 * scatter**2]

    def skip(self) -> None:
        """The next value does not follow the last one."""
        self._before = []

    def learn(self, value: float) -> None:
        if math.isnan(self.level):
            self.level = value
        self.known_s += self._step_s
        self._seen_s += self._step_s
        reach = WINSOR * self.scatter
        off = max(-reach, min(reach, value - self.level))
        self.level += self._step_s / min(self.known_s, self._level_s) * off
        share = self._step_s / min(self._seen_s + self._scatter_s / 6, self._scatter_s)
        self._products[0] += share * (off * off - self._products[0])
        for lag, before in enumerate(reversed(self._before), start=1):
            self._products[lag] += share * (off * before - self._products[lag])
        self._before = [*self._before[-1:], off]

    @property
    def scatter(self) -> float:
        return math.sqrt(self._products[0])

    def foretold(self) -> tuple[float, float, float]:
        """Coefficients of the two departures before, the last first, and the standard deviation
        of what they do not foretell."""
        variance, one, two = self._products
        if variance <= 0:
            return 0.0, 0.0, 0.0
        r1 = max(-0.5, min(one / variance, GREATEST))
        r2 = max(2 * r1 * r1 - 1, min(two / variance, GREATEST))
        a = r1 * (1 - r2) / (1 - r1 * r1)
        b = (r2 - r1 * r1) / (1 - r1 * r1)
        if a + b > GREATEST:
            a, b = a * GREATEST / (a + b), b * GREATEST / (a + b)
        left = max(1 - a * r1 - b * r2, 0.02)
        return a, b, math.sqrt(variance * left)

    def mean_u(self, seconds: float) -> float:
        """Standard uncertainty of a mean over so long."""
        a, b, new = self.foretold()
        return min(new / (1 - a - b) / math.sqrt(max(seconds / self._step_s, 1.0)), self.scatter)


def bends(values: Sequence[float]) -> list[float]:
    """How far each value lies off the line between those BEND before and behind: unevenness that
    no drift shows in."""
    return [
        abs(values[i] - 2 * values[i + BEND] + values[i + 2 * BEND])
        for i in range(len(values) - 2 * BEND)
    ]

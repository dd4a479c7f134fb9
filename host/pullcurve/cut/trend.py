"""Slow change: a straight line through means over POINT_S.

A slope counts when it is certain for the scatter about its line and the correlation of that
scatter, and when no step does as well: spoil that gets heavier at once and stays so gives a slope
over the whole. What begins at some time is sought in windows that end now, both halves of which
must show it (`strongest`); what goes on all the time has one line (`behind_step`), which is less
often steep by chance, and one through the visits to clean running (`of_visits`). Least squares; the
variance of the slope times (1 + phi) / (1 - phi) for residuals of an AR(1) process with phi
estimated and its bias for short windows taken off (Kendall, Biometrika 41 (1954) 403; from memory).
"""

import math
from collections import deque
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr

from pullcurve.cut.residual import bends

POINT_S: Final = 10.0
WINDOWS: Final = (12, 18, 27, 40, 60, 90, 135, 200, 300)  # points; and all of them
MOST_POINTS: Final = 600  # then two and two become one
SPLICED: Final = 6  # points on either side of a change of speed that are made to agree
FLOOR: Final = 0.0015  # scatter of a point that no residual shows
# How much better a step must fit than a line, as n times the logarithm of their ratio of squares:
# so that no line is claimed, and so that the line begins anew behind it. A step, with its place to
# choose, gains LIKELY_STEP in white scatter about a faint line in 1 of 20.
LIKELY_STEP, CLEAR_STEP = 8.0, 25.0
STEP_ENDS: Final = 3  # points that lie before and behind a step, at least
LEAST_LASTING: Final = 12  # points
# Visits to clean running between stretches of work: samples of one, at least and at most; the
# median of its bends, at most, where no spoil scatters; how much visits differ for no reason, and
# how sure that is (judgement).
VISIT_LEAST, VISIT_MOST, VISIT_GAP_S = 12, 240, 1.5
VISIT_ROUGHNESS: Final = 0.012
VISIT_SCATTER, VISITS_KNOWN = 0.005, 8

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Slope:
    """A straight line's change from the window's beginning to its end."""

    start_s: float
    end_s: float
    change: float
    change_u: float
    freedom: float  # degrees of it that the scatter was found with

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s

    @property
    def certain(self) -> float:
        """How many standard deviations of a normal distribution are as far off zero as this is
        of Student's."""
        return float(-ndtri(max(self._by_chance, 1e-300)))

    def times(self, factor: float) -> "Slope":
        return replace(self, change=self.change * factor, change_u=self.change_u * factor)

    def sure(self, looks: int) -> float:
        """Probability that scatter alone does not show as much in so many independent looks."""
        return max(1.0 - looks * self._by_chance, 0.0)

    @property
    def _by_chance(self) -> float:
        return float(stdtr(self.freedom, -abs(self.change) / self.change_u))


def slope(time_s: Array, values: Array) -> Slope:
    """The line through a window's points; three at least."""
    rate, left, spread = _line(time_s, values)
    count = len(values)
    variance = float(left @ left) / (count - 2)
    phi = 0.0
    if variance > 0 and count > 4:
        phi = float(left[1:] @ left[:-1]) / float(left @ left)
        phi = min(max(phi + (1 + 4 * phi) / count, 0.0), 0.9)
    scatter_u = np.sqrt(max(variance, FLOOR**2) * (1 + phi) / (1 - phi) / spread)
    length = float(time_s[-1] - time_s[0])
    freedom = max((count - 2) * (1 - phi) / (1 + phi), 1.0)
    return Slope(
        float(time_s[0]), float(time_s[-1]), rate * length, float(scatter_u) * length, freedom
    )


def _line(time_s: Array, values: Array) -> tuple[float, Array, float]:
    """Least squares: rate, residuals, and the squares of time about its mean."""
    x = time_s - time_s.mean()
    spread = float(x @ x)
    rate = float(x @ values) / spread
    return rate, values - values.mean() - rate * x, spread


def steady(time_s: Array, values: Array, sign: float) -> bool:
    """Whether both halves go the way of `sign`, each by more than its standard uncertainty."""
    middle = len(values) // 2
    halves = (slope(time_s[:middle], values[:middle]), slope(time_s[middle:], values[middle:]))
    return all(half.change * sign > half.change_u for half in halves)


def strongest(time_s: Array, values: Array, sign: float, least: float) -> Slope | None:
    """Of the windows that end now, the most certain one whose change is `least` or more in the
    direction of `sign`."""
    best: Slope | None = None
    for count in sorted({*(w for w in WINDOWS if w < len(values)), len(values)}):
        if count < WINDOWS[0]:
            continue
        t, v = time_s[-count:], values[-count:]
        found = slope(t, v)
        if found.change * sign < least or (best and found.certain <= best.certain):
            continue
        if steady(t, v, sign):
            best = found
    return best


def behind_step(time_s: Array, values: Array) -> Slope | None:
    """The line behind the last clear step, if no step fits what lies there better."""
    while len(values) >= LEAST_LASTING:
        place, gain = best_step(time_s, values)
        if gain < LIKELY_STEP:
            return slope(time_s, values)
        if gain < CLEAR_STEP:
            return None
        time_s, values = time_s[place:], values[place:]
    return None


def of_visits(time_s: Array, values: Array) -> Slope | None:
    """The line through visits to clean running, two at least: how much alike they are is known
    from a judgement, which counts as VISITS_KNOWN of them."""
    if len(values) < 2:
        return None
    rate, left, spread = _line(time_s, values)
    freedom = len(values) - 2 + VISITS_KNOWN
    variance = (float(left @ left) + VISITS_KNOWN * VISIT_SCATTER**2) / freedom
    length_s = float(time_s[-1] - time_s[0])
    change_u = length_s * math.sqrt(variance / spread)
    return Slope(float(time_s[0]), float(time_s[-1]), rate * length_s, change_u, freedom)


def pooled(lines: list[Slope]) -> Slope:
    """The rate of change that all lines share, each weighted by its certainty."""
    rates = np.array([line.change / line.length_s for line in lines])
    weights = np.array([(line.length_s / line.change_u) ** 2 for line in lines])
    shares = weights / weights.sum()
    start_s, end_s = min(line.start_s for line in lines), max(line.end_s for line in lines)
    # Welch and Satterthwaite: JCGM 100:2008, G.4.1.
    freedom = 1 / sum(w**2 / line.freedom for w, line in zip(shares, lines, strict=True))
    length_s = end_s - start_s
    return Slope(
        start_s,
        end_s,
        float(shares @ rates) * length_s,
        length_s / math.sqrt(weights.sum()),
        float(freedom),
    )


def best_step(time_s: Array, values: Array) -> tuple[int, float]:
    """Where one step fits best, and how much better than a line: n ln of the ratio of their sums
    of squared residuals, twice the logarithm of their ratio of likelihoods (white scatter)."""
    count = len(values)
    off, left = values - values.mean(), _line(time_s, values)[1]
    line = float(left @ left)
    before = np.arange(STEP_ENDS, count - STEP_ENDS + 1)
    gained = np.cumsum(off)[before - 1] ** 2 * count / (before * (count - before))
    best = int(np.argmax(gained))
    step = float(off @ off) - float(gained[best])
    floor = count * FLOOR**2
    return int(before[best]), count * float(np.log((line + floor) / (step + floor)))


class Points:
    """Means over POINT_S of several residuals, of quiet samples only."""

    def __init__(self, names: tuple[str, ...], least_samples: int) -> None:
        self._names = names
        self._least = least_samples
        self._bin: int | None = None
        self._samples: list[tuple[float, ...]] = []
        self._rows: list[tuple[float, ...]] = []
        self._anchor: Array | None = None
        self._fresh = 0
        self._offset = np.zeros(1 + len(names))

    def __len__(self) -> int:
        return len(self._rows)

    def splice(self) -> None:
        """What comes now was measured at another speed: it goes on from where it was."""
        if self._anchor is not None:
            self._rows, self._fresh = self._joined(), 0
        elif len(self._rows) >= SPLICED:
            self._anchor = np.array(self._rows[-SPLICED:]).mean(axis=0)
            self._fresh = 0
        else:
            self._rows = []
        self._samples = []

    def forget(self, from_s: float) -> None:
        """What came since then was not quiet after all."""
        self._samples = [row for row in self._samples if row[0] < from_s]

    def add(self, time_s: float, values: tuple[float, ...]) -> bool:
        """Whether a point has been completed."""
        place = int(time_s / POINT_S)
        done = False
        if self._bin is not None and place != self._bin:
            if len(self._samples) >= self._least:
                self._rows.append(tuple((np.array(_middle(self._samples)) + self._offset).tolist()))
                self._join()
                done = True
                if len(self._rows) > MOST_POINTS:
                    self._rows = _halved(self._rows)
            self._samples = []
        self._bin = place
        self._samples.append((time_s, *values))
        return done

    def _join(self) -> None:
        if self._anchor is None:
            return
        self._fresh += 1
        if self._fresh == SPLICED:
            off = self._anchor - np.array(self._rows[-SPLICED:]).mean(axis=0)
            off[0] = 0.0  # the time
            off = np.nan_to_num(off)
            self._offset = self._offset + off
            joined = np.array(self._rows[-SPLICED:]) + off
            self._rows[-SPLICED:] = [tuple(row) for row in joined.tolist()]
            self._anchor = None

    def _joined(self) -> list[tuple[float, ...]]:
        return self._rows[: len(self._rows) - self._fresh]

    def column(self, name: str) -> tuple[Array, Array]:
        """Times and values of the points at which this residual is known, but for those that have
        not been joined to what was before them."""
        rows = self._rows if self._anchor is None else self._joined()
        if not rows:
            return np.empty(0), np.empty(0)
        table = np.array(rows)
        values = table[:, 1 + self._names.index(name)]
        known = np.isfinite(values)
        return table[known, 0], values[known]


class Visits:
    """A residual's median over each stay at clean running: the nozzle is out of the spoil before
    work and now and then during it, and no spoil scatters there."""

    def __init__(self) -> None:
        self._stay: deque[tuple[float, float]] = deque(maxlen=VISIT_MOST)
        self._done: deque[tuple[float, float]] = deque(maxlen=MOST_POINTS)

    def add(self, time_s: float, value: float) -> None:
        if self._stay and time_s - self._stay[-1][0] > VISIT_GAP_S:
            self._close()
        self._stay.append((time_s, value))

    def take(self, time_s: Array, values: Array) -> None:
        """What is found out to have been one."""
        if len(values):
            self._done.append((float(np.median(time_s)), float(np.median(values))))

    def forget(self, from_s: float) -> None:
        """What came since then was not quiet after all."""
        while self._stay and self._stay[-1][0] >= from_s:
            self._stay.pop()

    def begin_anew(self) -> None:
        """What comes now was measured at another speed."""
        self._stay.clear()
        self._done.clear()

    def all_over(self, now_s: float) -> tuple[Array, Array]:
        """Times and medians of the stays that are over."""
        if self._stay and now_s - self._stay[-1][0] > VISIT_GAP_S:
            self._close()
        time_s, values = np.array(self._done).reshape(-1, 2).T
        return time_s, values

    def _close(self) -> None:
        if len(self._stay) >= VISIT_LEAST:
            time_s, values = np.array(self._stay).T
            if np.median(bends(values.tolist())) < VISIT_ROUGHNESS:
                self.take(time_s, values)
        self._stay.clear()


def _middle(samples: list[tuple[float, ...]]) -> tuple[float, ...]:
    """The mean of each residual without a tenth at either end: small lumps fall out."""
    ordered = np.sort(np.array(samples), axis=0)
    cut = len(ordered) // 10
    return tuple(ordered[cut : len(ordered) - cut].mean(axis=0).tolist())


def _halved(rows: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
    """The older half of the points, two and two as one."""
    old = np.array(rows[: len(rows) // 4 * 2])
    pairs = old.reshape(-1, 2, old.shape[1]).mean(axis=1)
    return [tuple(row) for row in pairs.tolist()] + rows[len(old) :]

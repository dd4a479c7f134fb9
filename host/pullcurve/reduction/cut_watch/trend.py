"""Slow change: a straight line through means over POINT_S, in windows that end now.

A slope counts when it is certain for the scatter about its line and the correlation of that
scatter, and when both halves of the window show it: a load of spoil that steps from one level
to another gives a slope over the whole, and none in one half. Least squares; the variance of
the slope times (1 + phi) / (1 - phi) for residuals of an AR(1) process with phi estimated and
its bias for short windows taken off (Kendall, Biometrika 41 (1954) 403; from memory).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr

POINT_S: Final = 10.0
WINDOWS: Final = (12, 18, 27, 40, 60, 90, 135, 200, 300)  # points; and all of them
MOST_POINTS: Final = 600  # then two and two become one
SPLICED: Final = 6  # points on either side of a change of speed that are made to agree
FLOOR: Final = 0.0015  # scatter of a point that no residual shows

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
    def certain(self) -> float:
        """How many standard deviations of a normal distribution are as far off zero as this is
        of Student's."""
        share = stdtr(self.freedom, -abs(self.change) / self.change_u)
        return float(-ndtri(max(share, 1e-300)))


def slope(time_s: Array, values: Array) -> Slope:
    """The line through a window's points; three at least."""
    x = time_s - time_s.mean()
    spread = float(x @ x)
    rate = float(x @ values) / spread
    left = values - values.mean() - rate * x
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


def steady(time_s: Array, values: Array, sign: float, certain: float) -> bool:
    """Whether both halves go the way of `sign`, by so many standard uncertainties."""
    middle = len(values) // 2
    halves = (slope(time_s[:middle], values[:middle]), slope(time_s[middle:], values[middle:]))
    return all(half.change * sign > certain * half.change_u for half in halves)


def strongest(
    time_s: Array, values: Array, sign: float, least: float, of_halves: float = 1.0
) -> Slope | None:
    """Of the windows that end now, the most certain one whose change is `least` or more in the
    direction of `sign`. of_halves: how many standard uncertainties each half must show."""
    best: Slope | None = None
    for count in sorted({*(w for w in WINDOWS if w < len(values)), len(values)}):
        if count < WINDOWS[0]:
            continue
        t, v = time_s[-count:], values[-count:]
        found = slope(t, v)
        if found.change * sign < least or (best and found.certain <= best.certain):
            continue
        if steady(t, v, sign, of_halves):
            best = found
    return best


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
        if len(self._rows) >= SPLICED:
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

    def column(self, name: str) -> tuple[Array, Array]:
        """Times and values of the points at which this residual is known."""
        if not self._rows:
            return np.empty(0), np.empty(0)
        table = np.array(self._rows)
        values = table[:, 1 + self._names.index(name)]
        known = np.isfinite(values)
        return table[known, 0], values[known]


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

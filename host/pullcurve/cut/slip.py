"""How the blower's slip shows in a cut's own fluctuation."""

import math
from typing import Final

SLIP_RPM, SLIP_RPM_U = 150.0, 150.0  # at 1 psi, before this run has shown its own (judgement)


class SlipSlope:
    """How what the blower takes in a turn falls with X/N, from this run's own fluctuation.

    Least squares on the differences of means over 2 s, with the judgement above as a prior.
    """

    MEAN: Final = 4

    def __init__(self) -> None:
        self._waiting: list[tuple[float, float]] = []
        self._before: tuple[float, float] | None = None
        self._first: float | None = None
        self._hh = self._hg = self._gg = 0.0
        self._count = 0

    def skip(self) -> None:
        self._waiting, self._before = [], None

    def add(self, turn: float, slip: float) -> None:
        self._first = self._first or turn
        self._waiting.append((turn, slip))
        if len(self._waiting) < self.MEAN:
            return
        now = (
            sum(g for g, _ in self._waiting) / self.MEAN,
            sum(h for _, h in self._waiting) / self.MEAN,
        )
        self._waiting = []
        if self._before is not None:
            dg, dh = now[0] - self._before[0], now[1] - self._before[1]
            self._hh += dh * dh
            self._hg += dh * dg
            self._gg += dg * dg
            self._count += 1
        self._before = now

    def value(self) -> tuple[float, float]:
        """Fall of a turn's volume for each X/N, and its standard uncertainty."""
        if self._first is None:
            return 0.0, 0.0
        prior, prior_u = self._first * SLIP_RPM, self._first * SLIP_RPM_U
        noise = (1e-2 * self._first) ** 2
        if self._count > 30 and self._hh > 0:
            noise = max((self._gg - self._hg**2 / self._hh) / self._count, noise / 400)
        weight, own = 1 / prior_u**2, self._hh / noise
        return (prior * weight - self._hg / noise) / (weight + own), 1 / math.sqrt(weight + own)

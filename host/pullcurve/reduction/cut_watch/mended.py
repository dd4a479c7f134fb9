"""Whether a stop of the engine has done away with a slow loss: a filter changed, a gasket seated.

What a residual was in the last two minutes before the stop is held against the first two after it,
at the same speed. Between them nothing else is meant to have changed, but spoil may have: so the
change back must be more than half of the loss, and more than CERTAIN times its standard
uncertainty, from means over twenty seconds.
"""

import math
from collections import deque
from typing import Final

import numpy as np

STOOD_S: Final = 60.0  # of the engine: in less nobody opens a filter
LONG, LEAST, PART = 240, 160, 40  # samples: of a stretch, of the shortest, of a mean
SAME_SPEED: Final = 0.03
BACK: Final = 0.5  # of the loss
CERTAIN: Final = 4.0
REMEMBERED: Final = 8  # stretches, each at its own speed


class Stops:
    """Fed with quiet samples, each residual under a name of its own."""

    def __init__(self) -> None:
        self._speed_rpm = math.nan
        self._stretch: dict[str, deque[float]] = {}
        self._held: deque[tuple[float, dict[str, deque[float]]]] = deque(maxlen=REMEMBERED)
        self._before: list[tuple[float, dict[str, deque[float]]]] = []

    def add(self, name: str, value: float, speed_rpm: float) -> None:
        if not math.isfinite(value):
            return
        if not abs(speed_rpm / self._speed_rpm - 1) < SAME_SPEED:
            self._put_by()
            self._speed_rpm = speed_rpm
        self._stretch.setdefault(name, deque(maxlen=LONG)).append(value)

    def stood(self) -> None:
        """The engine has stood for STOOD_S or longer."""
        self._put_by()
        if self._held:
            self._before = list(self._held)
            self._held.clear()

    def _put_by(self) -> None:
        if self._stretch:
            self._held.append((self._speed_rpm, self._stretch))
        self._stretch, self._speed_rpm = {}, math.nan

    def waits(self, name: str) -> bool:
        """Whether it is still to be seen what the last stop has done to it."""
        return any(name in stretch for _, stretch in self._before)

    def undone(self, name: str, change: float) -> bool:
        """Whether the residual has gone back, over the last stop, from a loss that changed it by
        so much. Asked once for each name and stop, when its first stretch is there."""
        after = self._stretch.get(name, ())
        if not self._before or len(after) < LONG:
            return False
        for speed_rpm, stretch in reversed(self._before):
            if abs(speed_rpm / self._speed_rpm - 1) < SAME_SPEED:
                before = stretch.pop(name, ())
                if len(before) >= LEAST:
                    return _undone(np.array(before), np.array(after), change)
        return False


def _undone(before: np.ndarray, after: np.ndarray, change: float) -> bool:
    (was, was_u), (now, now_u) = (_mean(values) for values in (before, after))
    gone = math.copysign(1.0, change) * (was - now)
    return gone > max(BACK * abs(change), CERTAIN * math.hypot(was_u, now_u))


def _mean(values: np.ndarray) -> tuple[float, float]:
    parts = [part.mean() for part in np.array_split(values, len(values) // PART)]
    return float(np.mean(parts)), float(np.std(parts, ddof=1) / math.sqrt(len(parts)))

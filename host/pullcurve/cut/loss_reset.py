"""Whether a stop of the engine has done away with a slow loss: a filter changed, a gasket seated.

What a residual was in the last two minutes before the stop, LEAST of them at least, is held against
the first two after it, at the same speed. Between them nothing else is meant to have changed, but
spoil may have: so the change back must be more than half of the loss, and more than CERTAIN times
its standard uncertainty, from means over twenty seconds.
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

Stretch = dict[str, deque[float]]


class Stops:
    """Fed with quiet samples, each residual under a name of its own. A stop is judged once, when
    the first LONG samples behind it are there."""

    def __init__(self) -> None:
        self._speed_rpm = math.nan
        self._stretch: Stretch = {}
        self._held: list[tuple[float, Stretch]] = []  # since the last stop, each at its own speed
        self._before: dict[str, list[tuple[float, deque[float]]]] = {}
        self._fallen: dict[str, tuple[float, float]] = {}  # over the last stop, with its u

    def add(self, name: str, value: float, speed_rpm: float) -> None:
        if not math.isfinite(value):
            return
        if not abs(speed_rpm / self._speed_rpm - 1) < SAME_SPEED:
            self._put_by()
            self._speed_rpm = speed_rpm
        stretch = self._stretch.setdefault(name, deque(maxlen=LONG))
        stretch.append(value)
        if len(stretch) == LONG and name in self._before:
            self._judge(name, stretch)

    def stood(self) -> None:
        """The engine has stood for STOOD_S or longer. Where it has only been tried since the stop
        before, what was held ahead of that one counts."""
        self._put_by()
        for speed_rpm, stretch in self._held:
            for name, values in stretch.items():
                if len(values) >= LEAST:
                    earlier = self._before.get(name, [])
                    self._before[name] = [*earlier[1 - REMEMBERED :], (speed_rpm, values)]
        self._held.clear()

    def _put_by(self) -> None:
        if self._stretch:
            self._held = [*self._held[1 - REMEMBERED :], (self._speed_rpm, self._stretch)]
        self._stretch, self._speed_rpm = {}, math.nan

    def _judge(self, name: str, after: deque[float]) -> None:
        for speed_rpm, before in reversed(self._before.pop(name)):
            if abs(speed_rpm / self._speed_rpm - 1) < SAME_SPEED:
                (was, was_u), (now, now_u) = _mean(before), _mean(after)
                self._fallen[name] = was - now, math.hypot(was_u, now_u)
                return

    def waits(self, name: str) -> bool:
        """Whether it is still to be seen what the last stop has done to it."""
        return name in self._before or name in self._fallen

    def undone(self, name: str, change: float) -> bool:
        """Whether the residual has gone back, over the last stop, from a loss that changed it by
        so much."""
        fallen, fallen_u = self._fallen.get(name, (0.0, 1.0))
        gone = fallen * math.copysign(1.0, change)
        return gone > max(BACK * abs(change), CERTAIN * fallen_u)

    def all_asked(self) -> None:
        self._fallen.clear()


def _mean(values: deque[float]) -> tuple[float, float]:
    parts = [part.mean() for part in np.array_split(np.array(values), len(values) // PART)]
    return float(np.mean(parts)), float(np.std(parts, ddof=1) / math.sqrt(len(parts)))

"""What the throttle does, and whether the speed holds where it was left."""

import math
from collections import deque
from typing import Final

import numpy as np

from pullcurve.cut.samples import SAMPLE_S

RUNNING_RPM: Final = 300.0
MOVING: Final = 0.02  # of the speed, within a second
SETTLE_S: Final = 5.0  # after that: engine, tank and hose follow
SAG: Final = 0.02  # of the speed held
MEAN_S: Final = 10.0
HELD_S: Final = 20.0  # from which the held speed is taken
NEW_HOLD: Final = 0.02
BACK: Final = 0.5  # of SAG


class Throttle:
    """Fed with every sample's speed."""

    def __init__(self) -> None:
        self._last: deque[float] = deque(maxlen=3)
        self._mean: deque[float] = deque(maxlen=round(MEAN_S / SAMPLE_S))
        self._held: list[float] = []
        self._settled_at_s = math.inf
        self.held_rpm = math.nan
        self.new_hold = False

    def add(self, time_s: float, speed_rpm: float) -> bool:
        """Whether blower and air are steady. `new_hold` is True once at another speed."""
        self.new_hold = False
        if not speed_rpm > RUNNING_RPM:
            self._last.clear()
            self._mean.clear()
            self._held = []
            self._settled_at_s = math.inf
            return False
        self._last.append(speed_rpm)
        moving = len(self._last) < 3 or abs(self._last[-1] / self._last[0] - 1) > MOVING
        if moving:
            self._settled_at_s = time_s + SETTLE_S
            self._mean.clear()
            self._held = []
            return False
        if time_s < self._settled_at_s:
            return False
        self._mean.append(speed_rpm)
        if len(self._held) < HELD_S / SAMPLE_S:
            self._held.append(speed_rpm)
            held = sorted(self._held)[len(self._held) // 2]
            known = len(self._held) >= MEAN_S / SAMPLE_S
            if known and not abs(held / self.held_rpm - 1) < NEW_HOLD:
                self.new_hold = math.isfinite(self.held_rpm)
                self.held_rpm = held
        return True

    def hold_here(self) -> None:
        """This speed is meant."""
        if math.isfinite(self.mean_rpm):
            self.held_rpm = self.mean_rpm

    @property
    def mean_rpm(self) -> float:
        full = len(self._mean) == self._mean.maxlen
        return sum(self._mean) / len(self._mean) if full else math.nan

    @property
    def sag(self) -> float:
        """By what share the speed has fallen below the one held; NaN before both are known."""
        return 1 - self.mean_rpm / self.held_rpm

    @property
    def sag_u(self) -> float:
        """Its standard uncertainty, from the scatter of the speed in either; what is nearer than
        SETTLE_S counts as one."""
        apart = SETTLE_S / SAMPLE_S
        spreads = (np.std(each) / math.sqrt(len(each) / apart) for each in (self._mean, self._held))
        return float(math.hypot(*spreads) / self.held_rpm)

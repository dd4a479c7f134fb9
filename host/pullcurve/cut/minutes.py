"""The shift in minutes: how much of each was running, quiet, and at enough flow."""

import math
from dataclasses import dataclass
from typing import Final

from pullcurve.cut.samples import SAMPLE_S, Sample

MINUTE_S: Final = 60.0
SHORT: Final = 0.1  # of the working flow at this speed: more missing is not enough
LEAST_QUIET_S: Final = 20.0  # in one piece, to be a point of the report


@dataclass
class Minute:
    """Seconds of one minute, and the longest piece of it that was quiet, with its means."""

    start_s: float
    running_s: float = 0.0
    enough_s: float = 0.0
    short_s: float = 0.0
    quiet_from_s: float = math.inf
    quiet_to_s: float = -math.inf
    speed_rpm: float = math.nan

    @property
    def quiet_s(self) -> float:
        return max(self.quiet_to_s - self.quiet_from_s, 0.0)


class Minutes:
    """One entry a minute, a few dozen bytes: a shift of twelve hours has 720."""

    def __init__(self) -> None:
        self.all: list[Minute] = []
        self._piece_from_s = math.nan
        self._piece_speed = 0.0

    def add(self, sample: Sample, *, steady: bool, quiet: bool, lost: float) -> None:
        """lost: what share of the working flow at this speed is missing."""
        start_s = math.floor((sample.time_s - 1e-6) / MINUTE_S) * MINUTE_S
        if not self.all or self.all[-1].start_s != start_s:
            self.all.append(Minute(start_s))
            self._piece_from_s = math.nan
        minute = self.all[-1]
        if sample.speed_rpm > 0:
            minute.running_s += SAMPLE_S
        if steady:
            if lost > SHORT:
                minute.short_s += SAMPLE_S
            else:
                minute.enough_s += SAMPLE_S
        if not quiet or sample.after_gap:
            self._piece_from_s = math.nan
            return
        if math.isnan(self._piece_from_s):
            self._piece_from_s, self._piece_speed = sample.time_s - SAMPLE_S, 0.0
        length_s = sample.time_s - self._piece_from_s
        self._piece_speed += SAMPLE_S / length_s * (sample.speed_rpm - self._piece_speed)
        if length_s > minute.quiet_s:
            minute.quiet_from_s, minute.quiet_to_s = self._piece_from_s, sample.time_s
            minute.speed_rpm = self._piece_speed

    def forget(self, from_s: float) -> None:
        """What came since then was not quiet after all."""
        self._piece_from_s = math.nan
        for minute in self.all[-2:]:
            minute.quiet_to_s = min(minute.quiet_to_s, from_s)

    def quiet(self) -> list[Minute]:
        """The minutes that make a point."""
        return [minute for minute in self.all if minute.quiet_s >= LEAST_QUIET_S]


MOST_ROWS: Final = 1200


class History:
    """Flow, vacuum and speed over the whole shift, as means, in MOST_ROWS rows at most: when
    they are full, two and two become one."""

    def __init__(self) -> None:
        self.step_s = 2 * SAMPLE_S
        self.rows: list[tuple[float, float, float, float]] = []
        self._place = -1
        self._waiting: list[tuple[float, float, float, float]] = []

    def add(self, sample: Sample) -> None:
        """A row is time [s], mass flow [kg/s], vacuum at the meter [Pa], speed [rpm]."""
        place = int(sample.time_s / self.step_s)
        if place != self._place and self._waiting:
            self.rows.append(_mean(self._waiting))
            self._waiting = []
            if len(self.rows) >= MOST_ROWS:
                self.rows = [_mean(self.rows[i : i + 2]) for i in range(0, MOST_ROWS, 2)]
                self.step_s *= 2
        self._place = place
        vacuum = sample.ambient_pa - sample.tap_pa
        self._waiting.append((sample.time_s, sample.mass_flow_kg_s, vacuum, sample.speed_rpm))


def _mean(rows: list[tuple[float, float, float, float]]) -> tuple[float, float, float, float]:
    time_s, flow, vacuum, speed = zip(*rows, strict=True)
    count = len(rows)
    return sum(time_s) / count, sum(flow) / count, sum(vacuum) / count, sum(speed) / count

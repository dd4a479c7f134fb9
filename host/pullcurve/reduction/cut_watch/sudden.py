"""Sudden loss: a clog, or a hose that came off, from the resistance of the way in.

Page's cumulative sum on what is new in ln resistance (see `noise`), for a shift of one standard
deviation, with the limit that gives DESIGN_RUN_S to a false alarm. The alarm also waits until
the resistance is up by what takes LEAST_LOSS of the flow. The level follows slowly, and not
while the sum is up; what the hose carried before (`_worked_at`) is no clog when it comes back
after a pause.
"""

import math
from collections import deque
from dataclasses import dataclass
from typing import Final

from pullcurve.reduction.cut_watch.noise import Level
from pullcurve.reduction.cut_watch.path import rise_for
from pullcurve.reduction.cut_watch.run_length import cusum_limit
from pullcurve.reduction.cut_watch.samples import SAMPLE_S

DESIGN_RUN_S: Final = 12 * 3600.0
REFERENCE: Final = 0.5  # k, in standard deviations
LIMIT: Final = cusum_limit(REFERENCE, DESIGN_RUN_S / SAMPLE_S)
GREATEST_STEP: Final = 4.0  # standard deviations: one sample counts for no more
LEAST_LOSS: Final = 0.03  # of the flow by the path alone; a slipping blower makes it more
LEARN_S: Final = 10.0
LEVEL_S, SCATTER_S = 40.0, 120.0
SPOIL_SCATTER: Final = 0.08  # of ln resistance, before this cut has shown its own (judgement)
LEAST_NEW: Final = 0.01  # of what is new in a sample: sensors and pulsation
HELD: Final = 0.4  # of the limit: from here on the level stands still
OVER: Final = 0.6  # of the rise that LEAST_LOSS needs: below it a clog is over
OVER_SAMPLES: Final = 2
LESSER_S: Final = 10.0  # after which a rise that is no clog is the level
LASTING_S: Final = 150.0  # then the new level is what the hose carries now
# How fast the highest level that was carried is forgotten, and which fall of it is a pause.
FORGET_S, ALONG_S, PAUSE = 900.0, 60.0, 0.12
ESTABLISHED_S: Final = 20.0
# Work begins: the hose was clean, and the rise brings the unevenness of spoil with it.
SETTLE_S: Final = 5.0  # from the onset until that can be told
CERTAIN_LOSS: Final = 0.2  # of the flow: no spoil that is still carried takes it (judgement)
CLEAN_ROUGHNESS: Final = 0.012  # of ln resistance: its bend over two seconds, the median
ROUGHER: Final = 2.5
BEND: Final = 2  # samples
# Hose off: of the loaded path so much is left; of the clean one, so much (judgement).
LEFT_OF_LOADED, LEFT_OF_CLEAN = 0.4, 0.6
BACK_ON: Final = 0.1  # of ln resistance


@dataclass(frozen=True)
class Sudden:
    """What the detector says at a sample: kind of change, when it began, how great it is."""

    what: str  # clog, hose_off, work_begins, over, stays
    start_s: float
    rise: float = 0.0
    rise_u: float = 0.0


class SuddenLoss:
    """Fed with each sample of a running blower at steady throttle."""

    def __init__(self) -> None:
        self.level = Level(SAMPLE_S, LEVEL_S, SCATTER_S, SPOIL_SCATTER)
        self._openness = math.nan
        self._worked_at = self._clean_at = -math.inf
        self._worked = False  # whether spoil, or a clog, has been in the hose
        self._sum = 0.0
        self._since_s = 0.0
        self._recent: deque[tuple[float, float]] = deque(maxlen=12)  # time, x
        self._calm: deque[float] = deque(maxlen=30)
        self._roughness = math.nan
        self._active = ""
        self._active_since_s = 0.0
        self._left = math.nan  # below it the hose is off
        self._below = 0
        self._below_since_s = 0.0

    @property
    def quiet(self) -> bool:
        """Whether nothing is the matter and nothing is brewing."""
        return not self._active and self._sum < HELD * LIMIT and self.level.known_s >= LEARN_S

    @property
    def active(self) -> str:
        return self._active

    @property
    def rise(self) -> float:
        """How far the last two seconds lie above the level."""
        return self._mean_rise(4)

    @property
    def base(self) -> float:
        """The level that a rise is counted from."""
        return max(self.level.level, self._worked_at)

    def loaded(self, x: float) -> bool:
        """Whether the hose carries spoil, as far as clean running was seen to compare with."""
        if math.isinf(self._clean_at) or math.isinf(self._worked_at):
            return True
        return x > (self._clean_at + self._worked_at) / 2

    def interrupt(self) -> None:
        """The next sample does not follow: the throttle moves, or samples are missing."""
        self._sum = 0.0
        self._recent.clear()
        self.level.skip()

    def add(self, time_s: float, x: float, openness: float) -> list[Sudden]:
        """x: ln resistance; openness: see `path`."""
        self._recent.append((time_s, x))
        if self.level.known_s < LEARN_S and not self._active:
            self._learn(x, openness)
            return []
        if self._active == "hose_off":
            return self._over(time_s, back=x > self._left + BACK_ON)
        off = self._hose_off(time_s)
        if off:
            return off
        design = rise_for(LEAST_LOSS, self._openness)
        if self._active:
            return self._over(time_s, back=x - self.base < OVER * design)
        if self._sum == 0.0:
            self._since_s = time_s - SAMPLE_S
        self._sum = max(0.0, self._sum + min(self._new(), GREATEST_STEP) - REFERENCE)
        self._sum = min(self._sum, LIMIT + GREATEST_STEP)
        if self._sum > LIMIT and self._mean_rise(2) > design:
            return self._alarm(time_s)
        if self._sum < HELD * LIMIT:
            self._learn(x, openness)
        elif time_s - self._since_s > LESSER_S and self._mean_rise(12) < design:
            # It is up by less than a clog, and stays: a heavier load.
            self.level.relearn(self._mean_rise(12) + self.base, 6.0)
            self._sum = 0.0
        return []

    def _new(self) -> float:
        """What the last value brings that those before did not foretell, in standard
        deviations."""
        base = self.base
        last = [x - base for _, x in list(self._recent)[-3:]]
        before = [0.0, *last[:-1]] if len(last) == 2 else last[:-1] or [0.0, 0.0]
        a, b, spread = self.level.foretold()
        return (last[-1] - a * before[-1] - b * before[-2]) / max(spread, LEAST_NEW)

    def _mean_rise(self, count: int) -> float:
        last = list(self._recent)[-count:]
        return sum(x for _, x in last) / len(last) - self.base

    def _learn(self, x: float, openness: float) -> None:
        self.level.learn(x)
        share = SAMPLE_S / min(self.level.known_s, LEVEL_S)
        if math.isnan(self._openness):
            self._openness = openness
        self._openness += share * (openness - self._openness)
        if self.level.known_s >= ESTABLISHED_S:
            self._remember(self.level.level)
        if len(self._recent) >= 2 * BEND + 1:
            self._calm.append(_bends([x for _, x in self._recent])[-1])
        if len(self._calm) == self._calm.maxlen:
            self._roughness = _median(list(self._calm))
            self._worked |= self._roughness > CLEAN_ROUGHNESS

    def _remember(self, level: float) -> None:
        """The highest level that was carried for a while: it goes along where the level drifts,
        as with a growing leak, and stays for long where the level drops, as in a pause."""
        if level >= self._worked_at:
            self._worked_at = level
            return
        forget_s = ALONG_S if self._worked_at - level < PAUSE else FORGET_S
        self._worked_at += SAMPLE_S / forget_s * (level - self._worked_at)

    def _alarm(self, time_s: float) -> list[Sudden]:
        rise = self._mean_rise(2)
        certain = rise > rise_for(CERTAIN_LOSS, self._openness)
        if not self._worked and math.isfinite(self._roughness) and not certain:
            if time_s < self._since_s + SETTLE_S:
                return []
            bends = _bends([x for t, x in self._recent if t > self._since_s + 1.0])
            if bends and _median(bends) > ROUGHER * self._roughness:
                self._sum, self._worked = 0.0, True
                self._clean_at = self.level.level
                self.level.relearn(self._mean_rise(4) + self.base)
                self.level.rescatter(SPOIL_SCATTER)
                self._worked_at = -math.inf
                return [Sudden("work_begins", self._since_s)]
        self._worked = True
        self._active, self._active_since_s, self._below = "clog", time_s, 0
        return [Sudden("clog", self._since_s, rise, self._mean_u())]

    def _mean_u(self) -> float:
        return math.hypot(self.level.mean_u(2 * SAMPLE_S), self.level.mean_u(LEVEL_S))

    def _over(self, time_s: float, *, back: bool) -> list[Sudden]:
        """`back`: this sample is as it should be again."""
        if back:
            self._below_since_s = self._below_since_s if self._below else time_s - SAMPLE_S
            self._below += 1
        else:
            self._below = 0
        lasting = time_s - self._active_since_s > LASTING_S
        if self._below < OVER_SAMPLES and not lasting:
            return []
        self._active, self._sum = "", 0.0
        if self._below >= OVER_SAMPLES:
            self.level.skip()
            return [Sudden("over", self._below_since_s)]
        self.level.relearn(self._mean_rise(12) + self.base)
        return [Sudden("stays", time_s)]

    def _hose_off(self, time_s: float) -> list[Sudden]:
        left = self.base + math.log(LEFT_OF_LOADED)
        if math.isfinite(self._clean_at):
            left = max(left, self._clean_at + math.log(LEFT_OF_CLEAN))
        last = list(self._recent)[-OVER_SAMPLES:]
        if len(last) < OVER_SAMPLES or not all(x < left for _, x in last):
            return []
        half = (left + self.base) / 2
        began = next((t for t, x in self._recent if x < half), last[0][0])
        self._active, self._active_since_s, self._below = "hose_off", time_s, 0
        self._left, self._sum = left, 0.0
        return [Sudden("hose_off", began - SAMPLE_S, last[-1][1] - self.base, self._mean_u())]


def _bends(values: list[float]) -> list[float]:
    """How far each value lies off the line between those BEND before and behind."""
    return [
        abs(values[i] - 2 * values[i + BEND] + values[i + 2 * BEND])
        for i in range(len(values) - 2 * BEND)
    ]


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    return ordered[len(ordered) // 2]

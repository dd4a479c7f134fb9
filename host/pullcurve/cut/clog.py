"""Sudden loss: a clog, or a hose that came off, from the resistance of the way in.

Page's cumulative sum on what is new in ln resistance (see `noise`), for a shift of one standard
deviation, with the limit that gives DESIGN_RUN_S to a false alarm. The alarm also waits until
the resistance is up by what takes LEAST_LOSS of the flow. The level follows slowly, and not
while the sum is up, nor in a pause, when the nozzle is out of the spoil: what the hose carried
before is no clog when it comes back.

What a clean hose lets through (`_clean`) is seen before work begins and in every pause; in
between it goes along with the level, as far as a filter that loads would take it. Less than that
is a hose that came off.
"""

import math
from collections import deque
from dataclasses import dataclass
from typing import Final

from pullcurve.cut.residual import BEND, Level, bends
from pullcurve.cut.resistance import rise_for
from pullcurve.cut.run_length import cusum_limit
from pullcurve.cut.samples import SAMPLE_S

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
ONSET: Final = 0.25  # of the rise: the last sample below it is where a clog began
OVER: Final = 0.6  # of the rise that LEAST_LOSS needs: below it a clog is over
OVER_SAMPLES: Final = 2
LESSER_S: Final = 10.0  # after which a rise that is no clog is the level
LASTING_S: Final = 150.0  # of a clog: then the new level is what the hose carries now
OFF_LASTING_S: Final = 600.0  # of a hose that is off: then another one is on
ALONG_S: Final = 60.0  # over which the highest level that was carried is forgotten
ESTABLISHED_S: Final = 20.0
# A pause: this near to a clean hose's ln resistance, and half the way from there at most.
NEAR_CLEAN: Final = 0.1
FALLEN: Final = 2.5  # standard deviations below the level, at least
LOW_SAMPLES, SMOOTH_SAMPLES, LIGHTER_SAMPLES, UNDECIDED_SAMPLES = 3, 12, 16, 60
EVENER: Final = 4.0  # than spoil, at each of its bends: a clean hose
LIKE_SPOIL: Final = 1.5  # so near to its unevenness: spoil
EVEN: Final = 0.05  # of ln resistance, that a clean hose wanders meanwhile
RETURN_S: Final = 3.0  # after a pause, until what comes is what the hose carries
# Of a clean hose's resistance, each second, by a filter or a leak (judgement).
FASTEST_UP, FASTEST_DOWN = 1 / 1200, 1 / 300
# Work begins: the hose was clean, and the rise brings the unevenness of spoil with it.
SETTLE_S: Final = 5.0  # from the onset until that can be told
WORK_TOLD_S: Final = 20.0  # after which what was taken for a clog is the load, if it is as uneven
CERTAIN_LOSS: Final = 0.2  # of the flow: no spoil that is still carried takes it (judgement)
CLEAN_ROUGHNESS: Final = 0.025  # of ln resistance: its bend over two seconds, the median, at most
ROUGHER: Final = 2.5
# Hose off: of the clean path so much is left; where that was never seen, of the loaded one, so
# much (judgement).
LEFT_OF_CLEAN, LEFT_OF_LOADED = 0.78, 0.4
OFF_SAMPLES: Final = 4  # a tank that fills behind a clog that has cleared takes less time
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
        self._worked_at = -math.inf
        # Resistances, not their logarithms: a clean hose's; that and the level as last compared.
        self._clean = math.nan
        self._seen = (math.nan, math.nan)
        self._bounds, self._before_move = (-math.inf, math.inf), math.nan  # of the level
        self._lightest = math.inf  # level that the hose has carried for a while
        self._returned_s = -math.inf
        self._low = 0  # samples in a row that lay low
        self._worked = False  # whether spoil, or a clog, has been in the hose
        self._sum = 0.0
        self._since_s = 0.0
        self._recent: deque[tuple[float, float]] = deque(maxlen=LIGHTER_SAMPLES)  # time, x
        self._doubted: list[tuple[float, float]] = []  # x and openness while the sum was up
        self._calm: deque[float] = deque(maxlen=30)
        self._roughness = math.nan
        self._active = ""
        self._active_since_s = 0.0
        self._was_clean = False  # before the clog
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
    def rise_u(self) -> float:
        return math.hypot(self.level.mean_u(2 * SAMPLE_S), self.level.mean_u(LEVEL_S))

    @property
    def base(self) -> float:
        """The level that a rise is counted from."""
        return max(self.level.level, self._worked_at)

    def loaded(self, x: float) -> bool:
        """Whether the hose carries spoil, as far as clean running was seen to compare with."""
        if math.isnan(self._clean):
            return True
        clean = math.log(self._clean)
        return x > clean + min(NEAR_CLEAN, (self.base - clean) / 2)

    def interrupt(self) -> None:
        """The next sample does not follow: the throttle moves, or samples are missing."""
        self._sum = 0.0
        self._recent.clear()
        self._low = 0
        self._doubted.clear()
        self.level.skip()

    def new_speed(self, ratio: float) -> None:
        """The speed is another. The filter's loss goes with the flow, not with its square: at
        half the speed its resistance counts double, and the level must be learned anew."""
        moved_before = math.isfinite(self._before_move)
        if self._active or (self.level.known_s < LEARN_S and not moved_before):
            return
        level, up = self.level.level, -math.log(ratio)
        low, high = self._bounds if moved_before else (level, level)
        self._bounds = (low + min(0.0, up), high + max(0.0, up))
        self._before_move = self._before_move if moved_before else level
        self._relevel(level)
        self._worked_at = -math.inf

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
        if self._pause(time_s, x, design):
            self._sum = 0.0
            self._doubted.clear()
            self.level.skip()
            return []
        return self._watch(time_s, x, openness, design)

    def _watch(self, time_s: float, x: float, openness: float, design: float) -> list[Sudden]:
        if self._sum == 0.0:
            self._since_s = time_s - SAMPLE_S
        self._sum = max(0.0, self._sum + min(self._new(), GREATEST_STEP) - REFERENCE)
        self._sum = min(self._sum, LIMIT + GREATEST_STEP)
        if self._sum > LIMIT and self._mean_rise(2) > design:
            return self._alarm(time_s)
        self._doubted.append((x, openness))
        if self._sum < HELD * LIMIT:
            # What was held back, if anything, has come to nothing: it was scatter.
            for each in self._doubted:
                self._learn(*each)
            self._doubted.clear()
        elif time_s - self._since_s > LESSER_S and self._mean_rise(12) < design:
            # It is up by less than a clog, and stays: a heavier load, or the first.
            level = self._mean_rise(12) + self.base
            if not self._worked and self._rougher(self._since_s + 1.0):
                self._begin_work(level)
                return [Sudden("work_begins", self._since_s)]
            self._relevel(level, 6.0)
        return []

    def _relevel(self, level: float, known_s: float = 0.0) -> None:
        self.level.relearn(level, known_s)
        self._sum, self._seen = 0.0, (self._clean, math.nan)
        self._doubted.clear()

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
        if self.level.known_s <= LEARN_S:
            low, high = self._bounds
            self.level.level = max(low, min(self.level.level, high))
        if self.level.known_s == LEARN_S and math.isfinite(self._before_move):
            self._clean *= math.exp(self.level.level - self._before_move)
            self._bounds, self._before_move = (-math.inf, math.inf), math.nan
        share = SAMPLE_S / min(self.level.known_s, LEVEL_S)
        if math.isnan(self._openness):
            self._openness = openness
        self._openness += share * (openness - self._openness)
        if self.level.known_s >= ESTABLISHED_S:
            self._remember(self.level.level)
        if self.level.known_s >= LEVEL_S:
            self._carry(math.exp(self.level.level))
        if len(self._recent) >= 2 * BEND + 1:
            self._calm.append(bends([x for _, x in self._recent])[-1])
        if len(self._calm) == self._calm.maxlen:
            self._roughness = _median(list(self._calm))
            self._worked |= self._roughness > CLEAN_ROUGHNESS

    def _remember(self, level: float) -> None:
        """The highest level that was carried for a while; it goes along where the level drifts,
        as with a growing leak."""
        self._lightest = min(level, self._lightest + FASTEST_UP * SAMPLE_S)
        if level < self._worked_at:
            level = self._worked_at + SAMPLE_S / ALONG_S * (level - self._worked_at)
        self._worked_at = level

    def _carry(self, level: float) -> None:
        """What a clean hose would let through goes along with the level of one and the same
        load: a filter adds to both, a leak takes its share of both."""
        clean, then = self._seen
        if math.isnan(then):
            clean, then = self._seen = (self._clean, level)
        target = clean + level - then if level > then else clean * level / then
        most, least = 1 + FASTEST_UP * SAMPLE_S, 1 - FASTEST_DOWN * SAMPLE_S
        self._clean *= max(least, min(target / self._clean, most))

    def _pause(self, time_s: float, x: float, design: float) -> bool:
        """Whether the nozzle is out of the spoil, or may be, or has just gone in again.

        A resistance that has dropped and is even for some seconds is the clean hose's. With the
        unevenness of spoil, or neither for long, it is a lighter load's."""
        down = self.base - max(design, FALLEN * self.level.scatter)
        low = self._worked and (x < down or not self.loaded(x))
        self._low = self._low + 1 if low else 0
        if low and (self._low >= LOW_SAMPLES or not self.loaded(x)):
            self._returned_s = time_s
        if self._low >= SMOOTH_SAMPLES:
            self._judge([x for _, x in self._recent][-self._low :])
        return time_s - self._returned_s < RETURN_S

    def _judge(self, values: list[float]) -> None:
        last = values[-SMOOTH_SAMPLES:]
        held = max(last) - min(last) < EVEN and _median(last) < self._lightest + EVEN
        if held and EVENER * max(bends(last)) < self._roughness:
            self._clean = math.exp(_median(last))
            self._seen = (self._clean, math.exp(self.base))
            return
        if self._low < LIGHTER_SAMPLES:
            return
        bent = bends(values)
        half = len(bent) // 2
        rough = min(_median(bent[:half]), _median(bent[half:]))  # an edge is rough in one half
        if LIKE_SPOIL * rough > self._roughness:
            if not self.loaded(max(values)):
                self._clean = math.nan  # it was none: spoil runs there
            self._lighter(_median(values[-BEND * 3 :]))
        elif self._low > UNDECIDED_SAMPLES and self.loaded(min(values)):
            self._lighter(_median(values[-BEND * 3 :]))

    def _lighter(self, level: float) -> None:
        self._relevel(level, LIGHTER_SAMPLES * SAMPLE_S)
        self._worked_at, self._low = -math.inf, 0
        self._returned_s = -math.inf

    def _alarm(self, time_s: float) -> list[Sudden]:
        rise = self._mean_rise(2)
        certain = rise > rise_for(CERTAIN_LOSS, self._openness)
        if not self._worked and math.isfinite(self._roughness) and not certain:
            if time_s < self._since_s + SETTLE_S:
                return []
            if self._rougher(self._since_s + 1.0):
                self._begin_work(self._mean_rise(4) + self.base)
                return [Sudden("work_begins", self._since_s)]
        began_s = [t for t, x in self._recent if x - self.base < ONSET * rise and t < time_s]
        start_s = max([self._since_s, *began_s[-1:]])
        self._was_clean, self._worked = not self._worked, True
        self._active, self._active_since_s, self._below = "clog", time_s, 0
        self._doubted.clear()
        return [Sudden("clog", start_s, rise, self.rise_u)]

    def _rougher(self, since_s: float) -> bool:
        """Whether it has been more uneven than before, since then."""
        bent = bends([x for t, x in self._recent if t > since_s])
        return bool(bent) and _median(bent) > ROUGHER * self._roughness

    def _begin_work(self, level: float) -> None:
        self._worked = True
        self._clean = math.exp(self.level.level)
        self._relevel(level)
        self.level.rescatter(SPOIL_SCATTER)
        self._worked_at, self._lightest = -math.inf, math.inf

    def _over(self, time_s: float, *, back: bool) -> list[Sudden]:
        """`back`: this sample is as it should be again."""
        if back:
            self._below_since_s = self._below_since_s if self._below else time_s - SAMPLE_S
            self._below += 1
        else:
            self._below = 0
        lasts_s = time_s - self._active_since_s
        level = self._mean_rise(12) + self.base
        if self._below >= OVER_SAMPLES:
            self._active, self._sum = "", 0.0
            self._recent.clear()
            self._low = 0
            self.level.skip()
            return [Sudden("over", self._below_since_s)]
        if self._was_clean and lasts_s > WORK_TOLD_S and self._rougher(time_s - LEARN_S):
            self._active = ""
            self._begin_work(level)
            return [Sudden("stays", time_s)]
        if lasts_s > (OFF_LASTING_S if self._active == "hose_off" else LASTING_S):
            self._active = ""
            self._relevel(level)
            return [Sudden("stays", time_s)]
        return []

    def _hose_off(self, time_s: float) -> list[Sudden]:
        left = min(self._lightest, self.base) + math.log(LEFT_OF_LOADED)
        if math.isfinite(self._clean):
            left = math.log(LEFT_OF_CLEAN * self._clean)
        last = list(self._recent)[-OFF_SAMPLES:]
        if len(last) < OFF_SAMPLES or not all(x < left for _, x in last):
            return []
        half = (left + self.base) / 2
        began = next((t for t, x in self._recent if x < half), last[0][0])
        self._active, self._active_since_s, self._below = "hose_off", time_s, 0
        self._was_clean = False
        self._left, self._sum = left, 0.0
        return [Sudden("hose_off", began - SAMPLE_S, last[-1][1] - self.base, self.rise_u)]


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    return ordered[len(ordered) // 2]

"""Slow loss: a filter that loads, and air that creeps in.

With the meter in the clean pipe the sensors tell the places apart like this (machine's mass
balance; places A ahead of the filter, B between filter and meter, C behind the meter):

    filter loads       the path's resistance rises; with a sensor in the tank the filter's does
    air at A or B      the path's resistance falls; with a sensor in the tank the hose's falls,
                       and for B the filter's as well
    air at C           the blower seems to take less in a turn, at the resistance as it was

Lighter spoil lowers the path's resistance too, and heavier spoil raises it: so a change must be
gradual (see `trend`), and clean and loaded running are looked at apart.
"""

import math
from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.cut.alarm import Forecast, Limit, Place
from pullcurve.cut.loss_reset import Stops
from pullcurve.cut.needs import Needs
from pullcurve.cut.resistance import PIPE_ENTRY_HALF_WIDTH, flow_lost
from pullcurve.cut.slip import SlipSlope
from pullcurve.cut.trend import (
    VISIT_SCATTER,
    Points,
    Slope,
    Visits,
    behind_step,
    of_visits,
    pooled,
    slope,
    strongest,
)
from pullcurve.physics.air import DRY_AIR_GAS_CONSTANT

# Standard deviations of a slope, and how many independent looks the many that are taken in half an
# hour come to: ten windows every 10 s, which overlap, or one line that grows. So 3.7 (1e-4, one
# side) gives a false leak in fewer than 1 of 100 half hours, were the scatter as it is thought to
# be. A path that resists more is what every filter does sooner or later, so less is asked for it.
CERTAIN, LOOKS = 3.7, 50
CERTAIN_PATH_UP, LOOKS_PATH_UP = 2.6, 20
LEAST_FILTER, LEAST_PATH_UP = 0.12, 0.012  # growth of the loss, with and without a tank sensor
LEAST_LEAK: Final = 0.04  # fall of the resistance
LEAST_BEHIND: Final = 0.025  # fall of what the blower takes in a turn
LEAST_SAMPLES: Final = 8  # of a point's twenty, quiet
CLEAN_SHARE: Final = 0.25  # of the fall that a clean hose shows of a leak, at least
B_SHARE: Final = 0.25  # of the hose's fall that the filter shows for air at B, at least
HORIZON_S: Final = 40 * 3600.0  # what a forecast looks ahead at most, as its words say
FLOW_LIMIT: Final = 0.1  # of the flow, where no filter limit is typed nor its loss measured
NAMES: Final = ("path", "hose", "turn", "slip")

FACTS: Final = 120  # samples
Facts = tuple[float, float, float, float]
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Finding:
    what: str  # filter_loading or leak
    start_s: float
    change: float  # of the residual's logarithm
    size: float
    size_u: float
    sure: float  # probability that it is none of the scatter's
    places: tuple[Place, ...] = ()
    forecast: Forecast | None = None
    measured_by: str = ""

    @property
    def residual(self) -> str:
        return "turn" if self.measured_by == "blower" else self.measured_by


class SlowLoss:
    """Fed with quiet samples at steady throttle."""

    def __init__(self, needs: Needs, pipe_area_m2: float) -> None:
        self._needs = needs
        self._pipe_area_m2 = pipe_area_m2
        self.has_tank = False
        self._sets = {True: Points(NAMES, LEAST_SAMPLES), False: Points(NAMES, LEAST_SAMPLES)}
        self.slip = SlipSlope()
        self._cloth = Points(("filter",), LEAST_SAMPLES)
        self._visits = {name: Visits() for name in ("path", "hose")}
        self._facts: deque[Facts] = deque(maxlen=FACTS)
        self.stops = Stops()

    def add(
        self,
        time_s: float,
        values: tuple[float, float, float, float],
        *,
        loaded: bool,
        facts: Facts,
        speed_rpm: float,
    ) -> bool:
        """values: as NAMES. facts: mass flow, temperature, tap pressure and openness of this
        sample. True when a point has been completed."""
        if loaded or not self._facts:
            self._facts.append(facts)
        if loaded:
            for name, value in zip(NAMES, values, strict=True):
                logarithm = math.log(max(value, 1e-9)) if name == "turn" else value
                self.stops.add(name, logarithm, speed_rpm)
        if math.isfinite(values[2]):
            self.slip.add(values[2], values[3])
        if not loaded:
            for name, visits in self._visits.items():
                visits.add(time_s, values[NAMES.index(name)])
        return self._sets[loaded].add(time_s, values)

    @property
    def _reference(self) -> Facts | None:
        """The facts of the last minute of quiet work in the mean: spoil comes unevenly."""
        return tuple(np.mean(self._facts, axis=0).tolist()) if self._facts else None

    def filter_at(self, time_s: float, resistance: float, speed_rpm: float) -> None:
        """The filter's own, with a sensor in the tank: no spoil is in it, so that clogs and
        load do not matter."""
        self.has_tank = True
        self.stops.add("filter", resistance, speed_rpm)
        self._cloth.add(time_s, (resistance,))

    def stood(self) -> None:
        """The engine has stood for so long that a step may be somebody's work."""
        self.stops.stood()
        for points in (*self._sets.values(), self._cloth):
            points.splice()

    def undone(self, found: Finding) -> bool:
        """Whether the last stop has done away with it. What shows the same is then begun anew."""
        if not self.stops.undone(found.residual, found.change):
            return False
        if found.residual == "filter":
            self._cloth = Points(("filter",), LEAST_SAMPLES)
        else:
            self._sets = {loaded: Points(NAMES, LEAST_SAMPLES) for loaded in self._sets}
            for visits in self._visits.values():
                visits.begin_anew()
        return True

    def work_begins(self) -> None:
        """What was taken for the loaded hose was the clean one."""
        self._sets = {False: self._sets[True], True: Points(NAMES, LEAST_SAMPLES)}
        for name, visits in self._visits.items():
            visits.begin_anew()
            visits.take(*self._sets[False].column(name))
        # Less flow: what is wrong in the entry's loss must not look like a step.
        self._cloth.splice()

    def forget(self, from_s: float) -> None:
        for points in self._sets.values():
            points.forget(from_s)
        for visits in self._visits.values():
            visits.forget(from_s)

    def splice(self) -> None:
        self.slip.skip()
        for visits in self._visits.values():
            visits.begin_anew()
        for points in (*self._sets.values(), self._cloth):
            points.splice()

    def findings(self) -> list[Finding]:
        found = [self._filter()]
        for points in self._sets.values():
            found += [self._leak(points), self._behind(points)]
        return [each for each in found if each is not None]

    def _resistances(self) -> tuple[Array, Array]:
        """Those that tell of the filter: its own, or the path's."""
        if self.has_tank:
            return self._cloth.column("filter")
        return max(self._sets.values(), key=len).column("path")

    def _path_rise(self) -> Slope | None:
        """Of the path's resistance, loaded and clean, as a share of its mean in work: what the
        filter adds is the same in both."""
        time_s, values = self._sets[True].column("path")
        if len(values) == 0:
            return None
        visited_s, visits = self._visits["path"].all_over(float(time_s[-1]))
        clean = of_visits(visited_s, visits)
        if clean is not None:
            clean = clean.times(math.exp(visits.mean() - values.mean()))
        known = [line for line in (behind_step(time_s, values), clean) if line is not None]
        return pooled(known) if known else None

    def _filter(self) -> Finding | None:
        time_s, values = self._resistances()
        rise = None
        if self.has_tank:
            found, certain, looks = strongest(time_s, values, 1.0, LEAST_FILTER), CERTAIN, LOOKS
        else:
            found = rise = self._path_rise()
            certain, looks = CERTAIN_PATH_UP, LOOKS_PATH_UP
        if found is None or found.certain < certain or found.change < LEAST_PATH_UP:
            return None
        return Finding(
            "filter_loading",
            found.start_s,
            found.change,
            math.expm1(found.change),
            math.exp(found.change) * found.change_u,
            found.sure(looks),
            forecast=self._forecast(time_s, values, rise),
            measured_by="filter" if self.has_tank else "path",
        )

    def _leak(self, points: Points) -> Finding | None:
        name = "hose" if self.has_tank else "path"
        time_s, values = points.column(name)
        found = strongest(time_s, values, -1.0, LEAST_LEAK)
        reference = self._reference
        if found is None or reference is None or found.certain < CERTAIN:
            return None
        if _spoil_alone(found, *self._visits[name].all_over(found.end_s)):
            return None
        openness = reference[3]
        gain = -flow_lost(found.change, openness)
        size = 1 - math.exp(found.change / 2) * (1 + gain)
        return Finding(
            "leak",
            found.start_s,
            found.change,
            size,
            0.5 * found.change_u,
            found.sure(LOOKS),
            self._places(found),
            measured_by=name,
        )

    def _places(self, fall: Slope) -> tuple[Place, ...]:
        """Air at B bypasses the filter: its resistance then falls below the way that it went
        before. Without a sensor in the tank, or without a before, nobody can tell."""
        time_s, values = self._cloth.column("filter")
        before, inside = time_s < fall.start_s, time_s >= fall.start_s
        if before.sum() < 6 or inside.sum() < 6:
            return ("A", "B")
        # The loss itself, not its logarithm: loading goes on at an even rate.
        loss = np.exp(values - values[inside].mean())
        old, new = slope(time_s[before], loss[before]), slope(time_s[inside], loss[inside])
        scale = (new.end_s - new.start_s) / (old.end_s - old.start_s)
        bend = new.change - scale * old.change
        bend_u = math.hypot(new.change_u, scale * old.change_u)
        if bend + 2 * bend_u < B_SHARE / 2 * fall.change:
            return ("B",)
        if bend - 2 * bend_u > B_SHARE * fall.change:
            return ("A",)
        return ("A", "B")

    def _behind(self, points: Points) -> Finding | None:
        _, turn = points.column("turn")
        time_s, slip = points.column("slip")
        reference = self._reference
        if len(turn) != len(slip) or not len(turn) or reference is None:
            return None
        fall, fall_u = self.slip.value()
        values = np.log(turn + fall * slip)
        found = strongest(time_s, values, -1.0, LEAST_BEHIND)
        if found is None:
            return None
        inside = time_s >= found.start_s
        moved = slope(time_s[inside], slip[inside]).change
        from_slip = fall_u * abs(moved) / float(turn.mean())
        whole = Slope(
            found.start_s,
            found.end_s,
            found.change,
            math.hypot(found.change_u, from_slip),
            found.freedom,
        )
        if whole.certain < CERTAIN:
            return None
        openness = reference[3]
        size = 1 - math.sqrt((openness + 1) / (openness * math.exp(-2 * whole.change) + 1))
        return Finding(
            "leak",
            found.start_s,
            whole.change,
            size,
            whole.change_u,
            whole.sure(LOOKS),
            ("C",),
            measured_by="blower",
        )

    def filter_trend(self) -> tuple[Slope, Forecast | None] | None:
        """Since the filter was changed last, whether it counts or not."""
        time_s, values = self._resistances()
        if len(values) < 12:
            return None
        if self.has_tank:
            return slope(time_s, values), self._forecast(time_s, values, None)
        rise = self._path_rise()
        return None if rise is None else (rise, self._forecast(time_s, values, rise))

    def _forecast(self, time_s: Array, values: Array, rise: Slope | None) -> Forecast | None:
        """When the loss reaches the limit if it goes on as in the later half of the run; without
        a sensor in the tank, by the path's rise as far as spoil has no share in it."""
        reference = self._reference
        if reference is None or len(values) < 12:
            return None
        mass, temperature, tap, openness = reference
        first = float(np.exp(values[:12]).mean())
        if rise is not None:
            line, now = rise.times(first), first * math.exp(rise.change)
        else:
            recent = max(len(values) // 2, 12)
            line = slope(time_s[-recent:], np.exp(values[-recent:]))
            now = float(np.exp(values[-recent:]).mean() + line.change / 2)
        kind: Limit
        typed, clean = self._needs.filter_limit_pa, self._needs.filter_clean_pa_s_m3
        if typed is not None and self.has_tank:
            volume_flow = mass * DRY_AIR_GAS_CONSTANT * temperature / tap
            limit, kind = typed / volume_flow, "typed"
        elif clean is not None and self.has_tank:
            limit, kind = 2 * clean, "doubled"
        elif self.has_tank:
            limit, kind = 2 * first, "doubled"
        else:
            limit, kind = first * ((openness + 1) / (1 - FLOW_LIMIT) ** 2 - openness), "flow"
        at_s = float(time_s[-1])
        spread = 2 * line.change_u
        # What else lies between the two sensors shifts the limit as it is measured.
        shift = 0.0
        if self.has_tank:
            entry_u = PIPE_ENTRY_HALF_WIDTH / math.sqrt(3)
            shift = 2 * entry_u * mass / (2 * self._pipe_area_m2**2)

        def reached(change: float, at: float) -> float | None:
            if now >= at:
                return at_s
            if change <= 0:
                return None
            wait_s = (at - now) / change * line.length_s
            return at_s + wait_s if wait_s < HORIZON_S else None

        return Forecast(
            kind,
            reached(line.change, limit),
            reached(line.change + spread, limit - shift),
            reached(line.change - spread, limit + shift),
        )


def _spoil_alone(fall: Slope, time_s: Array, visits: Array) -> bool:
    """Whether a clean hose's resistance has not fallen with that of the loaded one: then the spoil
    has become lighter. False where the nozzle was not out of the spoil late in the fall."""
    if len(visits) < 2 or time_s[-1] < (fall.start_s + fall.end_s) / 2:
        return False
    before = max(int(np.searchsorted(time_s, fall.start_s)) - 1, 0)
    seen_s = time_s[-1] - max(time_s[before], fall.start_s)
    expected = fall.change * seen_s / fall.length_s
    least = CLEAN_SHARE * expected + 2 * math.sqrt(2) * VISIT_SCATTER
    return bool(visits[-1] - visits[before] > least)

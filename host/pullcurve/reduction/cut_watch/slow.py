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
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.reduction.cut_watch.events import Forecast, Place
from pullcurve.reduction.cut_watch.needs import Needs
from pullcurve.reduction.cut_watch.path import GAS_CONSTANT, PIPE_ENTRY_HALF_WIDTH, flow_lost
from pullcurve.reduction.cut_watch.trend import Points, Slope, slope, strongest

# Standard deviations of a slope. Every 10 s some ten windows are looked at, which overlap: of
# the order of 50 independent looks in half an hour, so that 3.7 (1e-4, one side) gives a false
# leak in fewer than 1 of 100 half hours, were the scatter as it is thought to be. A path that
# resists more is what every filter does sooner or later, so less is asked for it (judgement).
CERTAIN, CERTAIN_PATH_UP = 3.7, 3.0
OF_HALVES_PATH_UP: Final = 0.5
LEAST_FILTER, LEAST_PATH_UP = 0.12, 0.02  # growth of the loss, with and without a tank sensor
LEAST_LEAK: Final = 0.04  # fall of the resistance
LEAST_BEHIND: Final = 0.025  # fall of what the blower takes in a turn
LEAST_SAMPLES: Final = 8  # of a point's twenty, quiet
B_SHARE: Final = 0.25  # of the hose's fall that the filter shows for air at B, at least
HORIZON_S: Final = 40 * 3600.0  # what a forecast looks ahead at most
FLOW_LIMIT: Final = 0.1  # of the flow, where no filter limit is typed nor its loss measured
SLIP_RPM, SLIP_RPM_U = 150.0, 150.0  # at 1 psi, before this run has shown its own (judgement)
NAMES: Final = ("path", "hose", "turn", "slip")

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Finding:
    what: str  # filter_loading or leak
    start_s: float
    size: float
    size_u: float
    sure: float  # standard deviations
    places: tuple[Place, ...] = ()
    forecast: Forecast | None = None
    measured_by: str = ""


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


class SlowLoss:
    """Fed with quiet samples at steady throttle."""

    def __init__(self, needs: Needs, pipe_area_m2: float) -> None:
        self._needs = needs
        self._pipe_area_m2 = pipe_area_m2
        self.has_tank = False
        self._sets = {True: Points(NAMES, LEAST_SAMPLES), False: Points(NAMES, LEAST_SAMPLES)}
        self.slip = SlipSlope()
        self._cloth = Points(("filter",), LEAST_SAMPLES)
        self._reference: tuple[float, float, float, float] | None = None

    def add(
        self,
        time_s: float,
        values: tuple[float, float, float, float],
        *,
        loaded: bool,
        facts: tuple[float, float, float, float],
    ) -> bool:
        """values: as NAMES. facts: mass flow, temperature, tap pressure and openness of this
        sample. True when a point has been completed."""
        self._reference = facts
        if math.isfinite(values[2]):
            self.slip.add(values[2], values[3])
        return self._sets[loaded].add(time_s, values)

    def filter_at(self, time_s: float, resistance: float) -> None:
        """The filter's own, with a sensor in the tank: no spoil is in it, so that clogs and
        load do not matter."""
        self.has_tank = True
        self._cloth.add(time_s, (resistance,))

    def work_begins(self) -> None:
        """What was taken for the loaded hose was the clean one."""
        self._sets = {False: self._sets[True], True: Points(NAMES, LEAST_SAMPLES)}
        # Less flow: what is wrong in the entry's loss must not look like a step.
        self._cloth.splice()

    def forget(self, from_s: float) -> None:
        for points in self._sets.values():
            points.forget(from_s)

    def splice(self) -> None:
        self.slip.skip()
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

    def _filter(self) -> Finding | None:
        time_s, values = self._resistances()
        least = LEAST_FILTER if self.has_tank else LEAST_PATH_UP
        halves = 1.0 if self.has_tank else OF_HALVES_PATH_UP
        found = strongest(time_s, values, 1.0, least, halves)
        if found is None or found.certain < (CERTAIN if self.has_tank else CERTAIN_PATH_UP):
            return None
        return Finding(
            "filter_loading",
            found.start_s,
            math.expm1(found.change),
            math.exp(found.change) * found.change_u,
            found.certain,
            forecast=self._forecast(time_s, values),
            measured_by="filter" if self.has_tank else "path",
        )

    def _leak(self, points: Points) -> Finding | None:
        name = "hose" if self.has_tank else "path"
        time_s, values = points.column(name)
        found = strongest(time_s, values, -1.0, LEAST_LEAK)
        if found is None or self._reference is None or found.certain < CERTAIN:
            return None
        openness = self._reference[3]
        gain = -flow_lost(found.change, openness)
        size = 1 - math.exp(found.change / 2) * (1 + gain)
        return Finding(
            "leak",
            found.start_s,
            size,
            0.5 * found.change_u,
            found.certain,
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
        if len(turn) != len(slip) or not len(turn) or self._reference is None:
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
        openness = self._reference[3]
        size = 1 - math.sqrt((openness + 1) / (openness * math.exp(-2 * whole.change) + 1))
        return Finding(
            "leak",
            found.start_s,
            size,
            whole.change_u,
            whole.certain,
            ("C",),
            measured_by="blower",
        )

    def filter_trend(self) -> tuple[Slope, Forecast | None] | None:
        """The whole run's, whether it counts or not."""
        time_s, values = self._resistances()
        if len(values) < 12:
            return None
        return slope(time_s, values), self._forecast(time_s, values)

    def _forecast(self, time_s: Array, values: Array) -> Forecast | None:
        """When the loss reaches the limit if it goes on as in the later half of the run."""
        if self._reference is None or len(values) < 12:
            return None
        mass, temperature, tap, openness = self._reference
        recent = max(len(values) // 2, 12)
        line = slope(time_s[-recent:], np.exp(values[-recent:]))
        now = float(np.exp(values[-recent:]).mean() + line.change / 2)
        first = float(np.exp(values[:12]).mean())
        power = 1 if self.has_tank else 2
        pascals = mass**power * temperature / (2 * tap)  # of loss at today's flow, for each unit
        typed, clean = self._needs.filter_limit_pa, self._needs.filter_clean_pa_s_m3
        if typed is not None and self.has_tank:
            limit, kind = typed / pascals, "typed"
        elif clean is not None and self.has_tank:
            limit, kind = 2 * clean * mass * GAS_CONSTANT * temperature / tap / pascals, "doubled"
        elif self.has_tank:
            limit, kind = 2 * first, "doubled"
        else:
            limit, kind = first * ((openness + 1) / (1 - FLOW_LIMIT) ** 2 - openness), "flow"
        at_s = float(time_s[-1])
        seconds = line.end_s - line.start_s
        spread = 2 * line.change_u
        # What else lies between the two sensors shifts the limit as it is measured.
        shift = 0.0
        if self.has_tank:
            entry_u = PIPE_ENTRY_HALF_WIDTH / math.sqrt(3)
            shift = 2 * entry_u * GAS_CONSTANT * mass / self._pipe_area_m2**2

        def reached(change: float, at: float) -> float | None:
            if now >= at:
                return at_s
            if change <= 0:
                return None
            wait_s = (at - now) / change * seconds
            return at_s + wait_s if wait_s < HORIZON_S else None

        return Forecast(
            kind,
            reached(line.change, limit),
            reached(line.change + spread, limit - shift),
            reached(line.change - spread, limit + shift),
        )

"""The cut watch: what the board sends goes in, alarms come out, in the order of time."""

import math
from collections import deque
from dataclasses import replace
from typing import Any, Final

from scipy.special import ndtr

from pullcurve.cut import resistance as path
from pullcurve.cut.alarm import CutAlarm, Forecast, Kind, Place
from pullcurve.cut.clog import DESIGN_RUN_S, Sudden, SuddenLoss
from pullcurve.cut.filter_and_leak import Finding, SlowLoss
from pullcurve.cut.loss_reset import STOOD_S
from pullcurve.cut.minutes import History, Minutes
from pullcurve.cut.needs import Needs, needs_of
from pullcurve.cut.samples import SAMPLE_S, Sample, Samples
from pullcurve.cut.throttle import BACK, NEW_HOLD, SAG, Throttle
from pullcurve.rig.models import Rig
from pullcurve.stream.record_stream import Batch

SAG_LASTS_S: Final = 180.0  # then the speed is meant
CALM_AFTER_S: Final = 8.0  # of a clog, until samples count as quiet again
DOUBTFUL_S: Final = 3.0  # before a sudden change began, as far as that is known
SLOW_NOZZLE_S: Final = 10.0
MOVED: Final = 0.05  # of the speed, from before the throttle moved
FRESH_CLOG_S: Final = 15.0  # a clog that stands longer lets the spoil settle
FLOW_U95: Final = 0.03  # of the flow, for the velocity (the report's interval is the stricter one)
MOST_SURE: Final = 0.9999
SUDDEN_LOOKS: Final = DESIGN_RUN_S / 2.0  # means over 2 s in the run length to a false alarm
# An alarm that lasts is told again when it is worse by so much, or when it was told so long ago.
WORSE: Final = 1.25
TOLD_FOR_S: Final = 600.0


class Watch:
    """Feed it with what a source yields; each call returns the alarms that were just spoken and
    those that just ended. Memory does not grow with time but for the list of alarms."""

    def __init__(self, rig: Rig, needs: Needs | None = None) -> None:
        self.rig = rig
        self.needs = needs_of(rig) if needs is None else needs
        self.samples = Samples(rig)
        self.throttle = Throttle()
        self.storage = path.Storage()
        self.sudden = SuddenLoss()
        self._pipe_area_m2 = math.pi / 4 * rig.meter.pipe_bore**2
        self.slow = SlowLoss(self.needs, self._pipe_area_m2)
        self.minutes = Minutes()
        self.history = History()
        self.events: list[CutAlarm] = []
        self.work_began_s: list[float] = []
        self.now: Sample | None = None
        self._open: dict[str, int] = {}
        self._found: dict[str, Finding] = {}  # of the slow ones that are open
        self._told: dict[str, tuple[float, float]] = {}  # of the open ones: when, and how large
        self._stood_from_s = math.nan
        self._last_stop_s = -math.inf
        self._busy_until_s = -math.inf
        self._steady_rpm = math.nan
        self._held: list[tuple[Sample, float, float]] = []  # until it is known to be no clog
        self._air: deque[float] = deque(maxlen=round(SLOW_NOZZLE_S / SAMPLE_S))
        self._news: list[CutAlarm] = []

    def take(self, batch: Batch) -> list[CutAlarm]:
        self._news = []
        for sample in self.samples.take(batch):
            self._sample(sample)
        return self._news

    def finish(self) -> list[CutAlarm]:
        """The source has ended: go through the whole of it once more for what was too slow to be
        seen live, and leave open what lasts."""
        self._news = []
        if self.now is not None:
            self._slow_findings(self.now.time_s, afterwards=True)
        return self._news

    def _sample(self, sample: Sample) -> None:
        self.now = sample
        self.history.add(sample)
        self._attend_stop(sample)
        time_s = sample.time_s
        steady = self.throttle.add(time_s, sample.speed_rpm)
        if self.throttle.new_hold:
            self.slow.splice()
        x = self.storage.resistance(sample)
        if sample.after_gap:
            self.sudden.interrupt()
        if not steady or not math.isfinite(x) or sample.clipped:
            self._air.clear()
            self._held.clear()
            if not steady:
                self._stopped(sample)
            self.sudden.interrupt()
            self.slow.slip.skip()
            self.minutes.add(sample, steady=False, quiet=False, lost=math.nan)
            return
        if abs(math.log(sample.speed_rpm / self._steady_rpm)) > MOVED:
            self.sudden.new_speed(sample.speed_rpm / self._steady_rpm)
        self._steady_rpm = sample.speed_rpm
        openness = path.openness(sample)
        for change in self.sudden.add(time_s, x, openness):
            self._changed(change, sample, openness)
        cloth = path.filter_resistance(sample, self._pipe_area_m2)
        if math.isfinite(cloth) and not self.sudden.active:
            self.slow.filter_at(time_s, cloth, sample.speed_rpm)
        if self.sudden.active == "clog" and "clog" in self._open:
            self._follow_clog(time_s, openness)
        if self.sudden.active:
            self._busy_until_s = time_s + CALM_AFTER_S
        quiet = self.sudden.quiet and time_s >= self._busy_until_s
        self.minutes.add(
            sample, steady=True, quiet=quiet, lost=path.flow_lost(x - self.sudden.base, openness)
        )
        if self.sudden.active or time_s < self._busy_until_s:
            self._held.clear()
        else:
            self._held.append((sample, x, openness))
        if quiet:
            self._quiet()
        self._sag(time_s)
        self._nozzle(sample)

    def _attend_stop(self, sample: Sample) -> None:
        if sample.speed_rpm == 0:
            if math.isnan(self._stood_from_s):
                self._stood_from_s = sample.time_s
        elif sample.speed_rpm > 0:
            if sample.time_s - self._stood_from_s >= STOOD_S:
                self.slow.stood()
                self._last_stop_s = self._stood_from_s
            self._stood_from_s = math.nan

    def _follow_clog(self, time_s: float, openness: float) -> None:
        """Its size is that at its worst."""
        event = self.events[self._open["clog"]]
        size = path.flow_lost(self.sudden.rise, openness)
        if size > event.size:
            rise, rise_u = self.sudden.rise, self.sudden.rise_u
            sure = max(event.sure or 0.0, _sure(rise, rise_u))
            size_u95 = rise_u / (1 + openness)
            self._grown("clog", time_s, size=size, size_u95=size_u95, sure=sure)

    def _grown(self, key: str, time_s: float, **now: Any) -> None:
        """An open alarm is larger, or better known."""
        place = self._open[key]
        event = self.events[place] = replace(self.events[place], **now)
        told_s, told_size = self._told[key]
        if abs(event.size) > WORSE * abs(told_size) or time_s - told_s > TOLD_FOR_S:
            self._told[key] = (time_s, event.size)
            self._news.append(event)

    def _stopped(self, sample: Sample) -> None:
        """The throttle moves or the engine stops: what was judged by the speed is over."""
        for kind in ("speed_sag", "slow_nozzle"):
            self._end(kind, sample.time_s)
        if sample.speed_rpm == 0:
            for kind in ("clog", "hose_off"):
                self._end(kind, sample.time_s)

    def _changed(self, change: Sudden, sample: Sample, openness: float) -> None:
        time_s = sample.time_s
        if change.what == "work_begins":
            self.work_began_s.append(change.start_s)
            self.slow.work_begins()
        elif change.what == "over":
            self._end(self._sudden_open(), change.start_s)
            self._air.clear()
        elif change.what == "stays":
            self._end(self._sudden_open(), change.start_s, stays=True)
            self.throttle.hold_here()  # the governor gives way to the load
        else:
            kind: Kind = "clog" if change.what == "clog" else "hose_off"
            size = path.flow_lost(change.rise, openness)
            size_u = 0.5 * change.rise_u / (1 + openness)
            sure = _sure(change.rise, change.rise_u)
            self.slow.forget(change.start_s - DOUBTFUL_S)
            self.minutes.forget(change.start_s - DOUBTFUL_S)
            self._speak(kind, change.start_s, time_s, size, size_u, sure)

    def _sudden_open(self) -> str:
        return "clog" if "clog" in self._open else "hose_off"

    def _quiet(self) -> None:
        """What was held back looked like a clog at most: without it the mean would be that of
        lighter spoil."""
        now_s = self._held[-1][0].time_s
        for sample, x, openness in self._held:
            hose = path.hose_resistance(sample)
            turn, slip = path.intake_per_turn(sample)
            done = self.slow.add(
                sample.time_s,
                (x, hose, turn, slip),
                loaded=self.sudden.loaded(x),
                speed_rpm=sample.speed_rpm,
                facts=(sample.mass_flow_kg_s, sample.ambient_k, sample.tap_pa, openness),
            )
            if done:
                self._slow_findings(now_s, afterwards=False)
        self._held.clear()

    def _slow_findings(self, time_s: float, *, afterwards: bool) -> None:
        for key, found in list(self._found.items()):
            told_s = self.events[self._open[key]].spoken_s
            if told_s < self._last_stop_s and self.slow.undone(found):
                self._end(key, self._last_stop_s)
                del self._found[key]
        self.slow.stops.all_asked()
        for found in self.slow.findings():
            kind: Kind = "leak" if found.what == "leak" else "filter_loading"
            key = f"{kind} behind" if found.places == ("C",) else kind
            if key in self._open and self.slow.stops.waits(self._found[key].residual):
                continue
            self._found[key] = found
            if key in self._open:
                self._grown(
                    key,
                    time_s,
                    size=found.size,
                    size_u95=2 * found.size_u,
                    sure=min(found.sure, MOST_SURE),
                    places=found.places,
                    forecast=found.forecast,
                )
                continue
            self._speak(
                kind,
                found.start_s,
                time_s,
                found.size,
                found.size_u,
                found.sure,
                key=key,
                places=found.places,
                forecast=found.forecast,
                measured_by=found.measured_by,
                afterwards=afterwards,
            )

    def _sag(self, time_s: float) -> None:
        sag = self.throttle.sag
        if not math.isfinite(sag):
            return
        if "speed_sag" not in self._open:
            if sag > SAG and time_s >= self._busy_until_s:
                self._speak("speed_sag", time_s - 10.0, time_s, sag, self.throttle.sag_u, None)
            elif sag < -NEW_HOLD:
                self._hold_here()
        elif sag < BACK * SAG:
            self._end("speed_sag", time_s)
        elif time_s - self.events[self._open["speed_sag"]].spoken_s > SAG_LASTS_S:
            self._end("speed_sag", time_s, stays=True)
            self._hold_here()

    def _hold_here(self) -> None:
        """This speed is meant."""
        self.throttle.hold_here()
        self.slow.splice()

    def _nozzle(self, sample: Sample) -> None:
        wanted, velocity = self.needs.velocity_m_s, self.velocity(sample)
        if wanted is None or not math.isfinite(velocity):
            return
        self._air.append(velocity)
        if len(self._air) < SLOW_NOZZLE_S / SAMPLE_S:
            return
        mean = sum(self._air) / len(self._air)
        u = FLOW_U95 / 2 * mean
        start_s = sample.time_s - SLOW_NOZZLE_S
        if "slow_nozzle" in self._open:
            if min(self._air) > wanted:
                spoken_s = self.events[self._open["slow_nozzle"]].spoken_s
                self._end("slow_nozzle", max(start_s, spoken_s))
        elif max(mean, velocity) < wanted and not self._explained(sample.time_s):
            size = 1 - mean / wanted
            sure = _within((wanted - mean) / u)
            self._speak("slow_nozzle", start_s, sample.time_s, size, u / wanted, sure)

    def _explained(self, time_s: float) -> bool:
        """Whether a clog, still fresh, says why the air is slow."""
        if "clog" in self._open:
            return time_s - self.events[self._open["clog"]].spoken_s < FRESH_CLOG_S
        return time_s < self._busy_until_s

    def velocity(self, sample: Sample) -> float:
        """Of the open air at the nozzle, m/s, if all air that passes the meter came in there: an
        upper bound, less what leaks in on the way. NaN without the hose's bore."""
        if self.needs.hose_bore_m is None:
            return math.nan
        area = math.pi / 4 * self.needs.hose_bore_m**2
        return sample.mass_flow_kg_s * path.rt(sample) / sample.ambient_pa / area

    def _speak(
        self,
        kind: Kind,
        start_s: float,
        time_s: float,
        size: float,
        size_u: float,
        sure: float | None,
        *,
        key: str = "",
        places: tuple[Place, ...] = (),
        forecast: Forecast | None = None,
        measured_by: str = "",
        afterwards: bool = False,
    ) -> None:
        event = CutAlarm(
            len(self.events) + 1,
            kind,
            round(start_s, 2),
            round(time_s, 2),
            None,
            size,
            2 * size_u,
            None if sure is None else min(sure, MOST_SURE),
            places,
            forecast,
            measured_by,
            seen_afterwards=afterwards,
        )
        self._open[key or kind] = len(self.events)
        self._told[key or kind] = (time_s, size)
        self.events.append(event)
        self._news.append(event)

    def _end(self, key: str, time_s: float, *, stays: bool = False) -> None:
        place = self._open.pop(key, None)
        if place is not None:
            ended = replace(self.events[place], end_s=round(time_s, 2), stays=stays)
            self.events[place] = ended
            self._news.append(ended)


def _sure(rise: float, rise_u: float) -> float:
    """Of a sudden change, not more than MOST_SURE."""
    return min(_within(abs(rise) / max(rise_u, 1e-9), SUDDEN_LOOKS), MOST_SURE)


def _within(deviations: float, looks: float = 1.0) -> float:
    """Probability that a normal distribution does not show so many standard deviations in so many
    independent looks."""
    return max(1 - looks * float(ndtr(-deviations)), 0.0)

"""A recorded cut: the watch fed with its log, and what the shift came to."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pullcurve.cut.alarm import CutAlarm, Forecast
from pullcurve.cut.needs import needs_of
from pullcurve.cut.watch import Watch
from pullcurve.examine import Run, reduce_run, rig_of
from pullcurve.measure.settled_points import Stretch
from pullcurve.results import doc
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import read_log
from pullcurve.sources.replay import Replay
from pullcurve.stream.record_stream import RecordStream
from pullcurve.stream.records import Assembler


@dataclass(frozen=True)
class FilterState:
    """Growth of the filter's loss, or of the whole path's without a tank sensor."""

    measured_by: Literal["filter", "path"]
    since_s: float
    growth: Annotated[float, doc("of its loss at the same flow, since then")]
    growth_u95: float
    forecast: Forecast | None


@dataclass(frozen=True)
class Shift:
    """What a shift came to, in seconds of it."""

    length_s: float
    running_s: float
    enough_s: Annotated[float, doc("steady, with nine tenths of the working flow or more")]
    short_s: Annotated[float, doc("steady, with less: the time lost")]
    clogs: int
    clogged_s: float
    filter: FilterState | None


@dataclass(frozen=True)
class Cut:
    """A recorded cut, watched. `run` has one point a quiet minute."""

    run: Run
    watch: Watch
    events: list[CutAlarm]
    shift: Shift


def read_cut(
    path: str | Path,
    rig: str | Path | Rig | None = None,
    filter_limit_pa: float | None = None,
) -> Cut:
    """Watch a recorded cut as if it came in now, at full speed.

    Raises LogError or RigError with a sentence that says what is wrong and what to do.
    """
    log = read_log(Path(path))
    used = rig if isinstance(rig, Rig) else rig_of(log, rig)
    stream = RecordStream()
    watch, assembler = Watch(used, needs_of(used, filter_limit_pa)), Assembler()
    with Replay(log) as source:
        for received in source:
            batch = stream.add(received)
            watch.take(batch)
            assembler.take(batch)
    watch.finish()
    records = assembler.finish(str(path))
    stretches = [
        Stretch(minute.quiet_from_s, minute.quiet_to_s, minute.speed_rpm)
        for minute in watch.minutes.quiet()
    ]
    run = reduce_run(log, records, used, stretches)
    return Cut(run, watch, watch.events, shift_of(watch))


def shift_of(watch: Watch) -> Shift:
    """What the shift has come to so far."""
    minutes = watch.minutes.all
    now_s = watch.now.time_s if watch.now else 0.0
    clogs = [event for event in watch.events if event.kind == "clog"]
    trend = watch.slow.filter_trend()
    return Shift(
        length_s=now_s,
        running_s=sum(minute.running_s for minute in minutes),
        enough_s=sum(minute.enough_s for minute in minutes),
        short_s=sum(minute.short_s for minute in minutes),
        clogs=len(clogs),
        clogged_s=sum((now_s if e.end_s is None else e.end_s) - e.start_s for e in clogs),
        filter=None
        if trend is None
        else FilterState(
            "filter" if watch.slow.has_tank else "path",
            trend[0].start_s,
            math.expm1(trend[0].change),
            2 * math.exp(trend[0].change) * trend[0].change_u,
            trend[1],
        ),
    )

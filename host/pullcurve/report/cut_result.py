"""The result of a watched cut: what its JSON file holds and its page is made from.

Values are SI; times are board seconds since the first block. Names as in DEVELOPERS.md.
"""

import math
from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime
from typing import Literal

from pydantic import Field

from pullcurve.cut.alarm import Event, Forecast
from pullcurve.cut.shift import Cut
from pullcurve.physics.air import standard_flow
from pullcurve.report.fields import Frozen
from pullcurve.report.from_run import result_of
from pullcurve.report.result import Provenance, SettledPoint, Zero


class FilterForecast(Frozen):
    """When the limit is reached; null: not within two days. The interval is of 95 %."""

    limit: Literal["typed", "doubled", "flow"]
    at_s: float | None
    earliest_s: float | None
    latest_s: float | None


class CutEvent(Frozen):
    """One alarm."""

    number: int
    kind: Literal["clog", "hose_off", "filter_loading", "leak", "speed_sag", "slow_nozzle"]
    start_s: float = Field(description="when it began, as far as was known when it was spoken")
    end_s: float | None = Field(description="null while it lasts")
    spoken_s: float = Field(description="when a live watcher would have spoken")
    seen_afterwards: bool = Field(description="found only when the whole log was gone through")
    size: float = Field(
        description="share of the flow at this speed that it took, a clog that is over at its "
        "worst; of the speed for a sag, of the wanted velocity for a slow nozzle; growth of the "
        "loss for a filter"
    )
    size_u95: float
    sure: float | None = Field(
        description="probability that scatter does not show as much, for a clog or hose off in "
        "12 h of work; null where nothing is inferred"
    )
    places: tuple[Literal["A", "B", "C"], ...] = Field(description="where a leak may be")
    measured_by: str
    forecast: FilterForecast | None
    stays: bool = Field(description="it ended as it was: taken as the new level")


class FilterState(Frozen):
    measured_by: Literal["filter", "path"]
    since_s: float
    growth: float = Field(description="of its loss at the same flow, since then")
    growth_u95: float
    forecast: FilterForecast | None


class ShiftFacts(Frozen):
    """Seconds of the shift."""

    length_s: float
    running_s: float
    enough_s: float = Field(description="steady, with nine tenths of the working flow or more")
    short_s: float = Field(description="steady, with less: the time lost")
    clogs: int
    clogged_s: float
    filter: FilterState | None


class CutStrip(Frozen):
    """Over the shift, thinned for drawing."""

    time_s: tuple[float, ...]
    standard_flow_m3_s: tuple[float | None, ...]
    vacuum_pa: tuple[float | None, ...] = Field(description="in the clean pipe, at the meter")
    speed_rpm: tuple[float | None, ...]


class CutResult(Frozen):
    """Everything that is said of a watched cut."""

    title: str
    started: datetime | None
    duration_s: float
    reference_conditions: str
    shift: ShiftFacts
    events: tuple[CutEvent, ...]
    work_began_s: tuple[float, ...] = Field(description="the hose was clean, then loaded")
    minutes: tuple[SettledPoint, ...] = Field(description="one point a quiet minute")
    zeros: tuple[Zero, ...]
    strip: CutStrip
    provenance: Provenance


def cut_result(cut: Cut) -> CutResult:
    run = result_of(cut.run)
    shift = cut.shift
    return CutResult(
        title=run.title,
        started=run.provenance.started,
        duration_s=run.duration_s,
        reference_conditions=run.reference_conditions,
        shift=ShiftFacts(
            length_s=shift.length_s,
            running_s=shift.running_s,
            enough_s=shift.enough_s,
            short_s=shift.short_s,
            clogs=shift.clogs,
            clogged_s=shift.clogged_s,
            filter=None
            if shift.filter is None
            else FilterState(
                measured_by="filter" if shift.filter.measured_by == "filter" else "path",
                since_s=shift.filter.since_s,
                growth=shift.filter.growth,
                growth_u95=shift.filter.growth_u95,
                forecast=_forecast(shift.filter.forecast),
            ),
        ),
        events=tuple(_event(event) for event in cut.events),
        work_began_s=tuple(cut.watch.work_began_s),
        minutes=run.points,
        zeros=run.zeros,
        strip=_strip(cut),
        provenance=run.provenance,
    )


def _event(event: Event) -> CutEvent:
    return CutEvent(
        number=event.number,
        kind=event.kind,
        start_s=event.start_s,
        end_s=event.end_s,
        spoken_s=event.spoken_s,
        seen_afterwards=event.seen_afterwards,
        size=event.size,
        size_u95=event.size_u95,
        sure=event.sure,
        places=event.places,
        measured_by=event.measured_by,
        forecast=_forecast(event.forecast),
        stays=event.stays,
    )


def _forecast(forecast: Forecast | None) -> FilterForecast | None:
    return None if forecast is None else FilterForecast.model_validate(asdict(forecast))


def _strip(cut: Cut) -> CutStrip:
    rows = cut.watch.history.rows
    if not rows:
        return CutStrip(time_s=(), standard_flow_m3_s=(), vacuum_pa=(), speed_rpm=())
    time_s, mass, vacuum, speed = zip(*rows, strict=True)
    return CutStrip(
        time_s=time_s,
        standard_flow_m3_s=_known(float(standard_flow(value)) for value in mass),
        vacuum_pa=_known(vacuum),
        speed_rpm=_known(speed),
    )


def _known(values: Iterable[float]) -> tuple[float | None, ...]:
    return tuple(value if math.isfinite(value) else None for value in values)

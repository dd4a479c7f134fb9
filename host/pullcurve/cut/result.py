"""The result of a watched cut: what its JSON file holds and its page is made from.

Values are SI; times are board seconds since the first block. Names as in DEVELOPERS.md.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, ClassVar, Literal

from pydantic import ConfigDict

from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.shift import Cut, Shift
from pullcurve.measure.points import SettledPoint, Zero, points_of, zeros_of
from pullcurve.physics.air import STANDARD_CONDITIONS, standard_flow
from pullcurve.results import STRICT, doc
from pullcurve.run_log.provenance import Provenance, provenance


@dataclass(frozen=True)
class CutStrip:
    """Over the shift, thinned for drawing."""

    time_s: tuple[float, ...]
    standard_flow_m3_s: tuple[float | None, ...]
    vacuum_pa: Annotated[tuple[float | None, ...], doc("in the clean pipe, at the meter")]
    speed_rpm: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class CutResult:
    """Everything that is said of a watched cut."""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    schema_version: Literal[2] = 2
    title: str
    started: datetime | None
    duration_s: float
    reference_conditions: str
    shift: Shift
    events: tuple[CutAlarm, ...]
    work_began_s: Annotated[tuple[float, ...], doc("the hose was clean, then loaded")]
    minutes: Annotated[tuple[SettledPoint, ...], doc("one point a quiet minute")]
    zeros: tuple[Zero, ...]
    strip: CutStrip
    provenance: Provenance


def cut_result(cut: Cut) -> CutResult:
    """Say everything that is said of a watched cut."""
    run = cut.run
    table, origin = run.channels.table, provenance(run.log, run.records, run.rig)
    return CutResult(
        title=run.rig.name,
        started=origin.started,
        duration_s=float(table["time_s"].iloc[-1] + table["length_s"].iloc[-1] / 2),
        reference_conditions=STANDARD_CONDITIONS.name,
        shift=cut.shift,
        events=tuple(cut.events),
        work_began_s=tuple(cut.watch.work_began_s),
        minutes=points_of(run.points, run.flows),
        zeros=zeros_of(run.zeros.table),
        strip=_strip(cut),
        provenance=origin,
    )


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

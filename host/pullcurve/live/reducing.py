"""The whole log, reduced in a process of its own, so that a long run does not slow the page."""

import math
import signal
import time
from collections.abc import Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from pullcurve.diagnosis.diagnose import diagnose
from pullcurve.errors import PullcurveError
from pullcurve.quantities import UNIT_SYSTEMS
from pullcurve.reduction.cut_watch.shift import read_cut
from pullcurve.reduction.run import read_run
from pullcurve.reduction.troubles import Trouble
from pullcurve.report.cut_page import cut_page
from pullcurve.report.cut_result import cut_result
from pullcurve.report.from_run import result_of
from pullcurve.report.page import page
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.models import Rig


@dataclass(frozen=True)
class Point:
    """A settled point, SI but for the speed. The flow is None where it is withheld."""

    sweep: int
    hold: int
    start_s: float
    end_s: float
    speed_rpm: float
    speed_u95_rpm: float
    flow_m3_s: float | None
    flow_u95_m3_s: float | None
    withheld: str


@dataclass(frozen=True)
class Reduced:
    """What the log says so far. `fault` says why it says nothing."""

    points: tuple[Point, ...] = ()
    troubles: tuple[Trouble, ...] = ()
    zeros: int = 0
    duration_s: float = 0.0
    seconds: float = 0.0  # that it took
    fault: str = ""


class Reducer:
    """Works on one request at a time."""

    def __init__(self, rig: Rig) -> None:
        self._rig = (rig.text, rig.file)
        self._pool = ProcessPoolExecutor(1, get_context("spawn"), initializer=_leave_ctrl_c)

    def reduce(self, log: Path) -> "Future[Reduced]":
        return self._pool.submit(_reduce, log, *self._rig)

    def report(self, log: Path, units: str, *, of_shift: bool) -> "Future[str]":
        """The report of the run, or of the shift that a cut was, as a page. Its future raises
        PullcurveError where there is none to make."""
        return self._pool.submit(_shift if of_shift else _report, log, *self._rig, units)

    def close(self) -> None:
        self._pool.shutdown(wait=False, cancel_futures=True)


def _leave_ctrl_c() -> None:
    """The process that started this one ends it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _reduce(log: Path, rig_text: str, rig_name: str) -> Reduced:
    began_s = time.perf_counter()
    try:
        run = read_run(log, parse_rig(rig_text, rig_name))
    except PullcurveError as fault:
        return Reduced(fault=str(fault), seconds=time.perf_counter() - began_s)
    points = tuple(
        Point(
            sweep=row["sweep"],
            hold=row["hold"],
            start_s=row["start_s"],
            end_s=row["end_s"],
            speed_rpm=row["speed_rpm"],
            speed_u95_rpm=row["speed_u95_rpm"],
            flow_m3_s=_stated(row, "standard_flow_m3_s"),
            flow_u95_m3_s=_stated(row, "standard_flow_u95_m3_s"),
            withheld=row["withheld"],
        )
        for row in run.points.to_dict("records")
    )
    return Reduced(
        points=points,
        troubles=tuple(run.troubles),
        zeros=len(run.zeros.table),
        duration_s=float(run.channels.table["time_s"].iloc[-1]),
        seconds=time.perf_counter() - began_s,
    )


def _stated(row: Mapping[Any, Any], column: str) -> float | None:
    value = row[column]
    return None if row["withheld"] or not math.isfinite(value) else float(value)


def _report(log: Path, rig_text: str, rig_name: str, units: str) -> str:
    run = read_run(log, parse_rig(rig_text, rig_name))
    return page(result_of(run, diagnose(run)), UNIT_SYSTEMS[units])


def _shift(log: Path, rig_text: str, rig_name: str, units: str) -> str:
    return cut_page(cut_result(read_cut(log, parse_rig(rig_text, rig_name))), UNIT_SYSTEMS[units])

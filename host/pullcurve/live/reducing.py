"""The log's newest hour, reduced in a process of its own, so that it does not slow the page."""

import math
import os
import signal
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from multiprocessing import get_context, parent_process
from pathlib import Path
from threading import Thread
from typing import Any

from pullcurve.checks.catalogue import Finding
from pullcurve.cut.result import cut_result
from pullcurve.cut.shift import read_cut
from pullcurve.diagnosis.diagnose import diagnose
from pullcurve.errors import PullcurveError
from pullcurve.examine import Run, read_run, reduce_run
from pullcurve.live.window import Keeping
from pullcurve.measure.points import Withheld
from pullcurve.quantities import UNIT_SYSTEMS
from pullcurve.report.cut_page import cut_page
from pullcurve.report.from_run import result_of
from pullcurve.report.page import page
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import GrowingLog, Log
from pullcurve.stream.record_stream import RecordStream
from pullcurve.stream.records import Assembler

KEPT_S = 3600.0  # more than any sweep takes, and reduced in some seconds
PIECE = 1 << 23  # bytes of a log at a time, about as much as an hour


@dataclass(frozen=True)
class Point:
    """A settled point, SI but for the speed. The flow is None where it is withheld."""

    sweep: int
    hold: int
    began: datetime
    speed_rpm: float
    flow_m3_s: float | None
    flow_u95_m3_s: float | None
    withheld: Withheld | None


@dataclass(frozen=True)
class Reduced:
    """What the log's newest hour says; `whole`: it is the whole log. `fault` says why it says
    nothing."""

    points: tuple[Point, ...] = ()
    findings: tuple[Finding, ...] = ()
    whole: bool = True
    seconds: float = 0.0  # that it took
    fault: str = ""


class Reducer:
    """Reduces in a process that lasts, and makes each report in one of its own: a report reads
    the whole log, and gives back the memory that this takes."""

    def __init__(self, rig: Rig) -> None:
        self._rig = (rig.text, rig.file)
        self._pool = _process()

    def reduce(self, log: Path) -> "Future[Reduced]":
        with _ctrl_c_held_back():
            try:
                return self._pool.submit(_reduce, log, *self._rig)
            except BrokenProcessPool:  # it was killed since, perhaps for its memory
                self._pool = _process()
                return self._pool.submit(_reduce, log, *self._rig)

    def report(self, log: Path, units: str, *, of_shift: bool) -> "Future[str]":
        """The report of the run, or of the shift that a cut was, as a page. Its future raises
        PullcurveError where there is none to make."""
        pool = _process()
        with _ctrl_c_held_back():
            future = pool.submit(_shift if of_shift else _report, log, *self._rig, units)
        pool.shutdown(wait=False)  # it ends when the report is made
        return future

    def close(self) -> None:
        self._pool.shutdown(cancel_futures=True)


def _process() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(1, get_context("spawn"), initializer=_belong)


@contextmanager
def _ctrl_c_held_back() -> Iterator[None]:
    """A process that is begun within hears no Ctrl-C, not even while it reads its modules: it
    takes the signals that are held back from the thread that begins it."""
    if not hasattr(signal, "pthread_sigmask"):  # on Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _belong() -> None:
    """The process that started this one ends it; by its own end, where it was killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


class NewestHour:
    """Follows a log while it is written. Keeps its newest part, and the newest good zero: its
    memory and its work do not grow with the run."""

    def __init__(self, path: Path, rig: Rig) -> None:
        self.path = path
        self.whole = True  # it was, when it was reduced last
        self._rig = rig
        self._growing = GrowingLog(path)
        self._stream = RecordStream()
        self._assembler = Assembler()
        self._keeping = Keeping(KEPT_S)
        self._log = Log(path)

    def reduce(self) -> Run:
        """Read what is new, and reduce. Raises PullcurveError when that is not possible yet."""
        while not self._read_piece():
            with suppress(PullcurveError):
                self._reduce()
        return self._reduce()

    def _read_piece(self) -> bool:
        """Whether it was the last one there is."""
        more = self._growing.more(PIECE)
        for received in more.received:
            self._assembler.take(self._stream.add(received))
        self._log.received = self._log.received or more.received[:1]
        self._log.host_records += more.host_records
        self._log.damaged += more.damaged
        return self._growing.is_at_end

    def _reduce(self) -> Run:
        records, self.whole = None, self._keeping.whole
        try:
            records = self._assembler.finish(str(self.path))
            run = reduce_run(self._log, records, self._rig)
            self._keeping.note_zeros(run.zeros.table, records)
        finally:
            self._keeping.forget(self._assembler, records)
        return run


_newest: NewestHour | None = None  # of the side process


def _reduce(log: Path, rig_text: str, rig_name: str) -> Reduced:
    global _newest  # noqa: PLW0603  (a process of its own follows one log)
    began_s = time.perf_counter()
    try:
        if _newest is None or _newest.path != log:
            _newest = NewestHour(log, parse_rig(rig_text, rig_name))
        run = _newest.reduce()
    except PullcurveError as fault:
        return Reduced(fault=str(fault), seconds=time.perf_counter() - began_s)
    first = run.log.received[0].host_time + timedelta(seconds=run.records.host_offset_s)
    points = tuple(
        Point(
            sweep=row["sweep"],
            hold=row["hold"],
            began=first + timedelta(seconds=row["start_s"]),
            speed_rpm=row["speed_rpm"],
            flow_m3_s=_stated(row, "standard_flow_m3_s"),
            flow_u95_m3_s=_stated(row, "standard_flow_u95_m3_s"),
            withheld=row["withheld"] or None,
        )
        for row in run.points.to_dict("records")
    )
    return Reduced(
        points=points,
        findings=run.troubles,
        whole=_newest.whole,
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

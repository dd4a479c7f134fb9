"""One watch: a source into a run log, and what it says on the noticeboard.

Two threads: one receives and writes, and says the newest second; the other looks at the newest
minute once a second, and asks for the whole log to be reduced now and then.
"""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Lock, Thread

from pullcurve.errors import LinkError, PullcurveError
from pullcurve.live import words
from pullcurve.live.noticeboard import Noticeboard
from pullcurve.live.reducing import Reduced, Reducer
from pullcurve.quantities import UNIT_SYSTEMS
from pullcurve.recording import Watcher, record
from pullcurve.reduction.latest import Latest, Now
from pullcurve.rig.models import Rig
from pullcurve.run_log.notes import Note, Spoken, understand
from pullcurve.run_log.writing import LogWriter
from pullcurve.sources import Received, Source

LOOK_EVERY_S = 1.0  # of the source's time
BEAT_S = 0.2
TRY_AGAIN_S = 2.0
REDUCE_EVERY_S = 3.0
REST = 10.0  # times as long as a reduction took, until the next one
HEAR_S = 12.0  # for the source to stop, once what it asked for again has come


class Session:
    """`patient`: a source that is not there is waited for."""

    def __init__(
        self,
        open_source: Callable[[], Source],
        log: Path,
        rig: Rig | None,
        units: str,
        board: Noticeboard,
        *,
        watchers: Sequence[Watcher] = (),
        notes: Sequence[Note] = (),
        patient: bool = False,
    ) -> None:
        self.log = log
        self.fault = ""
        self.display_faults: list[Exception] = []
        self._open_source = open_source
        self._rig = rig
        self._units_name = units
        self._units = UNIT_SYSTEMS[units]
        self._board = board
        self._watchers = watchers
        self._carried = notes
        self._patient = patient
        self._latest = Latest(rig)
        self._now = Now("no flow", 0.0, "Nothing has come from a board yet.")
        self._reducer = Reducer(log, rig.text, rig.file) if rig is not None else None
        self._reduction: Future[Reduced] | None = None
        self._reduced: Reduced | None = None
        self._reduce_at_s = 0.0
        self._hold_ended = False
        self._complete = False  # the whole log has been reduced after its end
        self._typed: SimpleQueue[tuple[datetime, Spoken, str]] = SimpleQueue()
        self._append = Lock()
        self._gone = False
        self._open = False
        self._ended = Event()
        self._stopping = Event()
        self._heard_s = time.monotonic()
        self._first: datetime | None = None
        self._newest: datetime | None = None
        self._threads = [
            Thread(target=self._record, daemon=True, name="recording"),
            Thread(target=self._watch, daemon=True, name="watching"),
        ]

    def start(self) -> None:
        self._board.post("about", words.about(self._rig, self._units))
        self._board.post("curve", words.curve_words((), self._units))
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End the recording, with its last record whole."""
        self._stopping.set()
        for thread in self._threads:
            thread.join(HEAR_S)
        if self._reducer is not None:
            self._reducer.close()

    def say(self, text: str, at: str = "") -> str:
        """Write what a person typed into the log, and return it as it was understood.

        Raises ValueError with a sentence when it cannot be understood, LogError when it cannot
        be written.
        """
        spoken = understand(text)
        when = self._newest or datetime.now().astimezone()
        with self._append:
            if self._open:
                self._typed.put((when, spoken, at))
            elif self._first is not None:
                with LogWriter(self.log, append=True) as writer:
                    writer.note(when, spoken, at)
            else:
                raise ValueError("nothing is recorded yet, so there is no log to write it into")
        return f"{spoken.what.replace('_', ' ')} {spoken.value} {spoken.place}".rstrip()

    def report(self) -> "Future[str]":
        """The report of the log as it stands. Raises PullcurveError without a rig."""
        if self._reducer is None:
            raise PullcurveError(self._now.fault)
        return self._reducer.report(self._units_name)

    # Receiving

    def _record(self) -> None:
        try:
            source = self._entered()
            if source is None:
                return
            try:
                self._receive_all(source)
            finally:
                source.__exit__(None, None, None)
        except PullcurveError as fault:
            self.fault = str(fault)
        except Exception as fault:  # noqa: BLE001  (the page must say that it stands still)
            self.fault = f"The recording ended by an error of its own: {fault!r}."
        finally:
            self._ended.set()

    def _entered(self) -> Source | None:
        """The source, once its way is open; None when the watch has been stopped before."""
        while not self._stopping.is_set():
            try:
                source = self._open_source()
                source.__enter__()
            except LinkError as fault:
                if not self._patient:
                    raise
                self.fault = f"{fault} It is tried again every {TRY_AGAIN_S:.0f} s."
                self._stopping.wait(TRY_AGAIN_S)
            else:
                self.fault = ""
                self._heard_s = time.monotonic()
                return source
        return None

    def _receive_all(self, source: Source) -> None:
        with LogWriter(self.log, source=source.name) as writer:
            now = datetime.now().astimezone()
            if self._rig is not None:
                writer.rig(now, self._rig.text)
            for note in self._carried:
                writer.note(note.host_time, Spoken(note.what, note.value, note.place), note.at)

            def write_typed(_: Received | None = None) -> None:
                while not self._typed.empty():
                    writer.note(*self._typed.get())

            self._open = True
            watchers: tuple[Watcher, ...] = (self._receive, write_typed, *self._watchers)
            try:
                self.display_faults += record(source, writer, watchers, self._stopping.is_set)
            finally:
                with self._append:
                    self._open = False
                write_typed()

    def _receive(self, received: Received) -> None:
        self._first = self._first or received.host_time
        self._newest = received.host_time
        if received.data:
            self._heard_s = time.monotonic()
        if received.link:
            self._gone = received.link == "lost"
        if self._latest.add(received):
            self._say_reading()

    def _say_reading(self) -> None:
        reading = self._latest.reading()
        if reading is not None:
            self._board.post("reading", words.reading_words(reading, self._units))

    # Watching

    def _watch(self) -> None:
        looked_at: datetime | None = None
        while not self._stopping.wait(BEAT_S):
            ended = self._ended.is_set()
            try:
                if self._is_due(looked_at, ended=ended):
                    looked_at = self._newest
                    self._look()
                self._attend_reduction(ended=ended)
                self._say()
            except Exception as fault:  # noqa: BLE001  (the recording goes on)
                self._now = Now("no flow", 0.0, f"The page cannot work this out: {fault!r}.")
                self._say()

    def _is_due(self, looked_at: datetime | None, *, ended: bool) -> bool:
        if self._newest is None or self._newest == looked_at:
            return False
        return (
            looked_at is None or ended or (self._newest - looked_at).total_seconds() >= LOOK_EVERY_S
        )

    def _look(self) -> None:
        now = self._latest.look()
        self._hold_ended |= self._now.state == "settled" and now.state != "settled"
        self._now = now

    def _attend_reduction(self, *, ended: bool) -> None:
        """Take what has been reduced, and ask for more when there is more in the log."""
        if self._reducer is None or self._first is None:
            return
        if self._reduction is not None:
            if not self._reduction.done():
                return
            self._take(self._reduction)
            self._reduction = None
        due = self._hold_ended or time.monotonic() >= self._reduce_at_s
        if due and not self._complete:
            self._hold_ended = False
            self._complete = ended
            self._reduction = self._reducer.reduce()

    def _take(self, reduction: "Future[Reduced]") -> None:
        try:
            reduced = reduction.result()
        except BrokenProcessPool:
            # It ran out of memory, or was killed.
            if self._rig is not None:
                self._reducer = Reducer(self.log, self._rig.text, self._rig.file)
            self._complete = False
            reduced = Reduced(fault="the reduction of the whole log was interrupted")
        self._reduce_at_s = time.monotonic() + max(REDUCE_EVERY_S, REST * reduced.seconds)
        if not reduced.fault:
            self._reduced = reduced
            self._board.post("curve", words.curve_words(reduced.points, self._units))

    def _say(self) -> None:
        way = words.Way(
            gone=self._gone,
            ended=self._ended.is_set(),
            silent_s=round(time.monotonic() - self._heard_s, 1),
            log=self.log.name,
            elapsed_s=(
                (self._newest - self._first).total_seconds()
                if self._first and self._newest
                else 0.0
            ),
            fault=self.fault,
        )
        reading = self._latest.reading()
        state = words.state_words(self._now, reading, way, self._units)
        # A page that hears no beat knows that it hears nothing.
        self._board.post("state", state | {"beat": int(time.monotonic())})
        found = words.checks(self._now, self._reduced, way, self._units)
        self._board.post("checks", [asdict(check) for check in found])

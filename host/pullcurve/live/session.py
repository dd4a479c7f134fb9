"""One watch: what is received, and what is said of it on the noticeboard.

The receiver's thread says the newest second. Another looks at the newest minute once a second,
asks for the log's newest hour to be reduced now and then, and keeps the guide informed.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import asdict, replace
from datetime import datetime
from math import inf
from pathlib import Path
from threading import Event, Lock, Thread

from pullcurve.checks.catalogue import Kind
from pullcurve.cut.watch import Watch
from pullcurve.errors import LogError, PullcurveError
from pullcurve.live import words
from pullcurve.live.alarms import Alarms, of_cut
from pullcurve.live.estimator import Latest, Now
from pullcurve.live.figures import figures, metrics
from pullcurve.live.guide import Facts, Guide
from pullcurve.live.mqtt import Publisher
from pullcurve.live.noticeboard import Noticeboard
from pullcurve.live.receiving import Receiver
from pullcurve.live.reducing import Reduced, Reducer
from pullcurve.quantities import UNIT_SYSTEMS
from pullcurve.recording import Watcher
from pullcurve.rig.models import Rig
from pullcurve.run_log.notes import Note
from pullcurve.sources.source import Source
from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import Batch, RecordStream

LOOK_EVERY_S = 1.0  # of the source's time, or of ours
BEAT_S = 0.2
REDUCE_EVERY_S = 3.0
PUBLISH_EVERY_S = 1.0
REST = 10.0  # times as long as a reduction took, until the next one
REPORT_GOOD_S = 5.0  # from when it is made: several viewers ask at once, and each asks twice
STREAM = "the board's stream: "  # what a log is called that is still coming
NOTHING_YET = Now("no flow", 0.0, "Nothing has come from a board yet.")


class _Made:
    """A report in the making, or made."""

    def __init__(self, log: Path, html: "Future[str]") -> None:
        self.log = log
        self.html = html
        self._until_s = inf
        html.add_done_callback(self._begin_to_age)

    def _begin_to_age(self, _: "Future[str]") -> None:
        self._until_s = time.monotonic() + REPORT_GOOD_S

    def is_of(self, log: Path) -> bool:
        return self.log == log and time.monotonic() < self._until_s


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
        publisher: Publisher | None = None,
        complain: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._publisher = publisher
        self._published_s = 0.0
        self.receiver = Receiver(
            open_source,
            log,
            rig.text if rig is not None else None,
            watchers=(self._decode, self._receive, self._watch_cut, *watchers),
            renewed=self._begin,
            notes=notes,
            patient=patient,
            complain=complain,
        )
        self._rig = rig
        self._units_name = units
        self._units = UNIT_SYSTEMS[units]
        self._board = board
        self._reducer = Reducer(rig) if rig is not None else None
        self.metrics = ""
        self._made: dict[bool, _Made] = {}  # by whether it is of a shift
        self._guiding = Lock()
        self._at_work = Lock()  # on what is known of the run: no run begins anew meanwhile
        self._stopping = Event()
        self._thread = Thread(target=self._watch, daemon=True, name="watching")
        self.batch: Batch  # what came last
        self._begin()

    def _begin(self) -> None:
        """Nothing is known of the run yet."""
        with self._at_work, self._guiding:
            self._stream = RecordStream()
            self._latest = Latest(self._rig)
            self._guide = Guide(self._rig, self._units_name) if self._rig is not None else None
            self._alarms = Alarms()
            self._cut = Watch(self._rig) if self._rig is not None and self.watches_cut else None
            self._cut_fault = ""
            self._now = NOTHING_YET
            self._looked_at: datetime | None = None  # by the source's clock
            self._looked_s = 0.0
            self._reduced: Reduced | None = None
            self._reduction: Future[Reduced] | None = None
            self._reduce_at_s = 0.0
            self._hold_ended = False
            self._complete = False  # the log has been reduced after its end
        self._board.post("about", words.about(self._rig, self._units) | {"cut": self.watches_cut})
        self._board.post("curve", words.curve_words(Reduced(), self._units))

    @property
    def watches_cut(self) -> bool:
        """Whether the meter stands where spoil may be on its way: only there a cut is watched."""
        return self._rig is not None and self._rig.meter.position == "clean_pipe"

    def start(self) -> None:
        if self._publisher is not None:
            self._publisher.start()
        self.receiver.start()
        self._thread.start()

    def stop(self) -> None:
        """End the recording, with its last record whole."""
        self._stopping.set()
        self.receiver.stop()
        self._thread.join()
        if self._publisher is not None:
            self._publisher.stop()
        if self._reducer is not None:
            self._reducer.close()

    def report(self, *, of_shift: bool) -> "Future[str]":
        """The report of the log as it stands, or stood some seconds ago. Raises PullcurveError
        without a rig."""
        if self._reducer is None:
            raise PullcurveError(self._now.fault)
        log, made = self.receiver.log, self._made.get(of_shift)
        if made is None or not made.is_of(log):
            html = self._reducer.report(log, self._units_name, of_shift=of_shift)
            made = self._made[of_shift] = _Made(log, html)
        return made.html

    def see(self, key: str) -> None:
        """Somebody has seen an alarm. That of a cut is noted in the log."""
        with self._guiding:
            alarm = self._alarms.see(key)
        if alarm is not None:
            with suppress(LogError):  # that nothing can be written is an alarm of its own
                self.receiver.say(f"alarm seen: {alarm.title}, {alarm.since}")

    def press(self, button: str, step: str, trouble: str) -> None:
        """A button of the guide's card of this step and trouble."""
        with self._guiding:
            if self._guide is not None and self._guide.press(button, step, trouble):
                self.receiver.begin_again()

    def answer(self, question: str, button: str, said: Mapping[str, str], hold: str) -> str:
        """Write the answer to one of the guide's questions into the log; what was understood.

        hold: the key of that which it is about. Raises what `Receiver.say` raises.
        """
        if self._guide is None:
            return ""
        with self._guiding:
            noted = self._guide.answer(question, button, said, hold)
            told = ""
            if noted is not None:
                told = self.receiver.say(noted.text, noted.at, what=question)
                told += f", {noted.where}" if noted.where else ""
            self._guide.answered(question, button, hold)
        return told

    def _decode(self, received: Received) -> None:
        self.batch = self._stream.add(received)

    def _receive(self, _received: Received) -> None:
        if self._latest.take(self.batch):
            reading = self._latest.reading()
            if reading is not None:
                self._board.post("reading", words.reading_words(reading, self._units))

    def _watch_cut(self, received: Received) -> None:
        if self._cut is None:
            return
        try:
            for event in self._cut.take(self.batch):
                with self._guiding:
                    self._alarms.tell(of_cut(event))
        except Exception as fault:
            told = f"It failed at {received.host_time:%H:%M:%S} by an error of its own: {fault!r}."
            self._cut_fault = self._cut_fault or told
            raise

    def _watch(self) -> None:
        while not self._stopping.wait(BEAT_S):
            with self._at_work:
                self._beat(ended=self.receiver.ended.is_set())

    def _beat(self, *, ended: bool) -> None:
        try:
            self._look(ended=ended)
            self._attend_reduction(ended=ended)
            self._say()
        except Exception as fault:  # noqa: BLE001  (the recording goes on)
            self._now = Now("no flow", 0.0, f"The page cannot work this out: {fault!r}.")
            with suppress(Exception):
                self._say()

    def _look(self, *, ended: bool) -> None:
        newest, looked_at = self.receiver.newest, self._looked_at
        if newest is None or newest == looked_at:
            return
        now_s = time.monotonic()
        fresh_s = (newest - looked_at).total_seconds() if looked_at is not None else LOOK_EVERY_S
        if max(fresh_s, now_s - self._looked_s) < LOOK_EVERY_S and not ended:
            return
        self._looked_at, self._looked_s = newest, now_s
        now = self._latest.look()
        if now.fault:
            now = replace(now, fault=words.begun(now.fault.removeprefix(STREAM)))
        self._hold_ended |= self._now.state == "settled" and now.state != "settled"
        self._now = now

    def _attend_reduction(self, *, ended: bool) -> None:
        """Take what has been reduced, and ask for more when there is more in the log."""
        if self._reducer is None or self.receiver.first is None:
            return
        if self._reduction is not None:
            if not self._reduction.done():
                return
            reduction, self._reduction = self._reduction, None
            self._take(reduction)
        due = self._hold_ended or time.monotonic() >= self._reduce_at_s
        if due and not self._complete:
            self._hold_ended = False
            self._complete = ended
            self._reduction = self._reducer.reduce(self.receiver.log)

    def _take(self, reduction: "Future[Reduced]") -> None:
        try:
            reduced = reduction.result()
        except Exception as fault:  # noqa: BLE001  (it ran out of memory, or was killed)
            self._complete = False
            reduced = Reduced(fault=f"the reduction of the log was interrupted: {fault!r}")
        self._reduce_at_s = time.monotonic() + max(REDUCE_EVERY_S, REST * reduced.seconds)
        if not reduced.fault:
            self._reduced = reduced
            self._board.post("curve", words.curve_words(reduced, self._units))

    def _say(self) -> None:
        receiver = self.receiver
        way = words.Way(
            gone=receiver.gone,
            ended=receiver.ended.is_set(),
            silent_s=round(time.monotonic() - receiver.heard_s, 1),
            log=receiver.log.name,
            elapsed_s=receiver.elapsed_s,
            fault=receiver.fault,
            unwritten=receiver.unwritten,
            holes=tuple(receiver.holes),
            cut=self._cut_fault,
            broker=self._publisher.fault if self._publisher is not None else "",
        )
        reading = self._latest.reading()
        state = words.state_words(self._now, reading, way, self._units)
        # A page that hears no beat knows that it hears nothing.
        self._board.post("state", state | {"beat": int(time.monotonic())})
        found = words.checks(self._now, self._reduced, way, self._units)
        self._board.post("checks", [asdict(check) for check in found])
        with self._guiding:
            standing = self._alarms.standing(found)
        self._board.post("alarms", [asdict(alarm) for alarm in standing])
        known = figures(self._now, reading, way)
        self.metrics = metrics(known, found, self._rig.name if self._rig is not None else "")
        now_s = time.monotonic()
        due = now_s - self._published_s >= PUBLISH_EVERY_S
        # Before the first record there is no reading, and in a replay no time of one.
        if self._publisher is not None and receiver.newest is not None and due:
            self._published_s = now_s
            self._publisher.say(receiver.newest, self._now.state, known, found, standing)
        self._say_guide(way)

    def _say_guide(self, way: words.Way) -> None:
        if self._guide is None:
            return
        of_whole = self._reduced.findings if self._reduced is not None else ()
        facts = Facts(
            time_s=self._now.time_s,
            state=self._now.state,
            for_s=self._now.for_s,
            speed_rpm=self._now.speed_rpm,
            zero_s=self._now.zero_s,
            fault=self._now.fault,
            # A clipped sensor is a matter of the speed that is held now.
            findings=(
                *self._now.findings,
                *(finding for finding in of_whole if finding.kind != Kind.SENSOR_CLIPPED),
            ),
            there=not (way.gone or way.fault or way.is_silent),
            ended=way.ended,
            recorded=not way.unwritten,
        )
        with self._guiding:
            self._guide.update(facts)
            self._board.post("guide", asdict(self._guide.card()))

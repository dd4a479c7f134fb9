"""A source into a run log, in a thread of its own; into a further log when a run is begun again."""

import time
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from itertools import count
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Lock, Thread

from pullcurve.errors import LinkError, LogError, PullcurveError
from pullcurve.recording import Watcher, record
from pullcurve.run_log.notes import Note, Spoken, understand
from pullcurve.run_log.writing import LogWriter
from pullcurve.sources.source import Source
from pullcurve.stream.received import Received

TRY_AGAIN_S = 2.0
END_WITHIN_S = 12.0  # once what was asked for again has come
AGAIN = "It is tried again by itself."
FREE_SPACE = (
    "Free some space on the laptop's disk: the recording then goes on by itself, in the same log."
)


class Receiver:
    """`patient`: a source that is not there is waited for. `renewed` is called before a further
    log begins. `fault` says why nothing is received, empty while all is well. A log that cannot
    be written any more ends nothing, nor one that cannot be begun: `unwritten` says so until it
    can be, and `holes` what it lacks. Each of these is told to `complain` as it comes."""

    def __init__(
        self,
        open_source: Callable[[], Source],
        log: Path,
        rig_text: str | None,
        *,
        watchers: Sequence[Watcher],
        renewed: Callable[[], None],
        notes: Sequence[Note] = (),
        patient: bool = False,
        complain: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.logs = [log]
        self.fault = self.unwritten = ""
        self.holes: list[str] = []
        self._unwritten_since: datetime | None = None
        self._complain = complain
        self.display_faults: list[Exception] = []
        self.gone = False
        self.heard_s = time.monotonic()
        self.first: datetime | None = None
        self.newest: datetime | None = None
        self.ended = Event()
        self._open_source = open_source
        self._rig_text = rig_text
        self._watchers = (self._see, self._attend_log, self._write_typed, *watchers)
        self._renewed = renewed
        self._carried = notes
        self._patient = patient
        self._writer: LogWriter | None = None
        self._typed: SimpleQueue[tuple[datetime, Spoken, str]] = SimpleQueue()
        self._saying = Lock()
        self._again = Event()
        self._stopping = Event()
        self._thread = Thread(target=self._run, daemon=True, name="receiving")

    @property
    def log(self) -> Path:
        """The one that is written, or was written last."""
        return self.logs[-1]

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """End the recording, with its last record whole."""
        self._stopping.set()
        self._thread.join(END_WITHIN_S)

    def begin_again(self) -> None:
        """End this log, and go on into a new one."""
        self._again.set()

    @property
    def lacking(self) -> list[str]:
        """What the logs of this watch do not hold, and until now never will."""
        return [*self.holes, self.unwritten] if self.unwritten else self.holes

    @property
    def elapsed_s(self) -> float:
        """The source's time since the log's first bytes."""
        first, newest = self.first, self.newest
        return (newest - first).total_seconds() if first and newest else 0.0

    def say(self, text: str, at: str = "", what: str = "") -> str:
        """Write what a person typed into the log, and return it as it was understood.

        what: the kind of note that it must be, where it answers a question.
        Raises ValueError with a sentence when it cannot be understood, LogError when it cannot
        be written.
        """
        if self.unwritten:
            raise LogError(self.unwritten)
        spoken = understand(text)
        if what and spoken.what != what:
            raise ValueError(f"{text!r} cannot be read: type the reading in figures, as 10.5")
        when = self.newest or datetime.now().astimezone()
        with self._saying:
            if self._writer is not None:
                self._typed.put((when, spoken, at))
            elif self.first is not None:
                with LogWriter(self.log, append=True) as writer:
                    writer.note(when, spoken, at)
            else:
                raise ValueError("nothing is recorded yet, so there is no log to write it into")
        return f"{spoken}{spoken.hint}"

    def _run(self) -> None:
        try:
            source = self._entered()
            if source is None:
                return
            try:
                self._receive(_Continued(source))
            finally:
                source.__exit__(None, None, None)
        except PullcurveError as fault:
            self._fail(str(fault))
        except Exception as fault:  # noqa: BLE001  (the page must say that it stands still)
            self._fail(f"The recording ended by an error of its own: {fault!r}.")
        finally:
            self.ended.set()

    def _fail(self, sentence: str) -> None:
        if sentence != self.fault:
            self.fault = sentence
            self._complain(sentence)

    def _entered(self) -> Source | None:
        """The source, once its way is open; None when the watch has been stopped before."""
        while not self._stopping.is_set():
            try:
                source = self._open_source()
                source.__enter__()
            except LinkError as fault:
                if not self._patient:
                    raise
                self._fail(f"{fault}. {AGAIN}")
                self._stopping.wait(TRY_AGAIN_S)
            else:
                self.fault = ""
                if self._patient:
                    self._complain(f"{source.name} is there, and is recorded from now on")
                self.heard_s = time.monotonic()
                return source
        self.fault = self.fault.removesuffix(f". {AGAIN}")
        return None

    def _receive(self, source: "_Continued") -> None:
        self._receive_into_log(source)
        while self._again.is_set() and not self._stopping.is_set():
            self._again.clear()
            self.first = self.newest = self._unwritten_since = None
            self.holes, self.unwritten = self.lacking, ""
            first = self.logs[0]
            numbered = (first.with_stem(f"{first.stem}-{number}") for number in count(2))
            self.logs.append(next(path for path in numbered if not path.exists()))
            self._renewed()
            self._receive_into_log(source)

    def _receive_into_log(self, source: "_Continued") -> None:
        with LogWriter(self.log, patient=True, source=source.name) as writer:
            if self._rig_text is not None:
                writer.rig(datetime.now().astimezone(), self._rig_text)
            for note in self._carried:
                writer.note(note.host_time, Spoken(note.what, note.value, note.place), note.at)
            writer.go_on()
            self._writer = writer
            try:
                self.display_faults += record(source, writer, self._watchers, self._is_over)
            finally:
                with self._saying:
                    self._writer = None
                while not self._typed.empty():
                    writer.note(*self._typed.get())

    def _is_over(self) -> bool:
        return self._stopping.is_set() or self._again.is_set()

    def _see(self, received: Received) -> None:
        if received.data:
            self.heard_s = time.monotonic()
            self.first = self.first or received.host_time
        self.newest = received.host_time
        if received.link:
            self.gone = received.link == "lost"

    def _attend_log(self, received: Received) -> None:
        """Say that the log can no longer be written, or can be again."""
        writer, now, since = self._writer, received.host_time, self._unwritten_since
        if writer is None or bool(writer.fault) == bool(since):
            return
        if since is None:
            self._unwritten_since = now
            self.unwritten = (
                f"{self.log.name}: writing stopped at {now:%H:%M:%S}: {writer.fault}; what was "
                "received until then is in the file"
            )
            self._complain(f"NOT RECORDED. {self.unwritten}. {FREE_SPACE}")
            return
        hole = f"what came from {since:%H:%M:%S} to {now:%H:%M:%S} is not in {self.log.name}"
        self.unwritten, self._unwritten_since = "", None
        self.holes.append(hole)
        self._complain(f"the recording goes on; {hole}")
        writer.note(now, Spoken("words", hole, ""))

    def _write_typed(self, _: Received) -> None:
        while self._writer is not None and not self.unwritten and not self._typed.empty():
            self._writer.note(*self._typed.get())


class _Continued:
    """A source that goes on where it was when it is asked for its chunks again."""

    def __init__(self, source: Source) -> None:
        self.name = source.name
        self._source = source
        self._chunks = iter(source)

    @property
    def wanted(self) -> int:
        return int(getattr(self._source, "wanted", 0))

    def __enter__(self) -> "_Continued":
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        return self._chunks

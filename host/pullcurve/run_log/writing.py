"""Writes a run log, so that whenever the program dies no whole line is lost."""

import os
import re
import time
from datetime import datetime
from io import FileIO
from pathlib import Path
from typing import Self

import record_format
from pullcurve.errors import LogError
from pullcurve.run_log.host_records import (
    HOST_RECORDS,
    LOG_FORMAT,
    NOTE_PIECE,
    pieces,
    shortened,
)
from pullcurve.run_log.notes import Spoken
from pullcurve.run_log.reading import read_log
from pullcurve.stream.decoder import LONGEST_LINE
from pullcurve.version import __version__

# What a power failure may cost. A killed program loses the line that was under way.
SYNC_EVERY_S = 2.0

_UNPRINTABLE = re.compile(rb"[^ -\[\]-~]")


def escape(line: bytes) -> str:
    """A line's bytes as printable ASCII, the inverse of `reading.unescape`."""
    return _UNPRINTABLE.sub(lambda m: b"\\%02x" % m[0][0], line).decode("ascii")


def check_place(path: Path) -> None:
    """Raises LogError where no new log can be begun at `path`. Leaves nothing there."""
    LogWriter(path).close()
    path.unlink()


class LogWriter:
    """Appends lines to a log. Every line is handed to the system before the call returns.

    `fault` says why the newest line could not be written, empty while all is well.
    """

    def __init__(
        self,
        path: Path,
        *,
        append: bool = False,
        patient: bool = False,
        source: str = "",
        now: datetime | None = None,
    ) -> None:
        """Begin a new log at `path`, or go on with an existing one. `now` stands in for the
        time of day where a simulated one rules. A `patient` writer keeps what cannot be written
        until `go_on` is called, and writes it, ahead of all else, as soon as it can be.

        Raises LogError when the file exists already, or does not although it should, or is
        no run log, or cannot be written.
        """
        self.fault = ""
        self._seq = 0
        self._path = path
        self._file: FileIO | None = None
        self._is_there = append
        self._goes_on = self._keeps = patient
        self._owed = b""
        self._torn = False  # the newest line of the file has no end
        self._partial = bytearray()
        self._partial_time = now or datetime.now().astimezone()
        self._synced_s = 0.0
        begin = b""
        if append:
            log = read_log(path)
            self._seq = log.host_seq + 1
            begin = b"" if log.ends_in_newline else b"\n"
        try:
            self._file = self._opened()
        except FileExistsError:
            raise LogError(
                f"{path}: there is a file of this name already, and a log is never overwritten; "
                "choose another name"
            ) from None
        except OSError as fault:
            if not patient:
                raise LogError(f"{path}: cannot be written: {fault.strerror}") from None
        self._write(begin)
        if append:
            return
        try:
            self.host_record(
                self._partial_time, "runlog", LOG_FORMAT, __version__, shortened(source)
            )
        except LogError:
            self.close()
            path.unlink()  # what was made above: its name stays free for the next try
            raise LogError(
                f"{path}: cannot be written: {self.fault}. Free some space on its disk, or use "
                "another one"
            ) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.close()

    def _opened(self) -> FileIO:
        if not self._is_there:
            self._path.open("xb").close()
            self._is_there = True
        # At the end whoever else appends, as `note` may while a run is recorded.
        return self._path.open("ab", buffering=0)

    def go_on(self) -> None:
        """From now on no fault is raised: a line that cannot be written is dropped, and the next
        one tried."""
        self._goes_on, self._keeps = True, False

    def board_bytes(self, host_time: datetime, data: bytes) -> None:
        """What the link delivered at `host_time`, in chunks of any size."""
        self._partial += data
        self._partial_time = host_time
        lines = []
        while (end := self._partial.find(b"\n", 0, LONGEST_LINE)) >= 0:
            lines.append(escape(bytes(self._partial[:end])))
            del self._partial[: end + 1]
        while len(self._partial) >= LONGEST_LINE:
            lines.append(escape(bytes(self._partial[:LONGEST_LINE])) + "\\")
            del self._partial[:LONGEST_LINE]
        stamp = host_time.isoformat(timespec="microseconds")
        self._write("".join(f"{stamp} board {line}\n" for line in lines).encode("ascii"))

    def host_record(self, host_time: datetime, kind: str, *values: int | str) -> None:
        """A record of the host's own."""
        line = record_format.encode(kind, 0, self._seq, values, HOST_RECORDS).decode("ascii")
        self._seq += 1
        stamp = host_time.isoformat(timespec="microseconds")
        self._write(f"{stamp} host {line}".encode("ascii"))

    def rig(self, host_time: datetime, text: str) -> None:
        """The text of the rig file that the run is made with."""
        parts = list(pieces(text))
        for number, part in enumerate(parts):
            self.host_record(host_time, "rig", number, len(parts), part)

    def note(self, host_time: datetime, spoken: Spoken, at: str = "") -> None:
        """What a person said, of any length. `at`: when it holds, empty for `host_time`."""
        parts = list(pieces(spoken.value, NOTE_PIECE))
        for number, part in enumerate(parts):
            self.host_record(
                host_time, "note", number, len(parts), spoken.what, part, spoken.place, at
            )

    def link(self, host_time: datetime, state: str, detail: str) -> None:
        """The link is opened, lost or closed: the line that was under way ends here."""
        self._write_partial()
        self.host_record(host_time, "link", state, shortened(detail))

    def close(self) -> None:
        """Write what came without a newline, and close the file."""
        self._write_partial()
        if self._file is not None:
            self._file.close()

    def _write_partial(self) -> None:
        if self._partial:
            stamp = self._partial_time.isoformat(timespec="microseconds")
            line = escape(bytes(self._partial)) + "\\"
            self._partial.clear()
            self._write(f"{stamp} board {line}\n".encode("ascii"))

    def _write(self, data: bytes) -> None:
        if not data:
            return
        whole = left = b"\n" * self._torn + self._owed + data
        try:
            self._file = self._file or self._opened()
            while left:
                left = left[self._file.write(left) :]
            self._torn, self._owed = False, b""
            now_s = time.monotonic()
            if now_s - self._synced_s > SYNC_EVERY_S:
                os.fsync(self._file.fileno())
                self._synced_s = now_s
            self.fault = ""
        except OSError as fault:
            written = whole[: len(whole) - len(left)]
            if written:
                self._torn = not written.endswith(b"\n")
            # From the line on that did not fit.
            rest = whole[written.rfind(b"\n") + 1 :].removeprefix(b"\n")
            self._owed = rest if self._keeps else rest[: -len(data)]
            self.fault = str(fault.strerror)
            if not self._goes_on:
                raise LogError(
                    f"{self._path}: writing stopped: {self.fault}; what was received until now "
                    "is in the file. Free some space on its disk, or use another one"
                ) from None

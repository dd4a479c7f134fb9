"""Reads a run log line by line; a damaged line costs itself alone."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from pullcurve.errors import LogError
from pullcurve.run_log.host_records import HOST_RECORDS, LOG_FORMAT
from pullcurve.stream.decoder import Record, decode_line
from pullcurve.stream.received import Received

_LINE = re.compile(rb"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}[+-]\d\d:\d\d) (board|host) ")
_NOTE = re.compile(_LINE.pattern + rb"note ")
_ESCAPED = re.compile(rb"\\([0-9a-f]{2})")


class HostRecord(NamedTuple):
    """One of the host's own records, and when it was written."""

    host_time: datetime
    record: Record

    def named(self) -> dict[str, str | int]:
        """The values by the names of their fields."""
        names = [name for name, _ in HOST_RECORDS[self.record.kind]]
        return dict(zip(names, self.record.values, strict=True))  # type: ignore[arg-type]


@dataclass
class Log:
    """A run log, read."""

    path: Path
    received: list[Received] = field(default_factory=list)
    host_records: list[HostRecord] = field(default_factory=list)
    damaged: Counter[str] = field(default_factory=Counter)
    ends_in_newline: bool = True
    breaks_off: bool = False  # within a line, whatever was noted after it
    rig_is_damaged: bool = False

    @property
    def host_seq(self) -> int:
        """The highest sequence number among the host's records, -1 without any."""
        return max((item.record.seq for item in self.host_records), default=-1)

    def lasted(self) -> timedelta:
        """From the first bytes of the board to the last, even where the clock was set back."""
        times = [received.host_time for received in self.received]
        steps = (later - earlier for earlier, later in pairwise(times))
        return sum((max(step, timedelta()) for step in steps), timedelta())

    def rig_text(self) -> str | None:
        """The rig file's text as written into the log, the last whole one; None without any.

        Raises LogError when the log carries a rig, but no whole one.
        """
        text = None
        there = self.rig_is_damaged
        parts: list[str] = []
        for item in self.host_records:
            if item.record.kind == "rig":
                there = True
                piece, pieces, part = item.record.values
                if piece == 0:
                    parts = []
                if piece == len(parts):
                    parts.append(str(part))
                if len(parts) == pieces:
                    text = "".join(parts)
        if text is None and there:
            raise LogError(
                f"{self.path}: the rig that is written in it is damaged; name the rig's file "
                "with --rig"
            )
        return text


def unescape(payload: bytes) -> bytes:
    """The bytes of a board line, with its newline where there was one."""
    end = b"\n"
    if payload.endswith(b"\\"):
        payload, end = payload[:-1], b""
    return _ESCAPED.sub(lambda m: bytes([int(m[1], 16)]), payload) + end


def _cut(line: bytes) -> Iterator[tuple[re.Match[bytes] | None, bytes]]:
    """A line of the file as (beginning, payload); two where a newline was damaged."""
    begin = _LINE.match(line)
    if begin is not None and _LINE.search(line, begin.end()) is None:
        yield begin, line[begin.end() :]
        return
    starts = list(_LINE.finditer(line))
    if begin is None:
        yield None, line
    # A single damaged byte stands where the newline between two lines was.
    ends = [following.start() - 1 for following in starts[1:]] + [len(line)]
    for start, end in zip(starts, ends, strict=False):
        yield start, line[start.end() : end]


def read_log(path: Path) -> Log:
    """Read a log. Raises LogError when it cannot be read or is no run log."""
    content = _content(path)
    if not content:
        raise LogError(f"{path}: the file is empty; nothing was recorded into it")
    log = _read(path, content)
    if not log.received and not log.host_records:
        raise LogError(
            f"{path}: this is no run log: not one line has a time, an origin and a record; "
            "name a file that `pullcurve record` or `pullcurve bench` wrote"
        )
    return log


class GrowingLog:
    """A log that is still being written."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._at = 0
        self.is_at_end = False

    def more(self, most: int) -> Log:
        """The whole lines that have been written since the last call, as far as they are among
        the next `most` bytes. Raises LogError when they cannot be read."""
        content = _content(self._path, self._at, most)
        self.is_at_end = len(content) < most or b"\n" not in content
        content = content[: content.rfind(b"\n") + 1]
        self._at += len(content)
        return _read(self._path, content)


def _content(path: Path, start: int = 0, most: int = -1) -> bytes:
    try:
        with path.open("rb") as file:
            file.seek(start)
            return file.read(most)
    except FileNotFoundError:
        raise LogError(f"{path}: there is no such file; check the name") from None
    except IsADirectoryError:
        raise LogError(f"{path}: this is a folder; name a run log in it") from None
    except OSError as fault:
        raise LogError(f"{path}: cannot be read: {fault.strerror}") from None


def _read(path: Path, content: bytes) -> Log:
    log = Log(path, ends_in_newline=content.endswith(b"\n"))
    lines = content.splitlines()
    last = next((line for line in reversed(lines) if not _NOTE.match(line)), b"")
    log.breaks_off = not log.ends_in_newline or not _is_whole(last)
    for line in lines:
        for start, payload in _cut(line):
            _add(log, start, payload)
    return log


def _is_whole(line: bytes) -> bool:
    """Whether a line of the file ends as it was written."""
    begin = _LINE.match(line)
    if begin is None:
        return not line
    if begin[2] == b"host":
        return isinstance(decode_line(line[begin.end() :], HOST_RECORDS), Record)
    board = unescape(line[begin.end() :])
    return not board.endswith(b"\n") or isinstance(decode_line(board.rstrip()), Record)


def _add(log: Log, start: re.Match[bytes] | None, payload: bytes) -> None:
    if start is None:
        log.damaged["no time or origin"] += 1
        return
    try:
        host_time = datetime.fromisoformat(start[1].decode("ascii"))
    except ValueError:
        log.damaged["impossible time"] += 1
        return
    if start[2] == b"board":
        log.received.append(Received(host_time, unescape(payload)))
        return
    record = decode_line(payload, HOST_RECORDS)
    if not isinstance(record, Record):
        log.damaged[f"host record: {record.reason}"] += 1
        log.rig_is_damaged |= payload.startswith(b"rig ")
        return
    if record.kind == "runlog" and record.values[0] != LOG_FORMAT:
        raise LogError(
            f"{log.path}: format {record.values[0]}, and this version reads {LOG_FORMAT}; "
            "use the version of pullcurve that wrote it, or a later one"
        )
    log.host_records.append(HostRecord(host_time, record))

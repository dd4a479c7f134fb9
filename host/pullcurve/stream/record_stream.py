"""The one place where bytes become records: decoded, in sequence, with the header in force.

Whoever looks at a run (status line, live page, cut watch, report) takes the same batches. A batch
holds what the bytes of one `Received` completed.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from pullcurve.stream.clock import BlockClock
from pullcurve.stream.decoder import Decoder, Record, as_of_today
from pullcurve.stream.header import Header, HeaderAssembler, named
from pullcurve.stream.received import Received
from pullcurve.stream.sequence import SequenceCheck
from record_format import DATA, HEADER

_START, _LENGTH = (
    [name for name, _ in DATA["dp"]].index(name) for name in ("start_ticks", "length_ticks")
)


@dataclass(frozen=True, slots=True)
class Arrival:
    """A record of today's version, but no copy of one that was there before.

    Attributes
    ----------
    record
        The record; one of version 1 has been made those of today's version that say the same.
    start
        The start of the board it belongs to, as `SequenceCheck.accept` names it.
    in_order
        Whether no record of this start with a higher number came before it.
    header
        The newest whole header until then; None before the first.
    time_s
        Of a `dp` record in order, once there is a header: board seconds of its beginning since the
        first block; else None.
    """

    record: Record
    start: int
    in_order: bool
    header: Header | None
    time_s: float | None = None

    @property
    def kind(self) -> str:
        return self.record.kind

    def fields(self) -> dict[str, Any]:
        """The values by the names of their fields."""
        return named(self.record)


@dataclass(frozen=True, slots=True)
class Batch:
    """What the bytes of one `Received` completed.

    Attributes
    ----------
    stream
        Where it comes from, with what is known of the whole until then.
    received
        The bytes.
    accepted
        Number of records that are no copies; one of version 1 makes two arrivals.
    arrivals
        These records.
    """

    stream: "RecordStream"
    received: Received
    accepted: int
    arrivals: tuple[Arrival, ...]

    @property
    def host_time(self) -> datetime:
        return self.received.host_time


class RecordStream:
    """Decoder, sequence check, header in force and board time of one stream of bytes.

    `header` is the newest whole header, `sequence` knows starts, copies and gaps, `damaged` counts
    the lines that were no record by reason.
    """

    def __init__(self) -> None:
        self.sequence = SequenceCheck()
        self.header: Header | None = None
        self.damaged: Counter[str] = Counter()
        self._decoder = Decoder()
        self._headers = HeaderAssembler()
        self._clock = BlockClock()
        self._newest = (0, -1)  # start, number

    def add(self, received: Received) -> Batch:
        """Take what a source yields."""
        arrivals: list[Arrival] = []
        accepted, host_s = 0, received.host_time.timestamp()
        for event in self._decoder.feed(received.data):
            if not isinstance(event, Record):
                self.damaged[event.reason] += 1
            elif start := self.sequence.accept(event):
                accepted += 1
                arrivals += self._arrived(event, start, host_s)
        return Batch(self, received, accepted, tuple(arrivals))

    def _arrived(self, record: Record, start: int, host_s: float) -> list[Arrival]:
        in_order = start != self._newest[0] or record.seq > self._newest[1]
        if in_order:
            if start != self._newest[0]:
                self._clock.restart()
            self._newest = (start, record.seq)
            if record.kind in HEADER:
                self.header = self._headers.add(record) or self.header
        found = []
        for each in as_of_today(record):
            time_s = None
            if each.kind == "dp" and in_order:
                ticks, length = cast("tuple[int, int]", each.values[_START : _LENGTH + 1])
                time_s = self._clock.place(ticks, length, each.seq, self.header, host_s)
            found.append(Arrival(each, start, in_order, self.header, time_s))
        return found

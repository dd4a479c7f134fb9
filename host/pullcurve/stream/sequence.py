"""Starts of the board, duplicates, gaps and late records, from boot and sequence numbers."""

from dataclasses import dataclass, field
from itertools import count, pairwise

from pullcurve.stream.decoder import Record

FAR = 50  # numbers: no link puts records so far out of order
REMEMBERED = 4096  # numbers: more than a board can repeat


@dataclass
class _Start:
    key: int
    boot: int
    said: dict[int, int]  # sequence number: hash of the record, from `settled` on
    first: int
    beyond: int  # one more than the highest number seen
    before: "_Start | None"  # while the records may still be late ones of that start
    received: int = 1
    settled: int = 0  # of the numbers ahead of this one only `gaps` is kept
    gaps: list[range] = field(default_factory=list)

    def add(self, seq: int, said: int) -> None:
        self.said[seq] = said
        self.received += 1
        self.first = min(self.first, seq)
        self.beyond = max(self.beyond, seq + 1)
        if len(self.said) > 2 * REMEMBERED:
            self._settle(self.beyond - REMEMBERED)

    def missing(self) -> list[range]:
        return self.gaps + self._gaps_to(self.beyond)

    def _gaps_to(self, beyond: int) -> list[range]:
        begin = max(self.first, self.settled) - 1
        there = sorted(seq for seq in self.said if seq < beyond)
        return [range(a + 1, b) for a, b in pairwise([begin, *there, beyond]) if b > a + 1]

    def _settle(self, beyond: int) -> None:
        self.gaps += self._gaps_to(beyond)
        self.said = {seq: said for seq, said in self.said.items() if seq >= beyond}
        self.settled = beyond


class SequenceCheck:
    """Tells the starts of the board apart and counts what the sequence numbers reveal.

    A board whose flash is full, or that lost its boot number, starts with a number that was
    there before. Within one boot number a new start of the board shows in an event numbered 0,
    in a fall of more than FAR numbers, or in a number that comes again with another record.
    Late records and copies may look like the first two: such a start is taken back when, before
    FAR more have come, the records go on where they were. Only the last REMEMBERED records are
    known one by one, so that memory stays the same however long a run is.

    A gap counts as missing until its records come late, however late: a board repeats on
    request what was lost. Records ahead of the first one seen
    are not missing: a log may start anywhere.
    """

    def __init__(self) -> None:
        self._starts: dict[int, _Start] = {}
        self._of_boot: dict[int, list[_Start]] = {}
        self._keys = count(1)
        self._taken_back: dict[int, int] = {}
        self.duplicates = 0
        self.late = 0

    @property
    def boots(self) -> list[int]:
        """The boot number of each start of the board, in order of appearance."""
        return [start.boot for start in self._starts.values()]

    def starts(self) -> dict[int, int]:
        """What `accept` returned, and which start that is: 1, 2, ... in order of appearance."""
        places = {key: place for place, key in enumerate(self._starts, start=1)}
        for key, into in reversed(self._taken_back.items()):
            places[key] = places[into]
        return places

    def missing(self) -> dict[int, list[range]]:
        """The sequence numbers that never came, by start."""
        gaps = {
            place: start.missing() for place, start in enumerate(self._starts.values(), start=1)
        }
        return {place: ranges for place, ranges in gaps.items() if ranges}

    @property
    def missing_count(self) -> int:
        return sum(s.beyond - s.first - s.received for s in self._starts.values())

    @property
    def received(self) -> int:
        """How many records came, a record and its copies counted once."""
        return sum(start.received for start in self._starts.values())

    def accept(self, record: Record) -> int:
        """To which start the record belongs: a number from 1 on that `starts` explains, and
        that may turn out to be another name of an earlier start. 0 for a copy of a record that
        was there already."""
        seq, said = record.seq, hash((record.kind, record.values))
        starts = self._of_boot.setdefault(record.boot, [])
        if not starts:
            return self._open(record.boot, seq, said, None)
        opens = record.kind == "event" and seq == 0
        now = starts[-1] if opens else self._reconsidered(starts, seq, said)
        if seq in now.said and not (opens and now.said[seq] == said):
            if any(start.said.get(seq) == said for start in starts):
                self.duplicates += 1
                return 0
            return self._open(now.boot, seq, said, None)
        if opens:
            certain = seq not in now.said and now.beyond > FAR
            return self._open(now.boot, seq, said, None if certain else now)
        if seq < now.settled or (seq < now.beyond - FAR and seq < now.first):
            while now.before is not None:
                now = self._take_back(now, now.before)
            return self._open(now.boot, seq, said, now)
        self.late += seq < now.beyond
        now.add(seq, said)
        if len(now.said) > FAR:
            now.before = None
        return now.key

    def _open(self, boot: int, seq: int, said: int, before: _Start | None) -> int:
        start = _Start(next(self._keys), boot, {seq: said}, seq, seq + 1, before)
        self._starts[start.key] = start
        self._of_boot[boot].append(start)
        return start.key

    def _reconsidered(self, starts: list[_Start], seq: int, said: int) -> _Start:
        """The newest start, once this record has told whether it is one."""
        now = starts[-1]
        while now.before is not None:
            if now.before.said.get(seq, said) != said:
                now.before = None
            elif abs(seq - now.before.beyond) <= abs(seq - now.beyond):
                now = self._take_back(now, now.before)
            else:
                break
        return now

    def _take_back(self, start: _Start, before: _Start) -> _Start:
        """The start before this one, to which its records go: they were late or copies."""
        for seq, said in start.said.items():
            if seq in before.said or seq < before.settled:
                self.duplicates += 1
            else:
                self.late += seq < before.beyond
                before.add(seq, said)
        self._of_boot[start.boot].remove(start)
        del self._starts[start.key]
        self._taken_back[start.key] = before.key
        return before

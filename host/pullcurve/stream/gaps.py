"""Which records have not come, and what to ask the board for again. Knows no clock."""

from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.header import named
from record_format import MOST_AGAIN, again

ANSWER_WITHIN_S = 2.0  # a board that listens (judgement)
TRIES = 5


class Gaps:
    """Watches the bytes of one link and says which line to send to the board.

    The records missing of the board's running start are asked for, the oldest first, since the
    board forgets them first; of a start that began while the link was there, its first ones too,
    but for number 0, which says that a start begins. One request is under way at a time and asks
    for MOST_AGAIN records, so new records never wait long behind old ones.

    A record is given up when the board says that it is gone, when the board has started anew, or
    when it goes on sending and does not answer TRIES requests.
    """

    def __init__(self) -> None:
        self._decoder = Decoder()
        self._boot: int | None = None
        self._next = 0
        self._missing: list[range] = []
        self._asked = range(0)
        self._asked_s = 0.0
        self._tries = 0
        self._heard = False
        self.given_up = 0

    @property
    def wanted(self) -> int:
        """How many records may still come."""
        return sum(map(len, self._missing))

    def feed(self, data: bytes) -> None:
        """What the link delivered."""
        for event in self._decoder.feed(data):
            if isinstance(event, Record):
                self._heard = True
                self._take(event)

    def lose(self) -> None:
        """The link is gone: so is the rest of the line that was under way, and any answer."""
        self._decoder.close()
        self._asked = range(0)

    def due(self, now_s: float) -> bytes:
        """The line to send at this time of any steady clock, or nothing."""
        if any(_overlap(self._asked, gap) for gap in self._missing):
            if now_s - self._asked_s < ANSWER_WITHIN_S:
                return b""
            if self._heard:
                self._tries += 1
            if self._tries == TRIES:
                self._give_up(self._asked)
        else:
            self._tries = 0
        if not self._missing or self._boot is None:
            return b""
        oldest = self._missing[0]
        if oldest.start not in self._asked:
            self._tries = 0
        self._asked = oldest[:MOST_AGAIN]
        self._asked_s = now_s
        self._heard = False
        line: bytes = again(self._boot, self._asked.start, self._asked.stop)
        return line

    def _take(self, record: Record) -> None:
        seq = record.seq
        if record.boot != self._boot or (record.kind == "event" and seq == 0):
            self._give_up(range(self._next))
            began_unseen = self._boot is not None and seq > 1
            self._missing = [range(1, seq)] if began_unseen else []
            self._boot, self._next = record.boot, seq + 1
        elif seq < self._next:
            self._remove(range(seq, seq + 1))
        else:
            if seq > self._next:
                self._missing.append(range(self._next, seq))
            self._next = seq + 1
        if record.kind == "event" and named(record)["code"] == "gone":
            self._give_up(range(named(record)["value"]))

    def _remove(self, numbers: range) -> None:
        kept = []
        for gap in self._missing:
            kept.append(range(gap.start, min(gap.stop, numbers.start)))
            kept.append(range(max(gap.start, numbers.stop), gap.stop))
        self._missing = [gap for gap in kept if gap]

    def _give_up(self, numbers: range) -> None:
        before = self.wanted
        self._remove(numbers)
        self.given_up += before - self.wanted


def _overlap(one: range, other: range) -> bool:
    return max(one.start, other.start) < min(one.stop, other.stop)

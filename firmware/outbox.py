"""Numbers the records of one start of the board and puts them into the ring."""

from record_format import GREETING, MOST_AGAIN, Line, encode, quote, wanted
from ring_reach import reach_s

OFTEN = ("dp", "edges", "slow")  # integers only, sent so often that they must allocate nothing
TEXT_LIMIT = 120  # quoted bytes that an event record can carry beside its other fields


class Outbox:
    def __init__(self, ring, clock, boot):
        self._ring = ring
        self._clock = clock
        self._boot = boot
        self._line = Line()
        self._prefixes = {kind: b"%s %d" % (kind.encode(), boot) for kind in OFTEN}
        self._gone = self._gone_seq = 0  # what was said last to be forgotten, and by which record

    def emit(self, kind, values):
        line = encode(kind, self._boot, self._ring.next, values)
        self._ring.put(line, len(line))

    def begin(self, kind):
        """The line of a record of one of the kinds OFTEN, for its fields; `send` ends it."""
        self._line.begin(self._prefixes[kind], self._ring.next)
        return self._line

    def send(self):
        self._ring.put(self._line.buffer, self._line.end())

    def event(self, code, subject="", value=0, text=""):
        text = text[:TEXT_LIMIT]
        while len(quote(text)) > TEXT_LIMIT:
            text = text[:-1]
        self.emit("event", (self._clock.ticks_us(), code, subject, value, text))

    def kept_s(self, plan, sensors, tachs, header):
        """Seconds of records that the board can send again, at the least."""
        return reach_s(self._ring, self._boot, plan, sensors, tachs, header)

    def answer(self, link):
        """Do what the host asks for over `link`: whether it has just come and greets.

        Records are repeated on request. Nothing else is ever done for a host."""
        line = link.hear()
        if line is None or line == GREETING:
            return line is not None
        request = wanted(line)
        if request and request[0] == self._boot:
            _, first, beyond = request
            oldest = self._ring.oldest
            if first < min(beyond, oldest):
                # A little more than is gone, for the ring forgets on until the host asks on. Till
                # then the same word once more, or whoever asks on and on would fill the ring.
                if oldest > self._gone:
                    self._gone = min(oldest + MOST_AGAIN, self._ring.next)
                    self._gone_seq = self._ring.next
                    self.event("gone", link.name, self._gone)
                first, beyond = self._gone_seq, self._gone_seq + 1
            link.turns.repeat(first, beyond)
        return False

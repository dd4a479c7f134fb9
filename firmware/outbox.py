"""Numbers the records of one start of the board and hands them to the link."""

from record_format import encode, quote

TEXT_LIMIT = 120  # quoted bytes that an event record can carry beside its other fields


class Outbox:
    def __init__(self, link, clock, boot):
        self._link = link
        self._clock = clock
        self._boot = boot
        self._seq = 0

    def emit(self, kind, values):
        self._link.offer(encode(kind, self._boot, self._seq, values))
        self._seq += 1

    def event(self, code, subject="", value=0, text=""):
        text = text[:TEXT_LIMIT]
        while len(quote(text)) > TEXT_LIMIT:
            text = text[:-1]
        self.emit("event", (self._clock.ticks_us(), code, subject, value, text))

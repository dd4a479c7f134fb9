"""Records and the link over which they leave.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import run
from golden_records import GOLDEN
from hand_set_clock import Clock

from outbox import Outbox
from record_format import LIMIT, encode
from usb_link import UsbLink


def check_golden_records():
    for kind, boot, seq, values, line in GOLDEN:
        assert encode(kind, boot, seq, values) == line, kind


class Pipe:
    """A pipe that takes `room` bytes a write, and holds what the host has sent."""

    def __init__(self, capacity=48):
        self.room = 1000
        self.out = b""
        self.sent = b""
        self.link = UsbLink(self, self, self.ready_out, self.ready_in, capacity)

    def ready_out(self):
        return self.room

    def ready_in(self):
        return self.sent

    def write(self, data):
        assert len(data) <= 64
        taken = data[: self.room]
        self.out += taken
        return len(taken) or None

    def read(self, size):
        byte, self.sent = self.sent[:size], self.sent[size:]
        return byte

    def drain(self):
        while self.link.pump():
            pass


def numbered(seq):
    return encode("event", 1, seq, (seq, "late", "", seq, "x" * 60))


def check_link_drops_whole_lines_when_nobody_reads():
    pipe = Pipe(capacity=8)
    pipe.link.offer(numbered(0))
    pipe.room = 10
    assert pipe.link.pump() == 10  # the first line is on its way
    pipe.room = 0
    for seq in range(1, 100):
        pipe.link.offer(numbered(seq))
        assert pipe.link.pump() == 0
    assert pipe.link.dropped == 92
    pipe.room = 7
    pipe.drain()
    assert not pipe.link.waiting()
    # Not one torn line, and the gap in the numbers is what was dropped.
    assert pipe.out == numbered(0) + b"".join(numbered(seq) for seq in range(93, 100))


def check_link_drops_the_oldest_line_that_has_not_begun():
    pipe = Pipe(capacity=2)
    pipe.room = 0
    for seq in range(3):
        pipe.link.offer(numbered(seq))
    pipe.room = 1000
    pipe.drain()
    assert pipe.out == numbered(1) + numbered(2)
    assert pipe.link.dropped == 1


def check_link_hears_lines():
    pipe = Pipe()
    assert pipe.link.hear() is None
    pipe.sent = b"hel"
    assert pipe.link.hear() is None
    pipe.sent = b"lo\nhello\r" + b"x" * 1000
    assert pipe.link.hear() == b"hello"
    assert pipe.link.hear() == b"hello"
    assert pipe.link.hear() is None
    pipe.sent = b"hello\n\nhello\n"
    assert pipe.link.hear() != b"hello"
    assert pipe.link.hear() == b""
    assert pipe.link.hear() == b"hello"


def check_event_text_always_fits():
    lines = []
    pipe = Pipe()
    pipe.link.offer = lines.append
    outbox = Outbox(pipe.link, Clock(), 0xFFFFFF)
    for text in ("", "x" * 500, "\xe9 %" * 100):
        outbox.event("config", text=text)
    assert max(len(line) for line in lines) <= LIMIT
    assert b" %s " % (b"x" * 120) in lines[1]


if __name__ == "__main__":
    sys.exit(run(globals()))

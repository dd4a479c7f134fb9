"""Records and the link over which they leave.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import gc
import sys

from checking import raises, run
from golden_records import GOLDEN
from hand_set_clock import Clock

from outbox import OFTEN, Outbox
from record_format import LIMIT, MOST_AGAIN, Line, again, encode, wanted
from record_ring import PAGE, SLOTS, RecordRing
from usb_link import UsbLink


def check_golden_records():
    for kind, boot, seq, values, line in GOLDEN:
        assert encode(kind, boot, seq, values) == line, kind


def digit_by_digit(line, kind, boot, seq, values):
    """The record, written as the board writes those that it sends often."""
    line.begin(b"%s %d" % (kind.encode(), boot), seq)
    for value in values:
        for number in value if isinstance(value, tuple) else (value,):
            line.add_wide(number >> 24, number & 0xFFFFFF)
    length = line.end()
    return bytes(line.buffer[:length])


def check_records_written_digit_by_digit_are_the_same():
    line = Line()
    often = [golden for golden in GOLDEN if golden[0] in OFTEN]
    assert {golden[0] for golden in often} == set(OFTEN)
    for kind, boot, seq, values, expected in often:
        assert digit_by_digit(line, kind, boot, seq, values) == expected, kind


def check_every_number_is_written_right():
    line = Line()
    for size in (0, 1, 9, 10, 99, 100, 16777215, 16777216, 1 << 29, (1 << 30) - 1, 1 << 54):
        for number in (size, -size, size + 1, -size - 1):
            line.begin(b"dp 1", 0)
            line.add_wide(number >> 24, number & 0xFFFFFF)
            if abs(number) < 1 << 30:
                line.add(number)
            words = bytes(line.buffer[: line.end()]).split()[3:-1]
            assert words == [b"%d" % number] * len(words), (number, words)


CRC_BYTES = 32  # of the heap, for a number beyond 2^30: on a 32-bit build two blocks of 16


def check_a_record_allocates_its_check_sum_and_nothing_else():
    """Once every length has come, and the ring gone round."""
    if not hasattr(gc, "mem_alloc"):
        return
    ring = RecordRing(2)
    ring.next = ring.oldest = 100000
    outbox = Outbox(ring, Clock(), 12)

    def work(records):
        for _ in range(records):
            line = outbox.begin("edges")
            line.add(0)
            line.add(1073741823)
            line.add_wide(-4000000, 77)
            for _ in range(8):
                line.add(21830)
            outbox.send()

    work(200)
    gc.collect()
    gc.disable()
    try:
        before = gc.mem_alloc()
        work(100)
        allocated = gc.mem_alloc() - before
    finally:
        gc.enable()
    assert allocated <= 100 * CRC_BYTES + 64, allocated


def check_a_record_that_is_too_long_is_refused():
    line = Line()
    line.begin(b"dp 1", 0)
    raises(IndexError, lambda: [line.add(99999999) for _ in range(LIMIT)])


def numbered(seq):
    """A record of 80 bytes or a few more."""
    return encode("event", 1, seq, (seq, "late", "", seq, "x" * (50 + seq % 7)))


class Pipe:
    """A pipe that takes `room` bytes a write, and holds what the host has sent."""

    def __init__(self, pages=2):
        self.room = 1000
        self.out = b""
        self.sent = b""
        self.ring = RecordRing(pages)
        self.outbox = Outbox(self.ring, Clock(), 1)
        self.link = UsbLink(self.ring, self, self, self.ready_out, self.ready_in)

    def put(self, number):
        for _ in range(number):
            put(self.ring, numbered(self.ring.next))

    def ready_out(self):
        return self.room

    def ready_in(self):
        return self.sent

    def write(self, data):
        assert len(data) <= 64
        taken = bytes(data[: self.room])
        self.out += taken
        return len(taken) or None

    def read(self, size):
        byte, self.sent = self.sent[:size], self.sent[size:]
        return byte

    def drain(self):
        while self.link.pump():
            pass
        out, self.out = self.out, b""
        return out


def put(ring, line):
    ring.put(line, len(line))


def lines(*ranges):
    return b"".join(numbered(seq) for numbers in ranges for seq in numbers)


def kept(ring):
    """Every record that the ring says it keeps, once it has been compared."""
    into = bytearray(LIMIT)
    for seq in range(ring.oldest, ring.next):
        length = ring.copy(seq, into)
        assert bytes(into[:length]) == numbered(seq), seq
    return ring.next - ring.oldest


def check_ring_keeps_the_newest_records_whole():
    ring = RecordRing(3)
    for seq in range(400):
        put(ring, numbered(seq))
        if seq % 13 == 0:
            assert kept(ring) == seq + 1 or kept(ring) * 89 > 2 * PAGE - 3 * LIMIT
    assert ring.oldest > 250


def check_ring_keeps_no_more_records_than_it_has_places_for():
    ring = RecordRing(8)
    for seq in range(3 * SLOTS):
        put(ring, b"%d\n" % seq)
    assert ring.next - ring.oldest == SLOTS
    into = bytearray(LIMIT)
    for seq in range(ring.oldest, ring.next):
        assert bytes(into[: ring.copy(seq, into)]) == b"%d\n" % seq


def check_link_drops_whole_lines_when_nobody_reads():
    pipe = Pipe()
    pipe.put(1)
    pipe.room = 10
    assert pipe.link.pump() == 10  # the first line is on its way
    pipe.room = 0
    for _ in range(300):
        pipe.put(1)
        assert pipe.link.pump() == 0
    pipe.room = 7
    # Not one torn line, though its place is taken, and the gap in the numbers is what was dropped.
    oldest = pipe.ring.oldest
    assert pipe.drain() == lines([0], range(oldest, 301))
    assert pipe.link.turns.dropped == oldest - 1 > 100
    assert not pipe.link.waiting()


def check_records_are_repeated_when_no_new_one_waits():
    pipe = Pipe()
    pipe.put(30)
    pipe.drain()
    pipe.sent = again(1, 3, 1000) + again(1, 28, 40) + again(2, 0, 9) + b"again 1 2\nagain 1 -1 x\n"
    pipe.put(2)
    assert not pipe.outbox.answer(pipe.link)
    assert pipe.drain() == lines([30, 31], range(3, 3 + MOST_AGAIN))
    assert not pipe.outbox.answer(pipe.link)
    assert pipe.drain() == lines(range(28, 32))
    for _ in range(4):
        assert not pipe.outbox.answer(pipe.link)
    assert pipe.drain() == b""
    assert not pipe.link.waiting()


def check_new_records_wait_for_one_repeated_one_at_most():
    pipe = Pipe()
    pipe.put(40)
    pipe.drain()
    pipe.sent = again(1, 0, 16)
    pipe.outbox.answer(pipe.link)
    pipe.link.pump()
    pipe.put(2)
    assert pipe.drain() == lines([0, 40, 41], range(1, 16))


def check_what_is_forgotten_is_said_to_be_gone():
    pipe = Pipe()
    pipe.put(300)
    pipe.drain()
    oldest = pipe.ring.oldest
    pipe.sent = again(1, oldest - 2, oldest + 2)
    pipe.outbox.answer(pipe.link)
    said = oldest + MOST_AGAIN
    assert pipe.drain() == encode("event", 1, 300, (0, "gone", "usb", said, ""))
    pipe.sent = again(1, said, said + 2)
    pipe.outbox.answer(pipe.link)
    assert pipe.drain() == lines([said, said + 1])


def check_no_more_is_said_to_be_gone_than_there_is():
    pipe = Pipe(1)
    while pipe.ring.next - pipe.ring.oldest != 2 or not pipe.ring.oldest:
        pipe.put(1)
    pipe.drain()
    beyond = pipe.ring.next
    pipe.sent = again(1, 0, 9)
    pipe.outbox.answer(pipe.link)
    assert pipe.drain() == encode("event", 1, beyond, (0, "gone", "usb", beyond, ""))


def check_a_host_catches_up_with_a_ring_that_forgets_one_record_for_each_new_one():
    pipe = Pipe(8)
    lost = 2 * SLOTS
    first = repeated = 0
    for _ in range(100):
        while pipe.ring.next < lost:
            put(pipe.ring, b"%d\n" % pipe.ring.next)
            pipe.link.turns.skip()
        for _ in range(4):  # while the host hears the answer and asks on
            put(pipe.ring, b"%d\n" % pipe.ring.next)
        pipe.sent = again(1, first, min(first + MOST_AGAIN, lost))
        pipe.outbox.answer(pipe.link)
        for line in pipe.drain().split(b"\n")[:-1]:
            words = line.split(b" ")
            if len(words) > 1:
                first = max(first, int(words[6]))
            elif int(line) == first < lost:
                first += 1
                repeated += 1
    assert first == lost
    assert repeated > SLOTS - 2 * MOST_AGAIN


def check_whoever_asks_on_and_on_for_what_is_gone_does_not_fill_the_ring():
    pipe = Pipe()
    said = set()
    for _ in range(500):
        pipe.put(1)
        pipe.drain()
        oldest = pipe.ring.oldest
        pipe.sent = again(1, 0, 1)
        pipe.outbox.answer(pipe.link)
        if oldest:
            answer = pipe.drain()
            assert oldest <= int(answer.split(b" ")[6]) <= oldest + MOST_AGAIN
            said.add(answer)
    assert len(said) == pipe.ring.next - 500 < 15  # the same word again and again


def check_nor_does_whoever_asks_for_each_short_record_as_it_is_forgotten():
    pipe = Pipe(8)
    while pipe.ring.next < 2 * SLOTS:
        put(pipe.ring, b"%d\n" % pipe.ring.next)
    for _ in range(500):
        put(pipe.ring, b"%d\n" % pipe.ring.next)
        pipe.sent = again(1, pipe.ring.oldest - 1, pipe.ring.oldest)
        pipe.outbox.answer(pipe.link)
    assert 0 < pipe.ring.next - 2 * SLOTS - 500 <= 1 + 500 // MOST_AGAIN


def check_requests_of_any_form():
    assert wanted(again(5, 10, 12)[:-1]) == (5, 10, 12)
    assert wanted(b"again 5 10 2000") == (5, 10, 10 + MOST_AGAIN)
    for line in (b"", b"hello", b"again", b"again 1 2", b"again 1 2 3 4", b"again 1 2 c", b"\xff"):
        assert wanted(line) is None, line


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
    pipe = Pipe()
    for text in ("", "x" * 500, "\xe9 %" * 100):
        pipe.outbox.event("config", text=text)
    said = pipe.drain().split(b"\n")
    assert max(len(line) for line in said) < LIMIT
    assert b" %s " % (b"x" * 120) in said[1]


if __name__ == "__main__":
    sys.exit(run(globals()))

"""How far back the ring of records reaches, and what the board says of it.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import raises, run

import streamer
from outbox import Outbox
from record_format import GREETING, HEADER, KEPT_S, LIMIT, OK, again, edges_us
from record_ring import PAGES, RecordRing
from ring_reach import edges
from sampler import Sampler
from sensor import Sensor

SHIPPED = {
    "block_us": 100000,
    "period_us": 5000,
    "jitter_us": 5000,
    "slow_us": 500000,
    "header_us": 10000000,
}
BOOT = 0xFFFFFF


class NoCollector:
    """A board has a small heap to go through, the process of these checks a large one."""

    def collect(self):
        pass


if sys.implementation.name != "micropython":
    streamer.gc = NoCollector()


class RunEndsError(Exception):
    pass


class Clock:
    """Time goes on when the firmware sleeps. Its ticks have as many digits as ticks can have."""

    def __init__(self):
        self.us = self.end_us = 0

    def ticks_us(self):
        return (self.us + 1000000000) & 0x3FFFFFFF

    def ticks_add(self, ticks, delta):
        return (ticks + delta) & 0x3FFFFFFF

    def ticks_diff(self, end, start):
        return ((end - start + (1 << 29)) & 0x3FFFFFFF) - (1 << 29)

    def sleep_us(self, us):
        self.us += us
        if self.us > self.end_us:
            raise RunEndsError


class Swinging:
    """A part whose counts go from one end of their range to the other."""

    least_period_us = 0
    trim = (-32768,) * 12

    def __init__(self, quantity, low, high, words):
        channel = (quantity, "Pa", "linear", -6894.757, 6894.757, low, high, low, high)
        self.channels = (channel,) * words
        self.words = [low] * words

    def start(self):
        pass

    def read(self):
        low, high = self.channels[0][7:9]
        for i in range(len(self.words)):
            self.words[i] = low + high - self.words[i]
        return OK


class Shaft:
    """A pickup that sees an edge whenever it may."""

    role = "blower_shaft"
    pin_number = 15
    least_us = 400

    def __init__(self, length_us):
        self.length_us = length_us

    def watch(self):
        return False

    def begin(self):
        pass

    def write(self, line):
        line.add(1000000000)
        line.add(self.length_us)
        for value in edges(self, self.length_us):
            for number in value if isinstance(value, list) else (value,):
                line.add(number)


class Observer:
    """In a link's place: when each record was made, and how little the ring ever kept of them.
    At each second of the run it `says` a line, or None."""

    name = "usb"
    dropped = 0

    def __init__(self, ring, clock, says):
        self.turns = self
        self.ring = ring
        self.clock = clock
        self.says = says
        self.made = []
        self.first = ring.next
        self.kept_us = 1 << 40
        self.told = []
        self.lines = []  # of headers: number, lines in the header, and when it was made
        self.line = bytearray(LIMIT)

    def waiting(self):
        return False

    def hear(self):
        return self.says(self.clock.us / 1e6)

    def repeat(self, first, beyond):
        pass

    def pump(self):
        ring = self.ring
        while len(self.made) < ring.next - self.first:
            length = ring.copy(self.first + len(self.made), self.line)
            words = bytes(self.line[:length]).decode().split(" ")
            if "short_memory" in words:
                self.told.append(int(words[6]))
            if words[0] in HEADER:
                self.lines.append((int(words[3]), int(words[4]), self.clock.us / 1e6))
            self.made.append(self.clock.us)
        if ring.oldest > self.first:
            self.kept_us = min(self.kept_us, self.clock.us - self.made[ring.oldest - self.first])


def observed(plan, slow_sensors, shafts, pages, seconds, says=lambda _: None, meters=1):
    """So many seconds of a board's run."""
    clock = Clock()
    clock.end_us = seconds * 1000000
    ring = RecordRing(pages)
    ring.next = ring.oldest = 9000000
    watched = Observer(ring, clock, says)
    sensors = []
    for i in range(meters):
        part = Swinging("differential_pressure", 0, 16383, 2)
        sensors.append(Sensor(i, "meter_dp", "DLH", 0, 0x29, 5000, part))
    for i in range(meters, meters + slow_sensors):
        part = Swinging("pressure", -8388608, 8388607, 2)
        sensors.append(Sensor(i, "ambient_air", "LPS22HB", 0, 0x5C, 500000, part))
    tachs = [Shaft(edges_us(plan["block_us"])), Shaft(plan["slow_us"])][:shafts]
    identity = ("rp2-pico", "0123456789abcdef")
    loop = streamer.Streamer(
        clock,
        [watched],
        Outbox(ring, clock, BOOT),
        [Sampler(sensor) for sensor in sensors[:meters]],
        sensors[meters:],
        tachs,
        plan,
        identity,
        ("x" * 40, "micropython", "1.28.0"),
        lambda: None,
    )
    raises(RunEndsError, loop.run, 1)
    return watched


def kept(*run, **more):
    """Seconds that the ring kept at the least in a run, and the seconds that the board said."""
    watched = observed(*run, **more)
    assert watched.ring.oldest > watched.first, "the ring has not come round"
    return watched.kept_us / 1e6, watched.told


def check_the_shipped_plan_keeps_what_is_promised_with_every_sensor():
    seconds, told = kept(SHIPPED, 5, 2, PAGES, 60, meters=2)
    assert KEPT_S <= seconds < 1.25 * KEPT_S, seconds
    assert told == []


def said_rightly(plan, slow_sensors, shafts, pages):
    seconds, told = kept(plan, slow_sensors, shafts, pages, 40)
    assert len(told) == 5, told  # ahead of every header
    assert set(told) == {told[0]}, told
    assert told[0] <= seconds <= 1.4 * told[0] + 1, (told[0], seconds)
    assert told[0] < KEPT_S


def check_short_blocks_keep_what_the_board_says():
    said_rightly(dict(SHIPPED, block_us=20000), 1, 1, PAGES)


def check_fast_slow_sensors_keep_what_the_board_says():
    said_rightly(dict(SHIPPED, slow_us=100000), 5, 2, PAGES)


def check_a_small_ring_keeps_what_the_board_says():
    said_rightly(SHIPPED, 1, 1, PAGES // 3)


def check_short_records_are_kept_as_far_as_there_are_places():
    said_rightly(dict(SHIPPED, slow_us=100000), 9, 1, 4 * PAGES)


def check_whatever_a_host_says_on_and_on_leaves_what_is_promised():
    for_what_is_gone = again(BOOT, 0, 1)[:-1]

    def all_at_once(second):
        return GREETING if second % 0.2 < 0.1 else for_what_is_gone

    def now_and_then(second):  # so that each greeting is answered
        return GREETING if second % 33 < 5 else for_what_is_gone

    for says in (all_at_once, now_and_then):
        seconds, told = kept(SHIPPED, 5, 2, PAGES, 80, says)
        assert seconds >= KEPT_S, seconds
        assert told == []


if __name__ == "__main__":
    sys.exit(run(globals()))

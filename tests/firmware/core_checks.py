"""Checks of the firmware's core that run alike on CPython and on MicroPython, without pytest.

Run as a script it prints a line for each check and ends with 1 if one fails. On MicroPython
it also proves that sampling and the interrupt handler allocate nothing; the 32-bit build
tells most, for its small integers end at 2^30 as on a board.
"""

import json
import sys

from driver_checks import allocates, raises
from golden_records import GOLDEN

import board_config
from outbox import Outbox
from record_format import BUS_ERROR, FAULT, LIMIT, OK, STALE, encode
from sampler import MOST_SAMPLES, Sampler
from sensor import BAD_READS, Sensor
from tach import SILENT_CHANGES, Tach
from usb_link import UsbLink

PERIOD = 1 << 30
SMALL = sys.maxsize < PERIOD << 1  # whether 2^30 is no small integer here


class Clock:
    """A board's clock, set by hand."""

    def __init__(self):
        self.now = 0

    def ticks_us(self):
        return self.now

    def ticks_add(self, ticks, delta):
        return (ticks + delta) & (PERIOD - 1)


class Driver:
    """Serves a list of statuses and counts."""

    channels = (("differential_pressure", "Pa", "linear", -1, 1, 10, 90, 1000, 15000),)

    def __init__(self, served, words=1):
        self.served = served
        self.words = [0] * words
        self.started = 0
        self.absent = False
        self._next = 0

    def start(self):
        self.started += 1
        if self.absent:
            raise OSError(5)

    def read(self):
        if self.absent:
            raise OSError(5)
        status, count = self.served[self._next]
        self._next += 1
        if status == OK:
            self.words[0] = count
        return status


class Wired:
    """What Sampler sees of a Sensor, without its care for absence."""

    def __init__(self, driver):
        self.driver = driver

    def read(self):
        return self.driver.read()


def statistics(served):
    """What `Sampler.take` must say, by integers of any size."""
    counts = [count for status, count in served if status == OK]
    pivot = counts[0] if counts else 0
    return (
        len(counts),
        pivot,
        sum(count - pivot for count in counts),
        sum((count - pivot) ** 2 for count in counts),
        min(counts) if counts else 0,
        max(counts) if counts else 0,
        sum(status == STALE for status, _ in served),
        sum(status not in (OK, STALE) for status, _ in served),
        sum(count <= 1000 or count >= 15000 for count in counts),
    )


TOP = (1 << 24) - 1

# The worst that a block may hold, and what a block may hold at all.
BLOCKS = (
    [],
    [(OK, 8192)],
    [(STALE, 0)] * 3 + [(FAULT, 0)] * 2 + [(BUS_ERROR, 0)],
    [(OK, 1000), (STALE, 0), (OK, 1001), (OK, 14999), (FAULT, 0), (OK, 15000), (OK, 999)],
    [(OK, i * 7919 % 16384) for i in range(MOST_SAMPLES)],
    [(OK, i * 4999999 % (TOP + 1)) for i in range(MOST_SAMPLES)],
    [(OK, 0)] + [(OK, TOP)] * (MOST_SAMPLES - 1),
    [(OK, TOP)] + [(OK, 0)] * (MOST_SAMPLES - 1),
    # Each of the three parts of a square at its greatest.
    [(OK, 0)] + [(OK, 4095 << 12)] * (MOST_SAMPLES - 1),
    [(OK, TOP)] + [(OK, TOP & 4095)] * (MOST_SAMPLES - 1),
    [(OK, 0)] + [(OK, 4095)] * (MOST_SAMPLES - 1),
)


def sampled(served):
    sampler = Sampler(Wired(Driver(served)))
    for _ in served:
        sampler.sample()
    return sampler


def check_golden_records():
    for kind, boot, seq, values, line in GOLDEN:
        assert encode(kind, boot, seq, values) == line, kind


def check_block_statistics():
    for served in BLOCKS:
        sampler = sampled(served)
        assert sampler.take() == statistics(served), served
        assert sampler.take() == (0,) * 9


class OneSum(Sampler):
    """The statistics as one would write them: the squares in one sum."""

    def sample(self):
        self.sensor.read()
        if self._n == 0:
            self._pivot = self._words[0]
        d = self._words[0] - self._pivot
        self._n += 1
        self._sum_bb += d * d


def samples_allocate(kind, served):
    sampler = kind(Wired(Driver(served)))

    def work():
        for _ in served:
            sampler.sample()

    return allocates(work)


def check_sampling_allocates_nothing():
    for served in BLOCKS:
        assert not samples_allocate(Sampler, served), served
    if samples_allocate(OneSum, BLOCKS[-1]) is not None:
        # The gate bites where small integers are small.
        assert samples_allocate(OneSum, BLOCKS[6]) == SMALL


class Line:
    """A pin with its interrupt: edges that come while it is off are delivered after."""

    def __init__(self):
        self.clock = Clock()
        self.high = True
        self.arms = 0
        self.off = False
        self.late = []
        self.at_take = []
        self.tach = Tach(
            "blower_shaft", 15, 400, self.clock, self.irq_off, self.irq_on, self.arm, self.level
        )

    def arm(self, handler):
        self.arms += 1
        self.handler = handler

    def level(self):
        return self.high

    def irq_off(self):
        assert not self.off
        for at in self.at_take[:1]:  # just in time
            self.edge(at)
        self.off = True
        self.late = self.at_take[1:]
        return 77

    def irq_on(self, state):
        assert state == 77
        self.off = False
        for at in self.late:
            self.edge(at)

    def edge(self, at):
        self.clock.now = at & (PERIOD - 1)
        self.handler(None)


def check_tach_intervals():
    line = Line()
    assert line.tach.take() == (0, 0, 0, 0, 0, 0)
    for at in (5000, 15000, 25010, 35000):
        line.edge(at)
    # The first edge of all has no interval.
    assert line.tach.take() == (4, 5000, 35000, 9990, 10010, 0)
    line.edge(45500)
    # The interval ends in this record and began in the last.
    assert line.tach.take() == (1, 45500, 45500, 10500, 10500, 0)
    assert line.tach.take() == (0, 0, 0, 0, 0, 0)


def check_tach_over_the_wrap():
    line = Line()
    for at in (PERIOD - 15000, PERIOD - 5000, PERIOD + 5000, PERIOD + 15020):
        line.edge(at)
    assert line.tach.take() == (4, PERIOD - 15000, 15020, 10000, 10020, 0)


def check_tach_rejects_what_comes_too_soon():
    line = Line()
    for at in (1000, 1399, 1400, 1799, 1801, 9000):
        line.edge(at)
    # Measured from the last accepted edge, so that a ringing edge cannot hide the next one.
    assert line.tach.take() == (4, 1000, 9000, 400, 7199, 2)
    line.edge(9100)
    assert line.tach.take() == (0, 0, 0, 0, 0, 1)


def check_tach_loses_no_edge_while_it_is_read():
    line = Line()
    line.edge(10000)
    line.at_take = [20000, 30000, 40000]
    assert line.tach.take() == (2, 10000, 20000, 10000, 10000, 0)
    line.at_take = []
    assert line.tach.take() == (2, 30000, 40000, 10000, 10000, 0)


def check_edges_allocate_nothing():
    line = Line()
    instants = (0, 10000, 10100, PERIOD >> 1, PERIOD - 1, 500, 501, PERIOD - 1, PERIOD - 2)

    def work():
        for at in instants:
            line.clock.now = at
            line.handler(None)

    found = allocates(work)
    if found is None:
        return
    assert not found
    assert line.tach.take()[0] == len(instants) - 2


def check_dead_interrupt_is_set_up_again():
    line = Line()
    for _ in range(SILENT_CHANGES - 1):
        line.high = not line.high
        assert not line.tach.watch()
        assert not line.tach.watch()
    line.high = not line.high
    assert line.tach.watch()
    assert line.arms == 2
    line.edge(123)
    assert line.tach.take()[0] == 1
    # A slow shaft: an edge comes, and the record is read, between two changes of the level.
    for turn in range(1, 4 * SILENT_CHANGES):
        line.edge(turn * 500000)
        line.high = not line.high
        assert not line.tach.watch()
        line.tach.take()
        line.high = not line.high
        assert not line.tach.watch()
    # At rest nothing moves.
    for _ in range(100):
        assert not line.tach.watch()
    assert line.arms == 2


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


def placed(driver):
    return Sensor(0, "meter_dp", "HSC", 0, 0x28, 5000, driver)


def check_sensor_is_lost_and_comes_back():
    driver = Driver([(OK, 1)] * 3 + [(FAULT, 0)] * (BAD_READS - 1) + [(OK, 1), (STALE, 0), (OK, 1)])
    sensor = placed(driver)
    assert sensor.read() == STALE  # the reading that starts it
    assert [sensor.read() for _ in range(3)] == [OK] * 3
    for _ in range(BAD_READS - 1):
        assert sensor.read() == FAULT
    assert sensor.read() == OK
    assert (sensor.news, driver.started) == ("", 1)  # a few bad readings are no loss
    driver.absent = True
    for _ in range(BAD_READS - 1):
        assert sensor.read() == sensor.status == BUS_ERROR
        assert sensor.news == ""
    assert sensor.read() == BUS_ERROR
    assert sensor.news == "sensor_lost"
    sensor.news = ""
    for _ in range(50):
        assert sensor.read() == BUS_ERROR
    assert sensor.news == ""
    driver.absent = False
    assert [sensor.read() for _ in range(3)] == [STALE, STALE, OK]
    assert sensor.news == "sensor_back"


def check_sensor_is_started_again_after_any_absence():
    driver = Driver([(OK, 1)] * 2)
    sensor = placed(driver)
    driver.absent = True
    assert sensor.read() == BUS_ERROR
    driver.absent = False
    assert [sensor.read(), sensor.read()] == [STALE, OK]
    driver.absent = True
    assert sensor.read() == BUS_ERROR
    driver.absent = False
    assert [sensor.read(), sensor.read()] == [STALE, OK]
    assert (sensor.news, driver.started) == ("", 3)


def check_sensor_with_nothing_new_is_lost_and_started_again():
    for status in (STALE, FAULT):
        driver = Driver([(status, 0)] * 3 * BAD_READS + [(OK, 1)])
        sensor = placed(driver)
        for _ in range(BAD_READS):
            sensor.read()
        assert (sensor.news, sensor.status) == ("sensor_lost", status)
        while sensor.read() != OK:
            pass
        assert sensor.news == "sensor_back"
        assert driver.started == 4  # at first, and after each BAD_READS without a good one


BOARD = {
    "board": "rp2-pico",
    "buses": [{"bus": 0, "sda": 4, "scl": 5, "frequency_hz": 400000}],
    "plan": {
        "block_us": 100000,
        "period_us": 5000,
        "jitter_us": 5000,
        "slow_us": 500000,
        "header_us": 10000000,
    },
    "sensors": [
        {"role": "ambient_air", "part": "BME280", "bus": 0, "address": 118},
        {"role": "meter_dp", "part": "ABP2", "bus": 0, "address": "0x28", "range_pa": [0, 2500]},
        {"role": "tank_air", "part": "LPS22HB", "bus": 0, "address": "5c"},
    ],
    "pickups": [{"role": "blower_shaft", "pin": 15, "least_us": 400}],
    "watchdog_ms": 4000,
}

# (path into BOARD, what stands there instead, None: nothing; the sentence)
FAULTS = (
    (("board",), None, "board.json: board is missing"),
    (("board",), 5, "board.json: board has the wrong form"),
    (("board",), "x" * 150, "board: a text or number is too long for a record"),
    (("bord",), "x", "board.json: bord is not known here"),
    (("buses", 0), 5, "a bus must be an object in braces"),
    (("buses", 0, "sda"), None, "bus 0: sda is missing"),
    (("buses", 0, "frequency_hz"), 0, "bus 0: frequency_hz must be 10000 to 1000000"),
    (("buses",), BOARD["buses"] * 2, "buses: bus 0 is there twice"),
    (("sensors", 1), None, "sensors: exactly one must have the role meter_dp"),
    (("sensors", 0, "role"), "blower", "a sensor: role must be one of ambient_air, "),
    (("sensors", 0, "part"), "BMP85", "ambient_air: part must be one of ABP2, BME280, "),
    (("sensors", 0, "bus"), 1, "ambient_air: bus 1 is not among the buses"),
    (("sensors", 0, "address"), "0x28", "meter_dp: address 0x28 of bus 0 is taken"),
    (("sensors", 0, "address"), "x28", 'ambient_air: address must be "0x08" to "0x77"'),
    (("sensors", 0, "address"), 4.5, "ambient_air: address has the wrong form"),
    (("sensors", 1, "range"), [0, 1], "meter_dp: range is not known here"),
    (("sensors", 1, "range_pa"), None, "meter_dp: range_pa must be two numbers"),
    (("sensors", 1, "range_pa"), ["0." + "0" * 90, 1], "meter_dp: a text or number is too long"),
    (("sensors", 1, "part"), "BMP280", "meter_dp: BMP280 measures no differential pressure"),
    (("sensors", 2, "part"), "SHT3x", "tank_air: SHT3x measures no absolute pressure"),
    (
        ("sensors", 2),
        {"role": "blower_air", "part": "MCP9600", "bus": 0, "address": 96},
        "blower_air: MCP9600 measures no absolute pressure",
    ),
    # Its own temperature is not that of the air.
    (
        ("sensors", 0),
        {"role": "ambient_air", "part": "HSC", "bus": 0, "address": 41, "range_pa": [0, 1]},
        "ambient_air: HSC measures no absolute pressure or temperature",
    ),
    (
        ("sensors", 2),
        {
            "role": "discharge_temperature",
            "part": "DLH",
            "bus": 0,
            "address": 41,
            "range_pa": [0, 1],
        },
        "discharge_temperature: DLH measures no temperature",
    ),
    (("pickups",), [], "pickups: one or two are needed"),
    (("pickups",), BOARD["pickups"] * 2, "pickups: blower_shaft is there twice"),
    (("pickups", 0, "role"), "wheel", "a pickup: role must be one of blower_shaft"),
    (("pickups", 0, "least_us"), 0, "blower_shaft: least_us must be 1 to 20000"),
    (("pickups", 0, "pin"), 5, "pin 5 is used twice"),
    (("plan", "period_us"), 2000.5, "plan: period_us has the wrong form"),
    (("plan", "period_us"), 3000, "plan: block_us must be 1 to 63 times period_us"),
    (("plan", "period_us"), 1000, "plan: block_us must be 1 to 63 times period_us"),
    (("plan", "jitter_us"), 5001, "plan: jitter_us must not exceed period_us"),
    (("plan", "slow_us"), 550000, "plan: slow_us must be a multiple of block_us"),
    (("watchdog_ms",), 1000, "watchdog_ms: 0 (none) or at least 2000"),
    (("watchdog_ms",), 9000, "board.json: watchdog_ms must be 0 to 8388"),
)


def changed(path, value):
    """BOARD's text with one thing changed."""
    board = json.loads(json.dumps(BOARD))
    place = board
    for key in path[:-1]:
        place = place[key]
    if value is None:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return json.dumps(board)


def made(text):
    config = board_config.load(text)
    return board_config.make_sensors(config, {0: None})


def check_board_json():
    sensors = made(json.dumps(BOARD))
    assert [(s.index, s.role, s.address, s.period_us) for s in sensors] == [
        (0, "meter_dp", 0x28, 5000),
        (1, "ambient_air", 0x76, 500000),
        (2, "tank_air", 0x5C, 500000),
    ]
    for path, value, sentence in FAULTS:
        message = raises(ValueError, made, changed(path, value))
        assert message.startswith(sentence), message
        assert "\n" not in message, message
    for text in ("", '{"board": "x"', "\xe9"):
        assert raises(ValueError, made, text).startswith("board.json is not JSON"), text
    assert raises(ValueError, made, "[]") == "board.json must hold an object in braces"
    dry = {"role": "ambient_air", "part": "SHT4x", "bus": 0, "address": 68}
    assert made(changed(("sensors", 0), dry))[1].part == "SHT4x"
    too_fast = changed(("plan", "period_us"), 4000)
    too_fast = too_fast.replace('"jitter_us": 5000', '"jitter_us": 0')
    assert raises(ValueError, made, too_fast) == (
        "meter_dp: ABP2 needs 5000 us a reading, the plan gives 4000"
    )


CHECKS = sorted(name for name in globals() if name.startswith("check_"))


def main():
    failed = 0
    for name in CHECKS:
        try:
            globals()[name]()
            sys.stdout.write(f"ok {name}\n")
        except Exception as error:  # noqa: BLE001
            failed += 1
            sys.stdout.write(f"FAILED {name}: {error!r}\n")
            if hasattr(sys, "print_exception"):
                sys.print_exception(error)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

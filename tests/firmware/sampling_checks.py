"""What a block holds, and the sensors that are read for it.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import allocates, run, written

from record_format import BUS_ERROR, FAULT, OK, STALE
from sampler import Sampler
from sensor import BAD_READS, Sensor

MOST_SAMPLES = 1000  # a second of the shortest period that board.json takes
SMALL = sys.maxsize < 1 << 31  # whether 2^30 is no small integer here


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
    """What `Sampler.write` must say, by integers of any size."""
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
MOST_SWINGS = 63  # from end to end of 24 bits, whose squares add up below 2^54


def sampled(served):
    sampler = Sampler(Wired(Driver(served)))
    for _ in served:
        sampler.sample()
    return sampler


def check_block_statistics():
    for served in BLOCKS:
        sampler = sampled(served)
        assert written(sampler.write) == statistics(served), served
        assert written(sampler.write) == (0,) * 9


class OneSum(Sampler):
    """The statistics as one would write them: the squares in one sum."""

    def sample(self):
        self.sensor.read()
        if self._n == 0:
            self._pivot = self._words[0]
        d = self._words[0] - self._pivot
        self._n += 1
        self._square_low += d * d


def samples_allocate(kind, served):
    sampler = kind(Wired(Driver(served)))

    def work():
        for _ in served:
            sampler.sample()

    return allocates(work)


def check_sampling_allocates_nothing():
    for served in BLOCKS:
        assert not samples_allocate(Sampler, served[:MOST_SWINGS]), served
    # A second of a 14-bit part that swings from end to end.
    assert not samples_allocate(Sampler, [(OK, i % 2 * 16383) for i in range(MOST_SAMPLES)])
    if samples_allocate(OneSum, BLOCKS[-1][:MOST_SWINGS]) is not None:
        # The gate bites where small integers are small.
        assert samples_allocate(OneSum, BLOCKS[6][:MOST_SWINGS]) == SMALL


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


if __name__ == "__main__":
    sys.exit(run(globals()))

"""The pickup's edges.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import allocates, run, written
from hand_set_clock import PERIOD, Clock

from record_format import DENSE_EVERY, MOST_STAMPS
from tach import SILENT_CHANGES, Tach


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


def taken(line):
    """What a record says beside its start and length: edges, rejects, extreme intervals, stride,
    the time of the first edge and the steps."""
    return written(line.tach.write)[2:]


def check_tach_intervals():
    line = Line()
    assert taken(line) == (0, 0, 0, 0, 1, 0)
    for at in (5000, 15000, 25010, 35000):
        line.edge(at)
    # The first edge of all has no interval.
    assert taken(line) == (4, 0, 9990, 10010, 1, 5000, 10000, 10010, 9990)
    line.edge(45500)
    # The interval ends in this record and began in the last.
    assert taken(line) == (1, 0, 10500, 10500, 1, 10500)
    assert taken(line) == (0, 0, 0, 0, 1, 0)


def check_each_record_begins_where_the_last_one_ended():
    line = Line()
    line.clock.now = PERIOD - 3000
    line.tach.begin()
    for now in (PERIOD - 1000, 2000, 12000):
        line.clock.now = now % PERIOD
        start, length = written(line.tach.write)[:2]
        assert (start + length) % PERIOD == now % PERIOD, now
    assert (start, length) == (2000, 10000)


def check_tach_over_the_wrap():
    line = Line()
    line.clock.now = PERIOD - 20000
    line.tach.begin()
    for at in (PERIOD - 15000, PERIOD - 5000, PERIOD + 5000, PERIOD + 15020):
        line.edge(at)
    assert taken(line) == (4, 0, 10000, 10020, 1, 5000, 10000, 10000, 10020)


def check_tach_rejects_what_comes_too_soon():
    line = Line()
    for at in (1000, 1399, 1400, 1799, 1801, 9000):
        line.edge(at)
    # Measured from the last accepted edge, so that a ringing edge cannot hide the next one.
    assert taken(line) == (4, 2, 400, 7199, 1, 1000, 400, 401, 7199)
    line.edge(9100)
    assert taken(line) == (0, 1, 0, 0, 1, 0)


def check_tach_loses_no_edge_while_it_is_read():
    line = Line()
    line.edge(10000)
    line.at_take = [20000, 30000, 40000]
    assert taken(line) == (2, 0, 10000, 10000, 1, 10000, 10000)
    line.at_take = []
    assert taken(line) == (2, 0, 10000, 10000, 1, 10000, 10000)


def turned(line, pitch, edges):
    """The stride and the steps of the record after so many more edges."""
    for _ in range(edges):
        line.edge(line.clock.now + pitch)
    record = taken(line)
    assert record[0] == edges
    return record[4], record[6:]


def check_the_stamps_cover_the_stretch():
    line = Line()
    turned(line, 1000, 40)  # the stride follows the number of edges in the record before
    for edges in (40, 40, 41, 38):
        stride, steps = turned(line, 1000, edges)
        assert stride == 4, stride
        assert sum(steps) == 1000 * (edges - 1)
        assert len(steps) <= MOST_STAMPS
        assert set(steps[:-1]) == {4000}


def check_every_edge_is_stamped_once_in_a_while():
    line = Line()
    strides = [turned(line, 1000, 40)[0] for _ in range(3 * DENSE_EVERY)]
    assert strides == ([1] + [4] * (DENSE_EVERY - 1)) * 3, strides
    stride, steps = turned(line, 1000, 40)
    assert stride == 1
    assert steps == (1000,) * (MOST_STAMPS - 1) + (1000 * (40 - MOST_STAMPS),)


def check_every_edge_is_stamped_after_a_missed_one():
    line = Line()
    for _ in range(2):
        stride, _ = turned(line, 1000, 40)
    assert stride == 4
    line.edge(line.clock.now + 2000)
    for _ in range(39):
        line.edge(line.clock.now + 1000)
    assert taken(line)[3:5] == (2000, 4)
    assert turned(line, 1000, 40)[0] == 1
    assert turned(line, 1000, 40)[0] == 4


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
    assert taken(line)[0] == len(instants) - 2


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
    assert taken(line)[0] == 1
    # A slow shaft: an edge comes, and the record is read, between two changes of the level.
    for turn in range(1, 4 * SILENT_CHANGES):
        line.edge(turn * 500000)
        line.high = not line.high
        assert not line.tach.watch()
        taken(line)
        line.high = not line.high
        assert not line.tach.watch()
    # At rest nothing moves.
    for _ in range(100):
        assert not line.tach.watch()
    assert line.arms == 2


if __name__ == "__main__":
    sys.exit(run(globals()))

"""The pickup's edges.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import allocates, run
from hand_set_clock import PERIOD, Clock

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


if __name__ == "__main__":
    sys.exit(run(globals()))

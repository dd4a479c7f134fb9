"""Edges of one optical pickup, stamped in an interrupt that allocates nothing.

`edge` is the interrupt handler. It touches small integers only: raw ticks stay below 2^30
on every port, and the masked difference of two of them is right over the wrap.
"""

from array import array

from record_format import DENSE_EVERY, MOST_STAMPS

SILENT_CHANGES = 8  # changes of the pin's level without one edge: the interrupt is dead


class Tach:
    """The pickup of one shaft. `arm(handler)` sets the pin's interrupt up; `level()` reads it."""

    def __init__(self, role, pin_number, least_us, clock, irq_off, irq_on, arm, level):
        self.role = role
        self.pin_number = pin_number
        self.least_us = least_us
        self._clock = clock
        self._ticks_us = clock.ticks_us
        self._mask = clock.ticks_add(0, -1)
        self._irq_off = irq_off
        self._irq_on = irq_on
        self._arm = arm
        self._level = level
        self._start = clock.ticks_us()
        self._last = -1
        self._edges = 0
        self._least = 0
        self._greatest = 0
        self._rejects = 0
        self._stamps = array("l", [0] * MOST_STAMPS)
        self._full = array("l", [0] * MOST_STAMPS)  # those of the stretch that is being sent
        self._stamped = 0
        self._until_stamp = 0  # edges that pass before the next one is stamped
        self._stride = 1
        self._until_dense = DENSE_EVERY - 1
        self._level_before = level()
        self._silent_changes = 0
        self._handler = self.edge  # a bound method made once: making one allocates
        arm(self._handler)

    def edge(self, _pin):
        now = self._ticks_us()
        if self._last >= 0:
            interval = (now - self._last) & self._mask
            if interval < self.least_us:
                self._rejects += 1
                return
            if self._least == 0 or interval < self._least:
                self._least = interval
            self._greatest = max(self._greatest, interval)
        self._last = now
        self._edges += 1
        if self._until_stamp:
            self._until_stamp -= 1
        elif self._stamped < MOST_STAMPS:
            self._stamps[self._stamped] = now
            self._stamped += 1
            self._until_stamp = self._stride - 1

    def begin(self):
        """Begin a new stretch; what came until now is forgotten."""
        state = self._irq_off()
        self._start = self._ticks_us()
        self._edges = self._least = self._greatest = self._rejects = 0
        self._stamped = self._until_stamp = 0
        self._irq_on(state)

    def write(self, line):
        """Add the fields of a record behind `pickup`, and begin a new stretch."""
        state = self._irq_off()
        now = self._ticks_us()
        edges, last, rejects = self._edges, self._last, self._rejects
        least, greatest = self._least, self._greatest
        stamped, stride = self._stamped, self._stride
        self._edges = self._least = self._greatest = self._rejects = 0
        self._stamped = self._until_stamp = 0
        stamps = self._stamps
        self._stamps = self._full
        self._full = stamps
        self._stride = self._next_stride(edges, least, greatest)
        self._irq_on(state)
        start = self._start
        self._start = now
        line.add(start)
        line.add(self._clock.ticks_diff(now, start))
        line.add(edges)
        line.add(rejects)
        line.add(least)
        line.add(greatest)
        line.add(stride)
        if not edges:
            line.add(0)
            return
        self._silent_changes = 0
        line.add(self._clock.ticks_diff(stamps[0], start))
        for i in range(1, stamped):
            line.add((stamps[i] - stamps[i - 1]) & self._mask)
        if (stamped - 1) * stride < edges - 1:
            line.add((last - stamps[stamped - 1]) & self._mask)

    def _next_stride(self, edges, least, greatest):
        """Every edge once in a while, and where one may have been missed or seen twice."""
        if self._until_dense == 0 or greatest > least + (least >> 1):
            self._until_dense = DENSE_EVERY - 1
            return 1
        self._until_dense -= 1
        return edges // MOST_STAMPS + 1

    def watch(self):
        """Called often: True when the pin moves but no edge arrives. The interrupt, which an
        exception in a handler switches off, is then set up again."""
        level = self._level()
        if level == self._level_before:
            return False
        self._level_before = level
        if self._edges:
            return False
        self._silent_changes += 1
        if self._silent_changes < SILENT_CHANGES:
            return False
        self._silent_changes = 0
        self._arm(self._handler)
        return True

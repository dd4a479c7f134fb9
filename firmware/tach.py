"""Edges of one optical pickup, stamped in an interrupt that allocates nothing.

`edge` is the interrupt handler. It touches small integers only: raw ticks stay below 2^30
on every port, and the masked difference of two of them is right over the wrap.
"""

SILENT_CHANGES = 8  # changes of the pin's level without one edge: the interrupt is dead


class Tach:
    """The pickup of one shaft. `arm(handler)` sets the pin's interrupt up; `level()` reads it."""

    def __init__(self, role, pin_number, least_us, clock, irq_off, irq_on, arm, level):
        self.role = role
        self.pin_number = pin_number
        self.least_us = least_us
        self._ticks_us = clock.ticks_us
        self._mask = clock.ticks_add(0, -1)
        self._irq_off = irq_off
        self._irq_on = irq_on
        self._arm = arm
        self._level = level
        self._last = -1
        self._edges = 0
        self._first = 0
        self._least = 0
        self._greatest = 0
        self._rejects = 0
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
        if self._edges == 0:
            self._first = now
        self._last = now
        self._edges += 1

    def take(self):
        """The fields of a record since the last call: edges, first and last ticks, least and
        greatest interval, rejects."""
        state = self._irq_off()
        edges = self._edges
        first = self._first
        last = self._last
        least = self._least
        greatest = self._greatest
        rejects = self._rejects
        self._edges = self._first = self._least = self._greatest = self._rejects = 0
        self._irq_on(state)
        if edges == 0:
            return (0, 0, 0, 0, 0, rejects)
        self._silent_changes = 0
        return (edges, first, last, least, greatest, rejects)

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

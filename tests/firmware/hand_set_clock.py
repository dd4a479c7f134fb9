"""A clock for the checks of the firmware, which wraps as a board's does."""

PERIOD = 1 << 30


class Clock:
    """A board's clock, set by hand."""

    def __init__(self):
        self.now = 0

    def ticks_us(self):
        return self.now

    def ticks_add(self, ticks, delta):
        return (ticks + delta) & (PERIOD - 1)

    def ticks_diff(self, end, start):
        return ((end - start + PERIOD // 2) & (PERIOD - 1)) - PERIOD // 2

    def go_on(self, us):
        self.now = self.ticks_add(self.now, us)

"""Integer statistics of one differential-pressure sensor's counts in one block.

Nothing here allocates while it samples: small integers of a 32-bit board end at 2^30, so sums
are kept in two parts, high * 2^24 + low. With d = a * 4096 + b and 0 <= b < 4096,

    d^2 = a^2 * 2^24  +  a b * 2^13  +  b^2

Only counts of 24 bits that swing from end to end in more than 63 samples of a block make the
high part of the squares grow past 2^30, where the sum stays right and takes room.
"""

from record_format import OK, STALE


class Sampler:
    """Samples `sensor` and keeps the statistics until `write` is called."""

    def __init__(self, sensor):
        self.sensor = sensor
        self._words = sensor.driver.words
        self._clip_low, self._clip_high = sensor.driver.channels[0][7:9]
        self._clear()

    def _clear(self):
        self._n = self._pivot = 0
        self._sum_high = self._sum_low = self._square_high = self._square_low = 0
        self._least = self._greatest = 0
        self._stale = self._faulty = self._clipped = 0

    def sample(self):
        status = self.sensor.read()
        if status != OK:
            if status == STALE:
                self._stale += 1
            else:
                self._faulty += 1
            return
        count = self._words[0]
        if self._n == 0:
            self._pivot = self._least = self._greatest = count
        elif count < self._least:
            self._least = count
        elif count > self._greatest:
            self._greatest = count
        if count <= self._clip_low or count >= self._clip_high:
            self._clipped += 1
        d = count - self._pivot
        a = d >> 12
        b = d & 4095
        self._n += 1
        low = self._sum_low + d
        self._sum_high += low >> 24
        self._sum_low = low & 0xFFFFFF
        mixed = a * b
        low = self._square_low + ((mixed & 2047) << 13) + b * b
        self._square_high += a * a + (mixed >> 11) + (low >> 24)
        self._square_low = low & 0xFFFFFF

    def write(self, line):
        """Add the fields of a record from n to clipped, and begin anew."""
        line.add(self._n)
        line.add(self._pivot)
        line.add_wide(self._sum_high, self._sum_low)
        line.add_wide(self._square_high, self._square_low)
        line.add(self._least)
        line.add(self._greatest)
        line.add(self._stale)
        line.add(self._faulty)
        line.add(self._clipped)
        self._clear()

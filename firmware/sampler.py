"""Integer statistics of the differential-pressure counts of one block.

Nothing here allocates while it samples: small integers of a 32-bit board end at 2^30, so a
square of up to 48 bits is added up in three parts. With d = a * 4096 + b and 0 <= b < 4096,

    d^2 = a^2 * 2^24  +  a b * 2^13  +  b^2

and each part of MOST_SAMPLES counts of 24 bits stays below 2^30.
"""

from record_format import OK, STALE

MOST_SAMPLES = 63


class Sampler:
    """Samples `sensor` and keeps the statistics until `take` is called."""

    def __init__(self, sensor):
        self.sensor = sensor
        self._words = sensor.driver.words
        self._clip_low, self._clip_high = sensor.driver.channels[0][7:9]
        self._clear()

    def _clear(self):
        self._n = self._pivot = self._sum = 0
        self._sum_aa = self._sum_ab = self._sum_bb = 0
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
        self._sum += d
        self._sum_aa += a * a
        self._sum_ab += a * b
        self._sum_bb += b * b

    def take(self):
        """The fields of a block record from n to clipped."""
        sumsq = (self._sum_aa << 24) + (self._sum_ab << 13) + self._sum_bb
        fields = (
            self._n,
            self._pivot,
            self._sum,
            sumsq,
            self._least,
            self._greatest,
            self._stale,
            self._faulty,
            self._clipped,
        )
        self._clear()
        return fields

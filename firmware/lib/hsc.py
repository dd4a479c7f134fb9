"""HSC, SSC and MS4525DO: differential pressure that converts without being asked.

    byte   0          1       2        3
    bits   S1 S0 P13..P8   P7..P0   T10..T3   T2..T0 and five bits without meaning

S: 00 fresh, 01 command mode, 10 fetched before, 11 diagnostic condition. P: pressure count,
T: temperature count, -50 + 200 T/2047 Cel. There is no CRC and no identity to read.

Sources: HSC sheet 50099148-A (frame, transfer function A from 1638 to 14746 of 2^14,
digital update at about 2 kHz) and technical note 008201-3, both as used by the Linux driver
iio/pressure/hsc030pa.c; MS4525DO sheet of January 2011 (1.6.1: frame, stale bit, poll at
least 20 % slower than the response time; type A from 1638 to 14745). The 1 ms response time
of the MS4525DO is from memory.

No sheet that was read says at which count these parts stop past their rated ends, so the
clip counts are the ends of the frame. The host finds a stop further in by its pile-up.
"""

from dp_range import two_ends
from record_format import FAULT, OK, STALE

_STATUS = (OK, FAULT, STALE, FAULT)

# Rated counts of transfer function A, and the update time with 20 % added.
_OF_PART = {
    "HSC": ((1638, 14746), 600),
    "SSC": ((1638, 14746), 600),
    "MS4525DO": ((1638, 14745), 1200),
}


class Hsc:
    """options: range_pa, and rated_counts for parts of another transfer function than A."""

    PARTS = ("HSC", "SSC", "MS4525DO")
    trim = ()

    def __init__(self, bus, address, part, options):
        rated, self.least_period_us = _OF_PART[part]
        low, high = two_ends(options, "range_pa", -10000000, 10000000)
        first, last = two_ends(options, "rated_counts", 0, 16383, rated)
        self.channels = (
            ("differential_pressure", "Pa", "linear", low, high, first, last, 0, 16383),
            ("temperature", "Cel", "linear", -50, 150, 0, 2047, 0, 2047),
        )
        self.words = [0, 0]
        self._bus = bus
        self._address = address
        self._frame = bytearray(4)

    def start(self):
        self._bus.readfrom_into(self._address, self._frame)

    def read(self):
        frame = self._frame
        self._bus.readfrom_into(self._address, frame)
        status = _STATUS[frame[0] >> 6]
        if status == OK:
            self.words[0] = frame[0] << 8 | frame[1]  # both status bits are 0
            self.words[1] = frame[2] << 3 | frame[3] >> 5
        return status

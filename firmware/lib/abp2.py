"""ABP2 and DLH: differential pressure in 24 bits, one conversion for each command.

    byte   0       1..3     4..6
           status  pressure temperature, both high byte first

Status 0x40: powered, ready, no error. Bit 5 busy, bit 2 memory error, bit 0 mathematical
saturation; the others are 0. The command is AA 00 00, a conversion takes 5 ms.

    ABP2   rated from 10 % to 90 % of 2^24;   -50 + 200 T/(2^24 - 1) Cel
    DLH    1.25 FSS (P/2^24 - OS), OS 0.5 two-sided, 0.1 one-sided, FSS the whole span:
           the rated ends are 0.1 and 0.9 of 2^24 either way;   -40 + 125 T/2^24 Cel

Sources: ABP2 sheet 32350268 as used by the Linux driver iio/pressure/abp2030pa.c; DLH sheet
DS-0355, tables 1 to 3, and the Linux driver iio/pressure/dlhl60d.c. Neither has a CRC or an
identity to read.

A saturated conversion is a pressure past the rated ends, so it must not vanish from the
block as a fault would: its count is pinned to the nearer end of the frame, which is the
clip count, and the block says that it was clipped. The part's own count cannot be trusted
then. The sheets name no other stop.
"""

from dp_range import two_ends
from record_format import FAULT, OK, STALE

_COMMAND = b"\xaa\x00\x00"
_TOP = 0xFFFFFF

_OF_PART = {
    "ABP2": (1677722, 15099494, -50, 150, _TOP),
    "DLH": ("1677721.6", "15099494.4", -40, 85, 1 << 24),
}


class Abp2:
    """options: range_pa."""

    PARTS = ("ABP2", "DLH")
    trim = ()
    least_period_us = 5000

    def __init__(self, bus, address, part, options):
        first, last, cold, hot, top = _OF_PART[part]
        low, high = two_ends(options, "range_pa", -10000000, 10000000)
        self.channels = (
            ("differential_pressure", "Pa", "linear", low, high, first, last, 0, _TOP),
            ("temperature", "Cel", "linear", cold, hot, 0, top, 0, _TOP),
        )
        self.words = [0, 0]
        self._bus = bus
        self._address = address
        self._frame = bytearray(7)
        self._ordered = False

    def start(self):
        self._order()

    def read(self):
        # Without an order the part serves its last result once more, with a good status.
        if not self._ordered:
            self._order()
            return STALE
        frame = self._frame
        self._ordered = False
        self._bus.readfrom_into(self._address, frame)
        state = frame[0] & 0xFE
        if state == 0x60:
            self._ordered = True
            return STALE
        self._order()
        if state != 0x40:
            return FAULT
        pressure = frame[1] << 16 | frame[2] << 8 | frame[3]
        temperature = frame[4] << 16 | frame[5] << 8 | frame[6]
        # Zeros behind a good status: a latched-up part (comment in abp2030pa.c), or one that
        # lost its supply and has converted nothing since.
        if pressure == 0 and temperature == 0:
            return FAULT
        if frame[0] & 0x01:
            pressure = _TOP if pressure > _TOP >> 1 else 0
        self.words[0] = pressure
        self.words[1] = temperature
        return OK

    def _order(self):
        self._bus.writeto(self._address, _COMMAND)
        self._ordered = True

"""SHT3x and SHT4x: temperature and relative humidity, one conversion for each command.

    byte   0..1         2    3..4      5
           temperature  CRC  humidity  CRC, both words high byte first

    T = -45 + 175 w/65535 Cel      RH = w/65535 (SHT3x), -0.06 + 1.25 w/65535 (SHT4x)

The part answers nothing while it measures: a read before least_period_us has passed since
start() or the last read() raises OSError.

Sources: SHT3x-DIS sheet, May 2018 (table 9: command 24 00, no clock stretching; table 20:
CRC-8; 4.13: transfer; 15.5 ms is from memory). SHT4x: command FD and 8.3 ms from public
drivers, the transfer from memory.
"""

from record_format import CRC_ERROR, OK, STALE

_OF_PART = {
    "SHT3x": (b"\x24\x00", 15500, 0, 1),
    "SHT4x": (b"\xfd", 8300, "-0.06", "1.19"),
}


def crc8(data, first, end):
    """CRC-8 of data[first:end]: polynomial 0x31, start 0xFF, no reflection, no final XOR."""
    crc = 0xFF
    for index in range(first, end):
        crc ^= data[index]
        for _ in range(8):
            crc = (crc << 1 ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc


class Sht:
    """No options."""

    PARTS = ("SHT3x", "SHT4x")
    trim = ()

    def __init__(self, bus, address, part, options):
        self._command, self.least_period_us, dry, wet = _OF_PART[part]
        self.channels = (
            ("temperature", "Cel", "linear", -45, 130, 0, 0xFFFF, 0, 0xFFFF),
            ("humidity", "1", "linear", dry, wet, 0, 0xFFFF, 0, 0xFFFF),
        )
        self.words = [0, 0]
        self._bus = bus
        self._address = address
        self._frame = bytearray(6)
        self._ordered = False

    def start(self):
        self._order()

    def read(self):
        # A part that lost its supply forgot the order too, so a failed read ends it.
        if not self._ordered:
            self._order()
            return STALE
        frame = self._frame
        self._ordered = False
        self._bus.readfrom_into(self._address, frame)
        self._order()
        if crc8(frame, 0, 2) != frame[2] or crc8(frame, 3, 5) != frame[5]:
            return CRC_ERROR
        self.words[0] = frame[0] << 8 | frame[1]
        self.words[1] = frame[3] << 8 | frame[4]
        return OK

    def _order(self):
        self._bus.writeto(self._address, self._command)
        self._ordered = True

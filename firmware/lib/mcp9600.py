"""MCP9600: temperature of a thermocouple, linearised and cold-junction compensated.

The hot-junction register is signed, high byte first, 1/16 Cel per count. Status bit 6 says
that a conversion is done, bit 4 that the thermocouple's voltage or the temperature is out of
its type's range.

Sources: sheet DS20005426C (5.1.1, 5.1.3, registers 5-2, 5-6, 5-12). From memory: 320 ms for
an 18-bit conversion, to which the sheet's 63 ms for the cold junction at 0.25 Cel are added;
the configuration registers agree with several public drivers. The sheet names no count at
which the part stops, so the clip counts are the ends of the word.

The part is rated for a bus of 100 kHz (sheet, first page), so it needs another bus than a
differential-pressure sensor that is read hundreds of times a second.
"""

from record_format import FAULT, OK, STALE

_HOT_JUNCTION = 0x00
_STATUS = 0x04
_SENSOR = 0x05
_DEVICE = 0x06
_ID = 0x20

_DONE = 0x40
_OUT_OF_RANGE = 0x10
_CLEAR = b"\x00"
_CONTINUOUS = b"\x80"  # cold junction at 0.25 Cel, 18 bits

_ENODEV = 19

# Type: its bits of the sensor register without a filter, its range in Cel (sheet, table 1,
# as quoted by a breakout's description).
_TYPES = {
    "K": (b"\x00", -200, 1372),
    "J": (b"\x10", -150, 1200),
    "T": (b"\x20", -200, 400),
    "N": (b"\x30", -150, 1300),
    "E": (b"\x50", -200, 1000),
}


class Mcp9600:
    """options: thermocouple, the letter of its type; K when there is none."""

    PARTS = ("MCP9600",)
    trim = ()
    least_period_us = 400000

    def __init__(self, bus, address, part, options):
        letter = options.get("thermocouple", "K")
        letters = sorted(_TYPES)
        if letter not in letters:
            raise ValueError(
                "thermocouple must be one of %s, not %s" % (", ".join(letters), letter)
            )
        self._type, low, high = _TYPES[letter]
        self.channels = (
            ("temperature", "Cel", "linear", low, high, 16 * low, 16 * high, -0x8000, 0x7FFF),
        )
        self.words = [0]
        self._bus = bus
        self._address = address
        self._register = bytearray(1)
        self._frame = bytearray(2)

    def start(self):
        bus, address = self._bus, self._address
        bus.readfrom_mem_into(address, _ID, self._register)
        if self._register[0] != 0x40:
            raise OSError(_ENODEV, "id 0x%02x instead of 0x40" % self._register[0])
        bus.writeto_mem(address, _SENSOR, self._type)
        bus.writeto_mem(address, _DEVICE, _CONTINUOUS)
        bus.writeto_mem(address, _STATUS, _CLEAR)

    def read(self):
        bus, address, frame = self._bus, self._address, self._frame
        register = self._register
        bus.readfrom_mem_into(address, _SENSOR, register)
        if register[0] != self._type[0]:
            return FAULT  # the part lost its supply and takes every thermocouple for type K
        bus.readfrom_mem_into(address, _STATUS, register)
        if register[0] & _OUT_OF_RANGE:
            return FAULT
        if not register[0] & _DONE:
            return STALE
        bus.readfrom_mem_into(address, _HOT_JUNCTION, frame)
        # Cleared after the read: a conversion that ends in between is lost, none counts twice.
        bus.writeto_mem(address, _STATUS, _CLEAR)
        count = frame[0] << 8 | frame[1]
        self.words[0] = count - 0x10000 if count & 0x8000 else count
        return OK

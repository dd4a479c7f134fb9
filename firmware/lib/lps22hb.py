"""LPS22HB and LPS22HH: air pressure and temperature, linear, signed, low byte first.

4096 counts per hPa, 100 counts per kelvin from 0 Cel, rated from 260 to 1260 hPa and from
-40 to 85 Cel. The part converts 25 times a second by itself; status says what is fresh.

Sources: LPS22HB sheet DocID027083, LPS22HH sheet DocID030890, the maker's register headers
lps22hb_reg.h and lps22hh_reg.h, and the Linux driver iio/pressure/st_pressure_core.c. They
name no count at which the part stops, so the clip counts are the ends of the words.
"""

from record_format import FAULT, OK, STALE

_WHO_AM_I = 0x0F
_CTRL_REG1 = 0x10
_CTRL_REG2 = 0x11
_RESULT = 0x27  # status, three bytes of pressure, two of temperature

_RUN = b"\x32"  # 25 Hz; both results wait until they are read (BDU)
_ADDRESS_COUNTS_UP = b"\x10"
_FRESH = 0x03

_ENODEV = 19


class Lps22hb:
    """No options."""

    PARTS = ("LPS22HB", "LPS22HH")
    trim = ()
    least_period_us = 50000  # one conversion and a quarter
    channels = (
        ("pressure", "Pa", "linear", 26000, 126000, 1064960, 5160960, -0x800000, 0x7FFFFF),
        ("temperature", "Cel", "linear", -40, 85, -4000, 8500, -0x8000, 0x7FFF),
    )

    def __init__(self, bus, address, part, options):
        self._id = 0xB1 if part == "LPS22HB" else 0xB3
        self.words = [0, 0]
        self._bus = bus
        self._address = address
        self._register = bytearray(1)
        self._frame = bytearray(6)

    def start(self):
        bus, address = self._bus, self._address
        bus.readfrom_mem_into(address, _WHO_AM_I, self._register)
        if self._register[0] != self._id:
            raise OSError(_ENODEV, "id 0x%02x instead of 0x%02x" % (self._register[0], self._id))
        bus.writeto_mem(address, _CTRL_REG2, _ADDRESS_COUNTS_UP)
        bus.writeto_mem(address, _CTRL_REG1, _RUN)

    def read(self):
        frame = self._frame
        self._bus.readfrom_mem_into(self._address, _RESULT, frame)
        if frame[0] & _FRESH != _FRESH:
            # A part that lost its supply has also lost its rate and stays silent for good.
            self._bus.readfrom_mem_into(self._address, _CTRL_REG1, self._register)
            return STALE if self._register[0] == _RUN[0] else FAULT
        pressure = frame[3] << 16 | frame[2] << 8 | frame[1]
        temperature = frame[5] << 8 | frame[4]
        self.words[0] = pressure - 0x1000000 if pressure & 0x800000 else pressure
        self.words[1] = temperature - 0x10000 if temperature & 0x8000 else temperature
        return OK

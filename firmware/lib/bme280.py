"""BME280 and BMP280: air pressure and temperature, the BME280 humidity too, as raw words.

The host compensates them with the trimming words, which trim holds in the order of the
sheets: T1 T2 T3 P1 P2 P3 P4 P5 P6 P7 P8 P9, with the BME280 also H1 H2 H3 H4 H5 H6. T1, P1,
H1 and H3 are unsigned, all others signed; H4 and H5 have 12 bits, H6 has 8.

The part converts by itself (normal mode): a result is never older than its cycle, at any
rate of reading. Temperature x1, pressure x4, humidity x1, standby 62.5 ms, no filter. There
is no flag for a fresh result; least_period_us is the longest cycle: 62.5 ms and the sheets'
25 % on it, plus 16.2 ms of conversion (BME280 sheet 9.1: 1.25 + 2.3 + (4 x 2.3 + 0.575)
+ (2.3 + 0.575) ms, from memory).

Sources: BMP280 sheet DS001-23 (3.6 modes, 3.11 trimming, 4.3 registers), BME280 sheet
DS002-15 (4.2.2 trimming, 5.2 differences, 5.4 registers). Rated ends: 300 to 1100 hPa,
-40 to 85 Cel.
"""

from struct import unpack

from record_format import FAULT, OK, STALE

_TRIM = 0x88
_TRIM_H1 = 0xA1
_ID = 0xD0
_TRIM_H2 = 0xE1
_CTRL_HUM = 0xF2
_STATUS = 0xF3
_CTRL_MEAS = 0xF4
_CONFIG = 0xF5

_SLEEP = b"\x00"
_HUMIDITY_X1 = b"\x01"
_STANDBY_62_MS = b"\x20"
_NORMAL = b"\x2f"  # temperature x1, pressure x4, normal mode

_ENODEV = 19
_EBUSY = 16
_EIO = 5

_CHANNELS = (
    ("pressure", "Pa", "bosch", 30000, 110000, 0, 0xFFFFF, 0, 0xFFFFF),
    ("temperature", "Cel", "bosch", -40, 85, 0, 0xFFFFF, 0, 0xFFFFF),
    ("humidity", "1", "bosch", 0, 1, 0, 0xFFFF, 0, 0xFFFF),
)


class Bme280:
    """No options."""

    PARTS = ("BME280", "BMP280")
    least_period_us = 95000

    def __init__(self, bus, address, part, options):
        self._humid = part == "BME280"
        self._id = 0x60 if self._humid else 0x58
        self.channels = _CHANNELS if self._humid else _CHANNELS[:2]
        self.trim = ()
        self.words = [0] * len(self.channels)
        self._bus = bus
        self._address = address
        self._frame = bytearray(11 if self._humid else 9)

    def start(self):
        bus, address = self._bus, self._address
        found = self._memory(_ID, 1)[0]
        if found != self._id:
            raise OSError(_ENODEV, "id 0x%02x instead of 0x%02x" % (found, self._id))
        if self._memory(_STATUS, 1)[0] & 0x01:
            raise OSError(_EBUSY, "still loading its trimming words")
        # Every later result hangs on these words, and the bus has no CRC.
        trim = self._trimming()
        if trim != self._trimming() or 0 in (trim[0], trim[3]):
            raise OSError(_EIO, "trimming words cannot be trusted")
        self.trim = trim
        # In normal mode a write to config may be ignored; ctrl_hum counts from the next
        # write to ctrl_meas.
        bus.writeto_mem(address, _CTRL_MEAS, _SLEEP)
        if self._humid:
            bus.writeto_mem(address, _CTRL_HUM, _HUMIDITY_X1)
        bus.writeto_mem(address, _CONFIG, _STANDBY_62_MS)
        bus.writeto_mem(address, _CTRL_MEAS, _NORMAL)

    def read(self):
        # One burst from ctrl_meas on: the part keeps the results of one conversion together.
        frame = self._frame
        self._bus.readfrom_mem_into(self._address, _CTRL_MEAS, frame)
        if frame[0] != _NORMAL[0]:
            return FAULT  # the part lost its supply and with it the settings
        pressure = frame[3] << 12 | frame[4] << 4 | frame[5] >> 4
        temperature = frame[6] << 12 | frame[7] << 4 | frame[8] >> 4
        # Both words stand at 0x80000 until a conversion is done. Each by itself is a result
        # like any other: as temperature it lies near 26 Cel.
        if pressure == 0x80000 and temperature == 0x80000:
            return STALE
        self.words[0] = pressure
        self.words[1] = temperature
        if self._humid:
            self.words[2] = frame[9] << 8 | frame[10]
        return OK

    def _memory(self, register, length):
        data = bytearray(length)
        self._bus.readfrom_mem_into(self._address, register, data)
        return data

    def _trimming(self):
        words = unpack("<HhhHhhhhhhhh", self._memory(_TRIM, 24))
        if not self._humid:
            return words
        h1 = self._memory(_TRIM_H1, 1)[0]
        h2, h3, h4, nibbles, h5, h6 = unpack("<hBbBbb", self._memory(_TRIM_H2, 7))
        humidity = (h1, h2, h3, h4 << 4 | nibbles & 0x0F, h5 << 4 | nibbles >> 4, h6)
        return words + humidity

"""The drivers of the parts that measure the air, and what every driver keeps.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import allocates, micropython, raises, run
from one_part_bus import ADDRESS, PA, Bus, NoisyBus, near, value, wired

from abp2 import Abp2
from bme280 import Bme280
from hsc import Hsc
from lps22hb import Lps22hb
from mcp9600 import Mcp9600
from record_format import CRC_ERROR, FAULT, OK, STALE
from sht import Sht, crc8

UNITS = {"differential_pressure": "Pa", "pressure": "Pa", "temperature": "Cel", "humidity": "1"}


# BMP280 sheet DS001-23, 3.12: T1 T2 T3 and P1 to P9, low byte first, and a result.
BOSCH_TRIM = (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
BOSCH_TRIM_BYTES = (
    b"\x70\x6b\x43\x67\x18\xfc\x7d\x8e\x43\xd6\xd0\x0b\x27\x0b\x8c\x00\xf9\xff\x8c\x3c\xf8\xc6"
    b"\x70\x17"
)
BOSCH_RESULT = (415148, 519888)
BOSCH_RESULT_BYTES = b"\x65\x5a\xc0\x7e\xed\x00"


def bosch(part, make_bus=Bus):
    bus, driver = wired(Bme280, part, None, make_bus)
    bus.registers[0xD0] = 0x60 if part == "BME280" else 0x58
    bus.registers[0x88 : 0x88 + 24] = BOSCH_TRIM_BYTES
    # No sheet prints humidity words; these have the signs and nibbles that go wrong easily.
    bus.registers[0xA1] = 75
    bus.registers[0xE1:0xE8] = b"\x8d\xfe\xc8\xff\x1e\xfe\xe2"
    bus.registers[0xF7:0xFF] = b"\x80\x00\x00\x80\x00\x00\x80\x00"
    return bus, driver


def check_bosch_trimming():
    _, bmp = bosch("BMP280")
    bmp.start()
    assert bmp.trim == BOSCH_TRIM
    assert len(bmp.channels) == len(bmp.words) == 2
    _, bme = bosch("BME280")
    bme.start()
    # H2 = 0xFE8D, H3 = 0xC8, H4 = 0xFFE, H5 = 0xFE1, H6 = 0xE2 (BME280 sheet, table 16).
    humidity = (75, -371, 200, -2, -31, -30)
    assert bme.trim == BOSCH_TRIM + humidity
    assert len(bme.channels) == len(bme.words) == 3


def check_bosch_settings():
    bus, driver = bosch("BME280")
    driver.start()
    assert bus.written == [(0xF4, b"\x00"), (0xF2, b"\x01"), (0xF5, b"\x20"), (0xF4, b"\x2f")]
    bus, driver = bosch("BMP280")
    driver.start()
    assert bus.written == [(0xF4, b"\x00"), (0xF5, b"\x20"), (0xF4, b"\x2f")]


def check_bosch_results():
    for part in Bme280.PARTS:
        bus, driver = bosch(part)
        driver.start()
        assert driver.read() == STALE
        bus.registers[0xF7:0xFF] = BOSCH_RESULT_BYTES + b"\x61\x97"
        assert driver.read() == OK
        assert tuple(driver.words[:2]) == BOSCH_RESULT
        assert driver.words[2:] == ([0x6197] if part == "BME280" else [])
        # 0x80000 as temperature alone is a result.
        bus.registers[0xFA:0xFD] = b"\x80\x00\x00"
        assert driver.read() == OK
        assert driver.words[1] == 0x80000
        bus.registers[0xF4] = 0
        assert driver.read() == FAULT


def check_bosch_start_refuses():
    bus, driver = bosch("BMP280")
    bus.registers[0xD0] = 0x60
    assert "0x60" in raises(OSError, driver.start)
    bus, driver = bosch("BMP280")
    bus.registers[0xF3] = 0x01
    raises(OSError, driver.start)
    bus, driver = bosch("BMP280")
    bus.registers[0x88:0x8A] = b"\x00\x00"
    raises(OSError, driver.start)
    assert driver.trim == ()
    assert not bus.written
    _, driver = bosch("BME280", NoisyBus)
    raises(OSError, driver.start)
    driver.start()
    assert driver.trim[:12] == BOSCH_TRIM


def lps(part="LPS22HB"):
    bus, driver = wired(Lps22hb, part)
    bus.registers[0x0F] = 0xB1 if part == "LPS22HB" else 0xB3
    return bus, driver


def check_lps22hb():
    for part in Lps22hb.PARTS:
        bus, driver = lps(part)
        driver.start()
        assert bus.written == [(0x11, b"\x10"), (0x10, b"\x32")]
        # Technical note TN1228, from memory: 0x3FF58D is 1023.3 hPa. 0x09F6 is 25.50 Cel.
        bus.registers[0x27:0x2D] = b"\x03\x8d\xf5\x3f\xf6\x09"
        assert driver.read() == OK
        pressure, temperature = driver.channels
        near(value(pressure, driver.words[0]), 102334.7, 0.1)
        near(value(temperature, driver.words[1]), 25.5, 1e-4)
        bus.registers[0x27:0x2D] = b"\x33\xff\xff\xff\x18\xfc"
        assert driver.read() == OK
        assert driver.words == [-1, -1000]
        for status in (0x00, 0x01, 0x02, 0x30):
            bus.registers[0x27] = status
            assert driver.read() == STALE
        bus.registers[0x10] = 0
        assert driver.read() == FAULT
        assert driver.words == [-1, -1000]
        bus.registers[0x0F] = 0xB4
        assert "0xb4" in raises(OSError, driver.start)


def check_sht_crc():
    # SHT3x-DIS sheet, table 20.
    assert crc8(b"\xbe\xef", 0, 2) == 0x92
    assert crc8(b"\x00\xbe\xef\x00", 1, 3) == 0x92


def check_sht():
    for part, command in (("SHT3x", b"\x24\x00"), ("SHT4x", b"\xfd")):
        bus, driver = wired(Sht, part)
        driver.start()
        bus.frame = b"\xbe\xef\x92\xbe\xef\x92"
        assert driver.read() == OK
        assert driver.words == [0xBEEF, 0xBEEF]
        bus.frame = b"\xbe\xee\x92\xbe\xef\x92"
        assert driver.read() == CRC_ERROR
        bus.frame = b"\xbe\xef\x92\xbe\xef\x93"
        assert driver.read() == CRC_ERROR
        assert driver.words == [0xBEEF, 0xBEEF]
        assert bus.written == [(None, command)] * 4


def check_sht_that_forgot_its_order():
    for part in Sht.PARTS:
        bus, driver = wired(Sht, part)
        bus.frame = b"\xbe\xef\x92\xbe\xef\x92"
        driver.start()
        bus.idle = True
        raises(OSError, driver.read)
        assert driver.read() == STALE
        assert driver.read() == OK


def check_sht_transfer():
    # SHT3x-DIS sheet 4.13; SHT4x from memory.
    for part, dry, wet in (("SHT3x", 0, 1), ("SHT4x", -0.06, 1.19)):
        _, driver = wired(Sht, part)
        temperature, humidity = driver.channels
        near(value(temperature, 0), -45, 1e-4)
        near(value(temperature, 65535), 130, 1e-4)
        near(value(humidity, 0), dry, 1e-6)
        near(value(humidity, 65535), wet, 1e-6)


def thermocouple(options=None):
    bus, driver = wired(Mcp9600, "MCP9600", options)
    bus.registers[0x20] = 0x40
    return bus, driver


def check_mcp9600():
    bus, driver = thermocouple({"thermocouple": "J"})
    driver.start()
    assert bus.written == [(0x05, b"\x10"), (0x06, b"\x80"), (0x04, b"\x00")]
    assert driver.read() == STALE
    # Sheet equation 5-1: upper byte x 16 + lower byte / 16, below zero less 4096.
    for upper, lower, temperature in (
        (0x06, 0x44, 0x06 * 16 + 0x44 / 16),
        (0x4B, 0x00, 1200),
        (0xFF, 0x90, 0xFF * 16 + 0x90 / 16 - 4096),
    ):
        bus.registers[0x04] = 0x40
        bus.registers[0x00] = upper
        bus.registers[0x01] = lower
        assert driver.read() == OK
        near(value(driver.channels[0], driver.words[0]), temperature, 1e-4)
        assert bus.registers[0x04] == 0
        assert driver.read() == STALE
    bus.registers[0x04] = 0x50
    assert driver.read() == FAULT
    bus.registers[0x04] = 0x40
    bus.registers[0x05] = 0x00
    assert driver.read() == FAULT
    bus.registers[0x20] = 0x41
    assert "0x41" in raises(OSError, driver.start)
    for letter in ("k", ["K"], None):
        options = {"thermocouple": letter}
        message = raises(ValueError, Mcp9600, bus, ADDRESS, "MCP9600", options)
        assert message == f"thermocouple must be one of E, J, K, N, T, not {letter}"


def drivers():
    """Every part with a bus that serves a good result, none of them started."""
    for kind, frame in (
        (Hsc, b"\x3f\xff\xff\xff"),
        (Abp2, b"\x40\xff\xff\xff\xff\xff\xff"),
        (Sht, b"\xbe\xef\x92\xbe\xef\x92"),
    ):
        for part in kind.PARTS:
            bus, driver = wired(kind, part, PA)
            bus.frame = frame
            yield part, bus, driver
    for part in Bme280.PARTS:
        bus, driver = bosch(part)
        bus.registers[0xF7:0xFF] = BOSCH_RESULT_BYTES + b"\x61\x97"
        yield part, bus, driver
    for part in Lps22hb.PARTS:
        bus, driver = lps(part)
        bus.registers[0x27:0x2D] = b"\x03\xff\xff\xff\x18\xfc"
        yield part, bus, driver
    bus, driver = thermocouple()
    bus.registers[0x00] = 0xFF
    yield "MCP9600", bus, driver


def fresh(bus, driver):
    """Reads until a result is there; the thermocouple's part needs its flag."""
    for _ in range(2):
        bus.registers[0x04] = 0x40
        if driver.read() == OK:
            return True
    return False


def check_every_part_keeps_the_contract():
    for part, bus, driver in drivers():
        bus.down = True
        raises(OSError, driver.start)
        bus.down = False
        driver.start()
        assert fresh(bus, driver), part
        assert len(driver.words) == len(driver.channels), part
        for index, channel in enumerate(driver.channels):
            word = driver.words[index]
            assert len(channel) == 9, part
            assert UNITS[channel[0]] == channel[1], part
            assert float(channel[3]) < float(channel[4]), part
            assert channel[7] <= float(channel[5]) < float(channel[6]), part
            assert channel[7] <= word <= channel[8], part
        assert driver.least_period_us > 0
        # The part goes away and comes back, with start() and without.
        bus.down = True
        raises(OSError, driver.read)
        bus.down = False
        assert fresh(bus, driver), part
        driver.start()
        assert fresh(bus, driver), part


def check_no_result_counts_twice():
    """The order for the next conversion is lost: the old result must not come once more."""
    for part, bus, driver in drivers():
        if part not in Abp2.PARTS + Sht.PARTS:
            continue
        driver.start()
        bus.deaf = True
        raises(OSError, driver.read)
        raises(OSError, driver.read)
        bus.deaf = False
        assert driver.read() == STALE
        assert driver.read() == OK


def check_no_read_allocates():
    if micropython is not None:
        assert allocates(lambda: [1, 2]), "the lock does not hold"
        assert allocates(lambda: sys.maxsize + 1), "the lock does not hold"
    statuses = set()
    for part, bus, driver in drivers():
        driver.start()
        bus.keep = False
        bus.registers[0x04] = 0x40
        for first in (None, 0xFF, 0x60, 0x41):  # the good result, then other states
            if first is not None:
                bus.frame = bytes([first]) + bus.frame[1:]
                bus.registers[0x27] = bus.registers[0x04] = bus.registers[0xF4] = first
            assert not allocates(driver.read), (part, first)
            statuses.add(driver.read())
    assert statuses == {OK, STALE, FAULT, CRC_ERROR}


if __name__ == "__main__":
    sys.exit(run(globals()))

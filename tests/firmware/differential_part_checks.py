"""The drivers of the parts that measure differential pressure.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import raises, run
from one_part_bus import ADDRESS, PA, Bus, near, value, wired

from abp2 import Abp2
from hsc import Hsc
from record_format import FAULT, OK, STALE


def check_hsc_frames():
    bus, driver = wired(Hsc, "HSC", PA)
    # (frame, status, words); the last five bits of the frame mean nothing.
    for frame, status, words in (
        (b"\x00\x00\x00\x1f", OK, [0, 0]),
        (b"\x3f\xff\xff\xff", OK, [16383, 2047]),
        (b"\x20\x01\x66\x7f", OK, [8193, 819]),
        (b"\x60\x01\x66\x60", FAULT, [8193, 819]),
        (b"\xa0\x02\x66\x60", STALE, [8193, 819]),
        (b"\xff\xff\xff\xff", FAULT, [8193, 819]),
    ):
        bus.frame = frame
        assert driver.read() == status, frame
        assert driver.words == words, frame
    assert not bus.written


def check_hsc_transfer():
    # Rated counts: HSC sheet 50099148-A and MS4525DO sheet of January 2011, type A.
    for part, last in (("HSC", 14746), ("SSC", 14746), ("MS4525DO", 14745)):
        _, driver = wired(Hsc, part, PA)
        pressure, temperature = driver.channels
        near(value(pressure, 1638), -2500, 1e-3)
        near(value(pressure, last), 2500, 1e-3)
        near(value(temperature, 0), -50, 1e-3)
        near(value(temperature, 2047), 150, 1e-3)
    # Transfer function B, 5 % to 95 %: the Linux driver hsc030pa.c.
    options = {"range_pa": ["0", "2490.889"], "rated_counts": [819, 15565]}
    _, driver = wired(Hsc, "HSC", options)
    assert driver.channels[0][3:7] == ("0", "2490.889", "819", "15565")


def check_ends_are_refused_in_a_sentence():
    for pair in (None, 5, "12", [2500], [2500, -2500], [0, 0], ["low", 1], ["nan", 1], [0, 1e9]):
        for kind, part in ((Hsc, "HSC"), (Abp2, "DLH")):
            message = raises(ValueError, kind, Bus(), ADDRESS, part, {"range_pa": pair})
            assert message.startswith("range_pa must be two numbers"), message
    options = {"range_pa": [0, 1], "rated_counts": [1638, 16384]}
    assert raises(ValueError, Hsc, Bus(), ADDRESS, "HSC", options).startswith("rated_counts")


def check_abp2_frames():
    bus, driver = wired(Abp2, "ABP2", PA)
    driver.start()
    order = (None, b"\xaa\x00\x00")
    assert bus.written == [order]
    orders = 1
    good = [0x800001, 0x600002]
    # (frame, status, words, orders another conversion)
    for frame, status, words, ordered in (
        (b"\x40\x80\x00\x01\x60\x00\x02", OK, good, 1),
        (b"\x60\x11\x11\x11\x11\x11\x11", STALE, good, 0),  # busy
        (b"\x61\x11\x11\x11\x11\x11\x11", STALE, good, 0),
        (b"\x44\x11\x11\x11\x11\x11\x11", FAULT, good, 1),  # memory error
        (b"\x00\x11\x11\x11\x11\x11\x11", FAULT, good, 1),  # not powered
        (b"\xff\xff\xff\xff\xff\xff\xff", FAULT, good, 1),  # nobody drives the bus
        (b"\x40\x00\x00\x00\x00\x00\x00", FAULT, good, 1),  # latched up
        (b"\x41\x80\x00\x00\x60\x00\x00", OK, [0xFFFFFF, 0x600000], 1),  # saturated
        (b"\x41\x7f\xff\xff\x60\x00\x00", OK, [0, 0x600000], 1),
        (b"\x40\xff\xff\xff\x60\x00\x00", OK, [0xFFFFFF, 0x600000], 1),
    ):
        bus.frame = frame
        assert driver.read() == status, frame
        assert driver.words == words, frame
        orders += ordered
        assert bus.written == [order] * orders, frame
    clip_low, clip_high = driver.channels[0][7:]
    assert (clip_low, clip_high) == (0, 0xFFFFFF)


def check_abp2_transfer():
    _, driver = wired(Abp2, "ABP2", {"range_pa": [0, 1]})
    pressure, temperature = driver.channels
    near(value(pressure, 1677722), 0, 1e-6)
    near(value(pressure, 15099494), 1, 1e-6)
    # Example of the ABP2 sheet, from memory: 14260634 counts, 15/16 of the span.
    near(value(pressure, 14260634), 0.9375, 1e-6)
    near(value(temperature, 0xFFFFFF), 150, 1e-4)


def check_dlh_transfer():
    # DS-0355: 1.25 FSS (N/2^24 - OS), FSS the whole span; temperature 125 T/2^24 - 40.
    # L10D is +-10 inH2O, L30G 0 to 30 inH2O; 1 inH2O is 249.089 Pa.
    for pair, offset in (((-2490.89, 2490.89), 0.5), ((0, 7472.67), 0.1)):
        _, driver = wired(Abp2, "DLH", {"range_pa": pair})
        pressure, temperature = driver.channels
        for count in (0, 2000000, 8388608, 16777215):
            expected = 1.25 * (pair[1] - pair[0]) * (count / 16777216 - offset)
            near(value(pressure, count), expected, 1e-6)
        near(value(temperature, 8388608), 22.5, 1e-4)


if __name__ == "__main__":
    sys.exit(run(globals()))

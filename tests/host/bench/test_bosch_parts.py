"""The bench's Bosch parts against the published facts of the real ones."""

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.bench.a_part import build, registers, values
from pullcurve.bench.parts.bosch import (
    TRIMMING,
    count_of,
    fine_temperature,
    humidity_percent,
    pressure_pa,
)


def test_bosch_formulas_give_the_sheets_worked_example():
    # BST-BMP280-DS001-23, 3.12: 519888 and 415148 give t_fine 128422, 25.08 C, 100653.27 Pa.
    # The sheet rounds between its steps; 0.02 Pa is an eighth of a count.
    fine = fine_temperature(519888, TRIMMING)
    assert int(fine) == 128422
    assert fine / 5120 == pytest.approx(25.08, abs=0.005)
    assert pressure_pa(415148, int(fine), TRIMMING) == pytest.approx(100653.27, abs=0.02)


def integer_humidity_percent(adc: int, fine: int, words: tuple[int, ...]) -> float:
    """The 32-bit integer formula of BST-BME280-DS002, 4.2.3, the twin of the part's own."""
    h1, h2, h3, h4, h5, h6 = words
    v = fine - 76800
    a = ((adc << 14) - (h4 << 20) - h5 * v + 16384) >> 15
    b = (((v * h6) >> 10) * (((v * h3) >> 11) + 32768)) >> 10
    v = a * (((b + 2097152) * h2 + 8192) >> 14)
    v -= (((v >> 15) * (v >> 15)) >> 7) * h1 >> 4
    return min(max(v, 0), 419430400) / 4096 / 1024


@settings(max_examples=60, deadline=None)
@given(
    pressure=st.floats(30_000.0, 110_000.0),
    temperature=st.floats(-20.0, 70.0),
    humidity=st.floats(0.05, 0.95),
)
def test_bme280_words_and_counts_give_the_truth_back(pressure, temperature, humidity):
    sensor = build("BME280", values(pressure=pressure, temperature=temperature, humidity=humidity))
    assert registers(sensor, 0xD0, 1, 0.0) == b"\x60"
    words = struct.unpack("<HhhHhhhhhhhh", registers(sensor, 0x88, 24, 0.0))
    h1 = registers(sensor, 0xA1, 1, 0.0)[0]
    # DS002, table 16: 0xE5 holds the low nibbles of H4 (bits 3..0) and H5 (bits 7..4).
    h2, h3, e4, e5, e6, h6 = struct.unpack("<hBbBbb", registers(sensor, 0xE1, 7, 0.0))
    moist = (h1, h2, h3, (e4 << 4) | (e5 & 0x0F), (e6 << 4) | (e5 >> 4), h6)
    assert words + moist == TRIMMING

    sensor.write(b"\xf2\x01\xf5\x04\xf4\x25", 0.0)  # x1 each, filter on for 20 bits, forced
    data = registers(sensor, 0xF7, 8, 0.1)
    p, t = int.from_bytes(data[:3], "big") >> 4, int.from_bytes(data[3:6], "big") >> 4
    h = int.from_bytes(data[6:], "big")
    celsius = fine_temperature(t, TRIMMING) / 5120
    degrees_per_count = fine_temperature(t + 1, TRIMMING) / 5120 - celsius
    fine = int(5120 * celsius)
    step = abs(pressure_pa(p + 1, fine, TRIMMING) - pressure_pa(p, fine, TRIMMING))
    assert celsius == pytest.approx(temperature, abs=0.51 * degrees_per_count)
    assert pressure_pa(p, fine, TRIMMING) == pytest.approx(pressure, abs=0.51 * step)
    # One count of humidity is 0.006 % here; the integer formula cuts a little more.
    assert integer_humidity_percent(h, fine, moist) == pytest.approx(100 * humidity, abs=0.02)


@settings(max_examples=30, deadline=None)
@given(adc=st.integers(20_000, 45_000), fine=st.integers(-50_000, 350_000))
def test_humidity_formulas_of_the_sheet_agree(adc, fine):
    exact = humidity_percent(adc, fine, TRIMMING)
    if 0 <= exact <= 100:
        assert integer_humidity_percent(adc, fine, TRIMMING[12:]) == pytest.approx(exact, abs=0.02)


def test_count_of_finds_counts_on_rising_and_falling_formulas():
    assert count_of(7.4, float, 8) == 7
    assert count_of(-7.6, lambda n: -float(n), 8) == 8
    assert (count_of(-1.0, float, 8), count_of(999.0, float, 8)) == (0, 255)


def test_bmp280_measures_only_on_command_and_reports_it():
    # DS001-23: id 0x58; 0x80000 where nothing was measured; forced mode falls back to sleep.
    # Longest time at x1 and x1: 1.25 + 2.3 + (2.3 + 0.575) = 6.425 ms (DS002, 9.1).
    counts = []
    sensor = build("BMP280")
    sensor.on_count = lambda *seen: counts.append(seen)
    assert registers(sensor, 0xD0, 1, 0.0) == b"\x58"
    assert registers(sensor, 0xF7, 6, 0.0) == b"\x80\x00\x00" * 2
    sensor.write(b"\xf4\x25", 1.0)
    assert registers(sensor, 0xF3, 1, 1.0064) == b"\x08"
    assert registers(sensor, 0xF7, 6, 1.0064) == b"\x80\x00\x00" * 2
    assert registers(sensor, 0xF3, 2, 1.006425) == b"\x00\x24"
    first = registers(sensor, 0xF7, 6, 1.01)
    assert first[2] & 0x0F == first[5] & 0x0F == 0
    assert first[2] >> 4 == first[5] >> 4 == 0  # 16 bits at x1 without filter (3.3.1)
    registers(sensor, 0xF7, 6, 1.02)
    assert [(t, count) for t, count, _ in counts] == [(1.01, int.from_bytes(first[:3], "big") >> 4)]


def test_bme280_takes_humidity_setting_with_the_next_ctrl_meas():
    # DS002, 5.4.3: ctrl_hum becomes effective after a write to ctrl_meas.
    sensor = build("BME280")
    sensor.write(b"\xf4\x25", 0.0)
    sensor.write(b"\xf2\x01", 0.05)
    assert registers(sensor, 0xFD, 2, 0.1) == b"\x80\x00"
    sensor.write(b"\xf4\x25", 0.1)
    assert registers(sensor, 0xFD, 2, 0.2) != b"\x80\x00"


def test_bme280_in_normal_mode_follows_the_air():
    # At x1 without humidity a cycle lasts 6.425 ms and 0.5 ms of standby.
    sensor = build("BME280", values(pressure=lambda t: 90_000.0 + 100.0 * t))
    sensor.write(b"\xf5\x04\xf4\x27", 0.0)
    for time_s in (0.02, 1.0, 7.3, 60.0):
        data = registers(sensor, 0xF7, 6, time_s)
        fine = int(fine_temperature(int.from_bytes(data[3:], "big") >> 4, TRIMMING))
        found = pressure_pa(int.from_bytes(data[:3], "big") >> 4, fine, TRIMMING)
        lag_s = time_s - (found - 90_000.0) / 100.0
        assert 6.4e-3 - 2e-3 < lag_s < 6.425e-3 + 6.925e-3 + 2e-3


def test_bme280_changes_its_mode_at_the_end_of_a_measurement():
    # DS002, 3.3.1: the change waits, and ctrl_hum takes nothing until then.
    sensor = build("BME280")
    sensor.write(b"\xf4\x27", 0.0)  # normal mode, 6.425 ms of measurement
    sensor.write(b"\xf4\x25\xf2\x01", 0.001)
    assert registers(sensor, 0xF4, 1, 0.006) == b"\x27"
    # The forced measurement begins at 6.425 ms and ends at 12.85 ms.
    assert registers(sensor, 0xF2, 3, 0.007) == b"\x00\x08\x25"
    assert registers(sensor, 0xF2, 3, 0.0129) == b"\x00\x00\x24"


def test_bosch_reset_and_config():
    # DS002, 5.4.2: 0xB6 in 0xE0 resets, nothing else does. 5.4.6 (from memory): config
    # is written in sleep.
    sensor = build("BME280")
    sensor.write(b"\xf5\x20\xf4\x27", 0.0)
    sensor.write(b"\xf5\x40\xe0\x00", 1.0)
    assert registers(sensor, 0xF4, 2, 1.1) == b"\x27\x20"
    sensor.write(b"\xe0\xb6", 2.0)
    assert registers(sensor, 0xF4, 5, 2.1) == b"\x00\x00\x00\x80\x00"


def test_bosch_fault_gives_the_values_of_reset():
    sensor = build("BME280", faults=((1.0, 2.0),))
    sensor.write(b"\xf2\x01\xf4\x25", 1.5)
    assert registers(sensor, 0xF7, 8, 1.6) == b"\x80\x00\x00\x80\x00\x00\x80\x00"


# t_sb = 110: 10 ms in a BME280 (DS002, table 27), 2000 ms in a BMP280 (DS001-23, from memory).
@pytest.mark.parametrize(("part", "standby_s"), [("BME280", 0.01), ("BMP280", 2.0)])
def test_standby_of_the_two_bosch_parts(part, standby_s):
    sensor = build(part)
    sensor.write(b"\xf5\xc0\xf4\x27", 0.0)
    cycle_s = 6.425e-3 + standby_s
    measuring = [registers(sensor, 0xF3, 1, 7 * cycle_s + t)[0] for t in (-1e-4, 1e-4, 7e-3)]
    assert measuring == [0, 8, 0]

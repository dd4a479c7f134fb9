"""The bench's sensor parts against the published facts of the real ones."""

import struct
from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.bench.parts import (
    Imperfections,
    Nack,
    Part,
    PhysicalValues,
    build_part,
)
from pullcurve.bench.parts.bosch import (
    TRIMMING,
    count_of,
    fine_temperature,
    humidity_percent,
    pressure_pa,
)
from pullcurve.bench.parts.sensirion import crc8
from pullcurve.errors import ScenarioError

RANGE_PA = (-2500.0, 2500.0)
RANGED = ("HSC", "SSC", "MS4525DO", "ABP2", "DLH")
COMMAND = b"\xaa\x00\x00"


def constant(value: float) -> Callable[[float], float]:
    return lambda time_s: value


def values(dp=0.0, pressure=84_300.0, temperature=20.0, humidity=0.4) -> PhysicalValues:
    return PhysicalValues(
        differential_pressure_pa=dp if callable(dp) else constant(dp),
        pressure_pa=pressure if callable(pressure) else constant(pressure),
        temperature_c=temperature if callable(temperature) else constant(temperature),
        humidity=constant(humidity),
    )


def build(part: str, truth: PhysicalValues | None = None, seed=1, range_pa=RANGE_PA, **errors):
    rated = range_pa if part in RANGED else None
    return build_part(part, 0x28, truth or values(), Imperfections(**errors), seed, rated)


def registers(part: Part, first: int, length: int, time_s: float) -> bytes:
    part.write(bytes([first]), time_s)
    return part.read(length, time_s)


def frame(part: Part, time_s: float) -> bytes:
    """The whole frame of a part with a rated range, by its own kind of transfer."""
    data = part.read(4, time_s)
    if data[0] == 0x40 and data[1:4] == bytes(3):
        part.write(COMMAND, time_s)
        return part.read(7, time_s + 5e-3)
    return data


def pressure_count(data: bytes) -> int:
    if len(data) == 4:
        return int.from_bytes(data[:2], "big") & 0x3FFF
    return int.from_bytes(data[1:4], "big")


# Rated counts of output type A: HSC 50099148 and the MS4525DO sheet of January 2011 (10 % and
# 90 % of 2^14), ABP2 32350268 (10 % and 90 % of 2^24). DLH: DS-0355's
# P = 1.25 (N - OS)/2^24 FSS, OS = 0.5 x 2^24, solved for N at P = -FSS/2 and FSS/2.
@pytest.mark.parametrize(
    ("part", "low", "high"),
    [
        ("HSC", 1638, 14746),
        ("SSC", 1638, 14746),
        ("MS4525DO", 1638, 14745),
        ("ABP2", 1677722, 15099494),
        ("DLH", 1677722, 15099494),
    ],
)
def test_ends_of_the_range_give_the_rated_counts(part, low, high):
    for pressure, count in zip(RANGE_PA, (low, high), strict=True):
        assert pressure_count(frame(build(part, values(dp=pressure)), 0.01)) == count


def test_one_sided_dlh_follows_the_sheets_gauge_offset():
    # DS-0355: OS = 0.1 x 2^24 for gauge parts, P = 1.25 (N - OS)/2^24 FSS.
    count = pressure_count(frame(build("DLH", values(dp=1000.0), range_pa=(0.0, 2500.0)), 0.01))
    assert 1.25 * (count - 0.1 * 2**24) / 2**24 * 2500.0 == pytest.approx(1000.0, abs=1e-3)


# T = N 200/2047 - 50 (HSC sheet, MS4525DO sheet); N 200/(2^24 - 1) - 50 (ABP2); N 125/2^24 - 40
# (DLH): the tolerance is half a count.
@pytest.mark.parametrize(
    ("part", "celsius", "tolerance"),
    [
        ("HSC", lambda d: (int.from_bytes(d[2:4], "big") >> 5) * 200 / 2047 - 50, 0.05),
        ("MS4525DO", lambda d: (int.from_bytes(d[2:4], "big") >> 5) * 200 / 2047 - 50, 0.05),
        ("ABP2", lambda d: int.from_bytes(d[4:7], "big") * 200 / (2**24 - 1) - 50, 6.1e-6),
        ("DLH", lambda d: int.from_bytes(d[4:7], "big") * 125 / 2**24 - 40, 3.8e-6),
    ],
)
@settings(max_examples=25, deadline=None)
@given(truth=st.floats(-25.0, 80.0))
def test_temperature_in_the_frame(part, celsius, tolerance, truth):
    data = frame(build(part, values(temperature=truth)), 0.01)
    assert celsius(data) == pytest.approx(truth, abs=tolerance)


@pytest.mark.parametrize(("part", "period_s"), [("HSC", 0.5e-3), ("MS4525DO", 1e-3)])
def test_free_running_part_is_stale_until_its_next_update(part, period_s):
    counts = []
    sensor = build(part, values(dp=lambda t: 100.0 * t))
    sensor.on_count = lambda *seen: counts.append(seen)
    reads = [(i * 1e-4, sensor.read(2, i * 1e-4)) for i in range(2000)]
    fresh = [(t, int.from_bytes(data, "big")) for t, data in reads if not data[0] >> 6]
    stale = [data for _, data in reads if data[0] >> 6 == 0b10]
    assert len(fresh) + len(stale) == len(reads)
    assert len(fresh) == pytest.approx(0.2 / period_s, abs=1)
    assert counts == [(t, count, 0) for t, count in fresh]
    for (_, before), (_, after) in pairwise(reads):
        if after[0] >> 6:
            assert int.from_bytes(after, "big") & 0x3FFF == int.from_bytes(before, "big") & 0x3FFF


def test_free_running_clocks_of_two_seeds_are_strangers():
    def updates(seed: int) -> list[int]:
        sensor = build("MS4525DO", seed=seed)
        return [i for i in range(100) if not sensor.read(2, i * 1e-4)[0] >> 6]

    assert updates(1)[1:] != updates(2)[1:]


def test_free_running_part_serves_the_pressure_of_its_last_update():
    # 1 Pa per ms: the value served lags the read by less than one period and never leads it.
    sensor = build("HSC", values(dp=lambda t: 1000.0 * t))
    for i in range(1, 500):
        time_s = i * 3.7e-3
        pressure = (pressure_count(sensor.read(4, time_s)) - 1638) * 5000 / 13108 - 2500
        assert -0.2 < 1000.0 * time_s - pressure < 0.5 + 0.2


def test_free_running_fault_says_diagnostic():
    # HSC 50099148, TN 008201-3: status 11.
    sensor = build("HSC", faults=((1.0, 2.0),))
    assert [sensor.read(2, t)[0] >> 6 for t in (0.9, 1.5, 2.0)] == [0b00, 0b11, 0b00]


def test_counts_stop_past_the_range():
    # Near 2.5 % and 97.5 % of 2^14: from memory.
    assert pressure_count(build("HSC", values(dp=9e3)).read(4, 0.1)) == 15974
    assert pressure_count(build("HSC", values(dp=-9e3)).read(4, 0.1)) == 410
    over = frame(build("ABP2", values(dp=9e3)), 0.1)
    assert (over[0], pressure_count(over)) == (0x41, 2**24 - 1)


@pytest.mark.parametrize("part", ["ABP2", "DLH"])
def test_commanded_part_is_busy_then_holds_the_value_of_the_command(part):
    # DS-0355, table 3: 0x40 powered, bit 5 busy, bit 2 memory error. ABP2 32350268: 5 ms.
    counts = []
    sensor = build(part, values(dp=lambda t: 2500.0 if t == 1.0 else 0.0), faults=((2.0, 3.0),))
    sensor.on_count = lambda *seen: counts.append(seen)
    sensor.write(COMMAND, 1.0)
    assert sensor.read(7, 1.0049) == b"\x60" + bytes(6)
    sensor.write(COMMAND, 1.0049)  # too early: does nothing
    assert sensor.read(1, 1.0 + 5e-3) == b"\x40"
    assert not counts
    data = sensor.read(7, 1.006)
    assert pressure_count(data) == 15099494
    assert sensor.read(7, 1.007) == data
    assert counts == [(1.006, 15099494, 0x40)]
    assert sensor.read(7, 2.5)[0] == 0x44


@settings(max_examples=50, deadline=None)
@given(start_us=st.integers(0, 10**11))
def test_waiting_exactly_the_sheets_time_is_enough(start_us):
    # The bench's times come from whole microseconds, so that sums of them round either way.
    sensor = build("ABP2")
    sensor.write(COMMAND, start_us * 1e-6)
    assert sensor.read(1, (start_us + 4999) * 1e-6) == b"\x60"
    assert sensor.read(1, (start_us + 5000) * 1e-6) == b"\x40"


def test_dlh_averages_what_the_command_says():
    # DS-0355, table 1: 0xAD starts an average of four.
    sensor = build("DLH", values(dp=lambda t: 1000.0 * (t - 1.0) / 5e-3))
    sensor.write(b"\xad\x00\x00", 1.0)
    assert sensor.read(1, 1.019)[0] == 0x60
    count = pressure_count(sensor.read(7, 1.020))
    assert 1.25 * (count / 2**24 - 0.5) * 5000 == pytest.approx(1500.0, abs=1e-3)


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


def test_lps22hb_sleeps_then_converts_at_its_rate():
    # DocID027083: WHO_AM_I 0xB1; CTRL_REG1 0x20 is 10 Hz; 4096 counts per hPa, 100 per degree
    # (from memory); P_DA and T_DA go with the read of the high bytes.
    counts = []
    sensor = build("LPS22HB", values(pressure=101_325.0, temperature=-5.25))
    sensor.on_count = lambda *seen: counts.append(seen)
    assert registers(sensor, 0x0F, 1, 0.0) == b"\xb1"
    assert registers(sensor, 0x27, 1, 0.5) == b"\x00"
    sensor.write(b"\x10\x20", 1.0)
    assert registers(sensor, 0x27, 1, 1.099) == b"\x00"
    assert registers(sensor, 0x27, 1, 1.1) == b"\x03"
    data = registers(sensor, 0x28, 5, 1.1)
    assert int.from_bytes(data[:3], "little") == round(1013.25 * 4096)
    assert int.from_bytes(data[3:], "little", signed=True) == -525
    assert registers(sensor, 0x27, 1, 1.15) == b"\x00"
    assert registers(sensor, 0x27, 1, 1.2) == b"\x03"
    assert counts == [(1.1, round(1013.25 * 4096), 0)]


def test_lps22hb_finishes_nothing_in_a_fault_window():
    sensor = build("LPS22HB", faults=((1.0, 2.0),))
    sensor.write(b"\x10\x20", 0.95)
    assert registers(sensor, 0x27, 1, 1.9) == b"\x00"
    assert registers(sensor, 0x27, 1, 2.1) == b"\x03"


def test_lps22hb_steps_its_pointer_unless_told_not_to():
    # DocID027083, CTRL_REG2: IF_ADD_INC (bit 4) is set after power-up and by SWRESET (bit 2).
    sensor = build("LPS22HB")
    assert registers(sensor, 0x0F, 3, 0.1) == b"\xb1\x00\x10"
    sensor.write(b"\x11\x00", 0.1)
    assert registers(sensor, 0x0F, 3, 0.2) == b"\xb1\xb1\xb1"
    sensor.write(b"\x11\x04", 0.2)
    assert registers(sensor, 0x0F, 3, 0.3) == b"\xb1\x00\x10"


def test_lps22hb_one_shot_takes_its_bit_back():
    sensor = build("LPS22HB")
    sensor.write(b"\x11\x11", 1.0)
    assert registers(sensor, 0x11, 1, 1.012) == b"\x11"
    assert registers(sensor, 0x11, 1, 1.013) == b"\x10"
    assert registers(sensor, 0x27, 1, 1.013) == b"\x03"


def test_crc8_gives_the_sheets_example():
    # Sensirion SHT3x-DIS, table 20: CRC (0xBEEF) = 0x92.
    assert crc8(b"\xbe\xef") == 0x92


# Ends of the transfer, SHT3x-DIS 4.13: -45 and 130 C, 0 and 100 %. SHT4x: -45 and 130 C,
# -6 % at word 0 and 119 % at 65535, so 100 % lies at 106/125 of 65535.
@pytest.mark.parametrize(
    ("part", "command", "time_s", "truth", "words"),
    [
        ("SHT3x", b"\x24\x00", 15.5e-3, (-45.0, 0.0), (0, 0)),
        ("SHT3x", b"\x24\x00", 15.5e-3, (130.0, 1.0), (65535, 65535)),
        ("SHT4x", b"\xfd", 8.3e-3, (-45.0, -0.06), (0, 0)),
        ("SHT4x", b"\xfd", 8.3e-3, (130.0, 1.0), (65535, 55574)),
    ],
)
def test_sensirion_measures_behind_a_nack(part, command, time_s, truth, words):
    sensor = build(part, values(temperature=truth[0], humidity=truth[1]))
    with pytest.raises(Nack):
        sensor.read(6, 0.5)
    sensor.write(command, 1.0)
    for transfer in (lambda t: sensor.read(6, t), lambda t: sensor.write(command, t)):
        with pytest.raises(Nack):
            transfer(1.0 + 0.9 * time_s)
    data = sensor.read(6, 1.0 + time_s)
    assert struct.unpack(">HBHB", data) == (
        words[0],
        crc8(data[:2]),
        words[1],
        crc8(data[3:5]),
    )
    with pytest.raises(Nack):
        sensor.read(6, 2.0)


def test_sensirion_fault_spoils_every_crc():
    sensor = build("SHT4x", faults=((1.0, 2.0),))
    sensor.write(b"\xfd", 1.0)
    data = sensor.read(6, 1.1)
    assert data[2] != crc8(data[:2])
    assert data[5] != crc8(data[3:5])


@settings(max_examples=30, deadline=None)
@given(truth=st.floats(-150.0, 300.0))
def test_mcp9600_hot_junction(truth):
    # DS20005426C: id 0x40, revision 0x10 (5.3.4); 0.0625 C per bit, two's complement (5.1.1);
    # bit 6 of STATUS is written back to 0 and comes again with the next conversion (5.2.1).
    sensor = build("MCP9600", values(temperature=truth))
    assert registers(sensor, 0x20, 2, 0.0) == b"\x40\x10"
    assert registers(sensor, 0x04, 1, 0.3) == b"\x00"
    assert registers(sensor, 0x04, 1, 0.33) == b"\x40"
    sensor.write(b"\x04\x00", 0.34)
    assert registers(sensor, 0x04, 1, 0.35) == b"\x00"
    assert registers(sensor, 0x04, 1, 0.65) == b"\x40"
    hot, delta, cold = (
        int.from_bytes(registers(sensor, register, 2, 0.65), "big", signed=True) / 16
        for register in (0x00, 0x01, 0x02)
    )
    assert hot == pytest.approx(truth, abs=0.0313)
    assert hot == delta + cold


def test_mcp9600_open_thermocouple_is_out_of_range():
    sensor = build("MCP9600", faults=((1.0, 2.0),))
    assert registers(sensor, 0x04, 1, 1.5) == b"\x50"
    assert registers(sensor, 0x04, 1, 2.5) == b"\x40"


# What changes each part's state, and where that shows.
CHANGES = {
    "BME280": (b"\xf4\x27", 0xF7),
    "BMP280": (b"\xf4\x27", 0xF7),
    "LPS22HB": (b"\x10\x20", 0x28),
    "MCP9600": (b"\x06\x60", 0x06),
    "ABP2": (COMMAND, 0x00),
    "DLH": (COMMAND, 0x00),
}


@pytest.mark.parametrize("part", CHANGES)
def test_vanished_part_comes_back_as_after_power_up(part):
    change, register = CHANGES[part]
    sensor = build(part, vanish=((1.0, 2.0),))
    at_first = registers(sensor, register, 4, 0.05)
    sensor.write(change, 0.1)
    assert registers(sensor, register, 4, 0.9) != at_first
    for time_s in (1.0, 1.999):
        with pytest.raises(Nack):
            sensor.read(4, time_s)
        with pytest.raises(Nack):
            sensor.write(change, time_s)
    assert registers(sensor, register, 4, 2.05) == at_first


@pytest.mark.parametrize("part", ["HSC", "SSC", "MS4525DO"])
def test_free_running_part_vanishes(part):
    sensor = build(part, vanish=((1.0, 2.0), (1.5, 2.5)))
    assert sensor.read(2, 0.999)[0] >> 6 == 0
    for time_s in (1.0, 2.1):
        with pytest.raises(Nack):
            sensor.read(2, time_s)
    assert sensor.read(2, 2.5)[0] >> 6 == 0


@pytest.mark.parametrize(("part", "command"), [("SHT3x", b"\x24\x00"), ("SHT4x", b"\xfd")])
def test_sensirion_loses_its_words_with_its_power(part, command):
    sensor = build(part, vanish=((1.0, 2.0),))
    sensor.write(command, 0.9)
    with pytest.raises(Nack):
        sensor.write(command, 1.5)
    with pytest.raises(Nack):
        sensor.read(6, 2.5)
    sensor.write(command, 2.5)
    assert len(sensor.read(6, 2.6)) == 6


def test_imperfections_add_up_as_stated():
    # 2 % of 1000 Pa, 5 Pa, 0.1 Pa/s for 10 s, 0.5 Pa/K for 10 K, 40 Pa exp(-10/20).
    sensor = build(
        "ABP2",
        values(dp=1000.0, temperature=35.0),
        gain_error=0.02,
        zero_error=5.0,
        zero_drift_per_s=0.1,
        zero_per_k=0.5,
        warm_up_error=40.0,
        warm_up_s=20.0,
    )
    count = pressure_count(frame(sensor, 10.0))
    pressure = (count - 1677722) * 5000 / (15099494 - 1677722) - 2500
    assert pressure == pytest.approx(1020.0 + 5.0 + 1.0 + 5.0 + 24.2612, abs=1e-3)


def test_errors_of_the_second_channels():
    sensor = build("ABP2", values(temperature=20.0), temperature_error_k=1.5)
    celsius = int.from_bytes(frame(sensor, 1.0)[4:], "big") * 200 / (2**24 - 1) - 50
    assert celsius == pytest.approx(21.5, abs=1e-4)
    sensor = build("SHT3x", values(humidity=0.4), humidity_error=0.03)
    sensor.write(b"\x24\x00", 1.0)
    assert int.from_bytes(sensor.read(6, 1.1)[3:5], "big") / 65535 == pytest.approx(0.43, abs=1e-5)


def test_stuck_part_repeats_its_last_count_as_new():
    sensor = build("HSC", values(dp=lambda t: 100.0 * t), stuck=((1.0, 2.0),))
    reads = [sensor.read(2, t) for t in (0.9, 1.1, 1.9, 2.1)]
    assert all(data[0] >> 6 == 0 for data in reads)
    assert reads[0] == reads[1] == reads[2] != reads[3]


def test_noise_has_the_stated_spread():
    # 2000 independent samples: the mean within 4.5 sd/sqrt(n), the deviation within 10 %
    # (over six of its own standard errors, 1/sqrt(2 n) = 1.6 %).
    sensor = build("HSC", noise=10.0)
    pressures = [
        (pressure_count(sensor.read(2, i * 1e-3)[:2] + bytes(2)) - 1638) * 5000 / 13108 - 2500
        for i in range(2000)
    ]
    mean = sum(pressures) / len(pressures)
    deviation = (sum((p - mean) ** 2 for p in pressures) / (len(pressures) - 1)) ** 0.5
    assert mean == pytest.approx(0.0, abs=1.0)
    assert deviation == pytest.approx(10.0, rel=0.1)


@pytest.mark.parametrize("part", RANGED)
def test_equal_seeds_give_equal_bytes_and_others_do_not(part):
    def run(seed: int) -> list[bytes]:
        sensor = build(part, seed=seed, noise=20.0)
        return [frame(sensor, 0.1 * i) for i in range(1, 20)]

    assert run(7) == run(7)
    assert run(7) != run(8)


@pytest.mark.parametrize(
    ("part", "address", "truth", "range_pa", "sentence"),
    [
        ("HSD", 0x28, values(), RANGE_PA, "it knows HSC, SSC"),
        ("HSC", 0x78, values(), RANGE_PA, "0x08 to 0x77"),
        ("HSC", 0x28, values(), None, "give both ends"),
        ("HSC", 0x28, values(), (2500.0, -2500.0), "the low end comes first"),
        ("HSC", 0x28, PhysicalValues(), RANGE_PA, "needs a true value of differential_pressure_pa"),
        ("BME280", 0x76, values(), RANGE_PA, "leave the range out"),
        ("SHT3x", 0x44, PhysicalValues(humidity=constant(0.4)), None, "value of temperature_c"),
    ],
)
def test_what_cannot_be_built_is_said(part, address, truth, range_pa, sentence):
    with pytest.raises(ScenarioError, match=sentence):
        build_part(part, address, truth, Imperfections(), 1, range_pa)

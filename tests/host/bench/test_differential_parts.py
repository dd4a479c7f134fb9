"""The bench's differential-pressure parts against the published facts of the real ones."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.bench.a_part import COMMAND, RANGE_PA, build, frame, pressure_count, values


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

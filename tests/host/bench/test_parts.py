"""What all of the bench's parts do: errors, faults, absence, refusals."""

import pytest

from host.bench.a_part import (
    COMMAND,
    RANGE_PA,
    RANGED,
    build,
    constant,
    frame,
    pressure_count,
    registers,
    values,
)
from pullcurve.bench.parts import Imperfections, Nack, PhysicalValues, build_part
from pullcurve.errors import ScenarioError

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

"""The bench's other parts against the published facts of the real ones."""

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.bench.a_part import build, registers, values
from pullcurve.bench.parts import Nack
from pullcurve.bench.parts.sensirion import crc8


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

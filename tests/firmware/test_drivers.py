"""Properties of the sensor drivers' frames, and the runners of MicroPython."""

from pathlib import Path

import pytest
from driver_checks import bosch, lps
from hypothesis import given, settings
from hypothesis import strategies as st
from one_part_bus import PA, wired

from abp2 import Abp2
from hsc import Hsc
from on_micropython import needs_unix, needs_wasm, run_unix, run_wasm
from record_format import CRC_ERROR, FAULT, OK, STALE
from sht import Sht, crc8

words14 = st.integers(0, 2**14 - 1)
words16 = st.integers(0, 2**16 - 1)
words20 = st.integers(0, 2**20 - 1)
words24 = st.integers(0, 2**24 - 1)


@pytest.mark.parametrize(
    "run", [pytest.param(run_unix, marks=needs_unix), pytest.param(run_wasm, marks=needs_wasm)]
)
def test_a_runner_passes_arguments_on_and_tells_how_the_script_ended(run, tmp_path: Path) -> None:
    script = tmp_path / "ends.py"
    script.write_text("import sys\nprint(sys.argv[1:])\nsys.exit(int(sys.argv[1]))\n")
    done = run(script, "3", "x y")
    assert (done.stdout, done.stderr, done.returncode) == ("['3', 'x y']\n", "", 3)
    script.write_text("print('so far')\n1 / 0\n")
    done = run(script)
    assert done.returncode == 1
    assert done.stdout.startswith("so far\n")
    assert "ZeroDivisionError" in done.stdout + done.stderr


@settings(max_examples=200, deadline=None)
@given(status=st.integers(0, 3), pressure=words14, temperature=st.integers(0, 2047))
def test_hsc_takes_every_frame_apart(status: int, pressure: int, temperature: int) -> None:
    bus, driver = wired(Hsc, "SSC", PA)
    bus.frame = (status << 30 | pressure << 16 | temperature << 5 | 0x15).to_bytes(4, "big")
    found = driver.read()
    assert found == (OK, FAULT, STALE, FAULT)[status]
    assert driver.words == ([pressure, temperature] if found == OK else [0, 0])


@settings(max_examples=200, deadline=None)
@given(status=st.integers(0, 255), pressure=words24, temperature=st.integers(1, 2**24 - 1))
def test_abp2_trusts_no_status_but_those_of_its_sheet(
    status: int, pressure: int, temperature: int
) -> None:
    bus, driver = wired(Abp2, "DLH", PA)
    driver.start()
    bus.frame = bytes([status]) + pressure.to_bytes(3, "big") + temperature.to_bytes(3, "big")
    found = driver.read()
    assert found == {0x40: OK, 0x41: OK, 0x60: STALE, 0x61: STALE}.get(status, FAULT)
    if status == 0x40:
        assert driver.words == [pressure, temperature]
    if status == 0x41:
        assert driver.words == [
            min((0, 2**24 - 1), key=lambda end: abs(end - pressure)),
            temperature,
        ]


@settings(max_examples=200, deadline=None)
@given(pressure=words20, temperature=words20, humidity=words16)
def test_bme280_takes_every_result_apart(pressure: int, temperature: int, humidity: int) -> None:
    bus, driver = bosch("BME280")
    driver.start()
    bus.registers[0xF7:0xFF] = (
        (pressure << 4).to_bytes(3, "big")
        + (temperature << 4).to_bytes(3, "big")
        + humidity.to_bytes(2, "big")
    )
    if pressure == temperature == 0x80000:
        assert driver.read() == STALE
    else:
        assert driver.read() == OK
        assert driver.words == [pressure, temperature, humidity]


@settings(max_examples=200, deadline=None)
@given(pressure=st.integers(-(2**23), 2**23 - 1), temperature=st.integers(-(2**15), 2**15 - 1))
def test_lps22hb_words_are_signed(pressure: int, temperature: int) -> None:
    bus, driver = lps()
    driver.start()
    bus.registers[0x27:0x2D] = (
        b"\x03"
        + pressure.to_bytes(3, "little", signed=True)
        + temperature.to_bytes(2, "little", signed=True)
    )
    assert driver.read() == OK
    assert driver.words == [pressure, temperature]


@settings(max_examples=200, deadline=None)
@given(temperature=words16, humidity=words16, bit=st.integers(0, 47))
def test_sht_finds_every_flipped_bit(temperature: int, humidity: int, bit: int) -> None:
    bus, driver = wired(Sht, "SHT4x")
    driver.start()
    first, second = temperature.to_bytes(2, "big"), humidity.to_bytes(2, "big")
    frame = first + bytes([crc8(first, 0, 2)]) + second + bytes([crc8(second, 0, 2)])
    bus.frame = frame
    assert driver.read() == OK
    assert driver.words == [temperature, humidity]
    bus.frame = (int.from_bytes(frame, "big") ^ 1 << bit).to_bytes(6, "big")
    assert driver.read() == CRC_ERROR
    assert driver.words == [temperature, humidity]

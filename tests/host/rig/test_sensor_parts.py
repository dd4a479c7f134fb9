"""The shipped accuracy table of the sensor parts."""

import re
from pathlib import Path

import pytest

from pullcurve.rig.sensor_parts import SENSOR_PARTS


def test_the_published_figures():
    """Each figure from the data sheet named beside it, as far as it was read there."""
    dp = {name: part.differential_pressure for name, part in SENSOR_PARTS.items()}
    assert dp["HSC"].nonlinearity == 0.0025  # 50099148: +-0.25 %FSS BFSL
    assert dp["MS4525DO"].error_band == 0.01  # 4525DO: total error band less than 1.0 %
    assert dp["ABP2"].error_band == 0.015  # 32350268: as low as +-1.5 %FSS
    # IEC 60584-1:2013: type K class 2, 2.5 K to 333 C; 20005426: MCP9600, 1.5 K maximum
    assert SENSOR_PARTS["MCP9600"].temperature.bound == 2.5 + 1.5


def test_the_split_stays_inside_the_published_band():
    """Gain and nonlinearity at the end of a two-sided range, without zero, within the band."""
    for name, part in SENSOR_PARTS.items():
        dp = part.differential_pressure
        if dp is None:
            continue
        band = dp.error_band_zeroed or dp.error_band
        assert 0.5 * dp.gain_bound + dp.nonlinearity <= band * (1 + 1e-12), name
        assert dp.zero_bound >= dp.error_band, name
    hsc = SENSOR_PARTS["HSC"].differential_pressure
    assert hsc.gain_bound == pytest.approx(0.005)
    assert hsc.zero_bound == pytest.approx(0.0125)


def test_every_driver_of_the_board_has_its_parts_here():
    drivers = Path(__file__).parents[3] / "firmware" / "lib"
    known = [
        part
        for driver in drivers.glob("*.py")
        for parts in re.findall(r"^    PARTS = \((.+)\)$", driver.read_text("utf-8"), re.MULTILINE)
        for part in re.findall(r'"(\w+)"', parts)
    ]
    known.remove("ADC")  # an input of the board itself, no part with a data sheet
    assert sorted(known) == sorted(SENSOR_PARTS)

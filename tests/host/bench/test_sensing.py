"""Errors of the differential-pressure sensor: what the board reads against the truth's column."""

import math
from typing import Any

import numpy as np
import pytest
from numpy.polynomial import chebyshev

from host.bench.plain import scenario
from pullcurve.bench.parts import Imperfections
from pullcurve.bench.parts.part import deviation
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.sensing import heat_k
from pullcurve.bench.world import World

RANGE_PA = (-2500.0, 2500.0)
COUNT_PA = 5000 / (14746 - 1638)  # HSC data sheet 50099148: 10 % to 90 % of 2^14
OFF = [[0.0, 0.0], [120.0, 0.0]]


def standing(**errors: Any) -> tuple[Plant, World]:
    """The engine off for two minutes, and an HSC without noise."""
    sensor = {"role": "meter_dp", "part": "HSC", "address": 0x28, "range_pa": RANGE_PA} | errors
    still = scenario(duration_s=120.0, machine__engine__throttle=OFF, sensors=[sensor])
    plant = simulate(still)
    return plant, World(still, plant)


def read(world: World, time_s: float) -> tuple[float, float]:
    """Pressure [Pa] and temperature [C] from the frame that the board would get."""
    frame = world.transact(round(time_s * 1e6), 0, 0x28, b"", 4)
    assert frame is not None
    count = int.from_bytes(frame[:2], "big") & 0x3FFF
    celsius = (int.from_bytes(frame[2:4], "big") >> 5) * 200 / 2047 - 50
    return RANGE_PA[0] + (count - 1638) * COUNT_PA, celsius


SUN = {"from_s": 40.0, "rise_k": 12.0, "time_constant_s": 30.0}


@pytest.mark.parametrize(
    "errors",
    [
        {"zero_error": 40.0, "zero_drift_per_s": -0.3},
        {"warm_up_error": 60.0, "warm_up_s": 25.0},
        {"zero_per_k": 3.0, "heat_k": 4.0, "sun": SUN},
        {"nonlinearity": [35.0, 20.0]},
    ],
)
def test_the_truths_zero_is_what_the_board_reads_at_rest(errors: dict[str, Any]) -> None:
    plant, world = standing(**errors)
    truth = plant.truth(0.01)
    assert np.ptp(truth["zero_error_pa"]) > 25 or "nonlinearity" in errors
    for time_s in (0.5, 20.0, 39.9, 45.0, 70.0, 119.0):
        index = round(time_s / 0.01)
        expected = truth["zero_error_pa"][index]
        assert read(world, time_s)[0] == pytest.approx(expected, abs=0.51 * COUNT_PA)


def test_sun_warms_the_part_and_moves_its_zero() -> None:
    """12 K (1 - exp(-60/30)) after a minute of sun, on top of 4 K of its own and 20 C of air."""
    plant, world = standing(zero_per_k=3.0, heat_k=4.0, sun=SUN)
    warmer = 4.0 + 12 * (1 - math.exp(-2.0))
    assert heat_k(plant.scenario.sensors[0], 100.0) == pytest.approx(warmer)
    pressure, celsius = read(world, 100.0)
    assert celsius == pytest.approx(20.0 + warmer, abs=0.06)
    assert pressure == pytest.approx(3.0 * (20.0 + warmer - 25.0), abs=COUNT_PA)


def test_no_straight_line_fits_the_nonlinearity_better() -> None:
    """A Chebyshev polynomial is its own best fit: the greatest deviation is its amplitude, and
    taking a line off, in the sense of least greatest deviation, changes nothing."""
    errors = Imperfections(nonlinearity=(12.0, -5.0))
    pressure = np.linspace(*RANGE_PA, 2001)
    bent = deviation(errors, RANGE_PA, pressure, 0.0, 25.0) - pressure
    fitted = chebyshev.chebfit(pressure / 2500, bent, 3)
    assert fitted == pytest.approx([0.0, 0.0, 12.0, -5.0], abs=1e-9)
    assert deviation(errors, RANGE_PA, 0.0, 0.0, 25.0) == pytest.approx(-12.0)


def test_gain_changes_with_temperature() -> None:
    errors = Imperfections(gain_error=0.01, gain_per_k=-0.0005)
    assert deviation(errors, None, 1000.0, 0.0, 45.0) == pytest.approx(1000 * (1.01 - 0.01))


def test_counts_pile_up_where_the_part_stops() -> None:
    """A part that stops at its rated end, which is well below the end of its counts."""
    sensor = {"role": "meter_dp", "part": "HSC", "address": 0x28, "range_pa": RANGE_PA}
    running = scenario(
        meter__pulsation=[{"amplitude": 0.3}],
        meter__line_time_constant_s=1e-6,
        sensors=[sensor | {"stops_pa": RANGE_PA, "noise": 3.0}],
    )
    plant = simulate(running)
    world = World(running, plant)
    assert plant.truth()["differential_pressure_pa"][-1] == pytest.approx(2500, rel=0.6)
    readings = np.array([read(world, 50 + i * 1.37e-3)[0] for i in range(3000)])
    assert readings.max() == pytest.approx(2500.0, abs=0.51 * COUNT_PA)
    piled = (readings == readings.max()).mean()
    assert 0.05 < piled < 0.95
    assert (readings == np.unique(readings)[-2]).mean() < 0.1 * piled

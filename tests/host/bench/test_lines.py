"""Pulsation, the two lines to the sensor, and water in them."""

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from host.bench.plain import scenario
from pullcurve.bench.grid import STEP_S
from pullcurve.bench.instrument import Water
from pullcurve.bench.lines import behind_lines, water_offset
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.pulsation import upstream_share

Array = NDArray[np.float64]
NO_LAG_S = 1e-9


def metered(**meter: Any) -> Plant:
    return simulate(scenario(**{f"meter__{key}": value for key, value in meter.items()}))


def lagged(pressure: Array, step_s: float, constant_s: float) -> Array:
    """A first-order lag by explicit Euler: another way than the bench's."""
    felt = np.empty_like(pressure)
    value = pressure.mean()
    for index, now in enumerate(pressure.tolist()):
        value += (now - value) * step_s / constant_s
        felt[index] = value
    return felt


def test_two_lines_and_the_sensor_against_integration_in_time() -> None:
    """Each tap's pressure behind its own lag, then the difference behind the sensor's; pressure
    common to both taps shows where the lines differ, and never in the mean."""
    pulsation = [{"amplitude": 0.2, "phase_rad": 0.7}, {"amplitude": 0.05, "phase_rad": 2.0}]
    common = [{"amplitude": 0.3, "phase_rad": 1.1}]
    step_s = 1e-5
    time_s = np.arange(50.0, 50.25, step_s)
    free = metered(pulsation=pulsation, line_time_constant_s=NO_LAG_S)
    difference = free.differential_pressure(time_s)
    mean = free.truth()["differential_pressure_pa"][-1]
    # A throat line of endless lag leaves what the upstream tap has in common with it.
    both = (
        metered(
            common_pulsation=common,
            line_time_constant_s=NO_LAG_S,
            throat_line_time_constant_s=1e9,
        ).differential_pressure(time_s)
        - mean
    )
    assert both.std() == pytest.approx(0.3 * mean / math.sqrt(2), rel=1e-3)
    share = upstream_share(free.scenario.meter)
    upstream = lagged(-share * difference + both, step_s, 0.002)
    throat = lagged(-(1 + share) * difference + both, step_s, 0.0035)
    expected = lagged(upstream - throat, step_s, 0.0005)
    felt = metered(
        pulsation=pulsation,
        common_pulsation=common,
        line_time_constant_s=0.002,
        throat_line_time_constant_s=0.0035,
        sensor_time_constant_s=0.0005,
    ).differential_pressure(time_s)
    tail = time_s > 50.05
    assert felt[tail] == pytest.approx(expected[tail], abs=2e-3 * mean)
    assert felt[tail].std() > 0.02 * mean
    assert felt[tail].mean() == pytest.approx(difference[tail].mean(), rel=1e-3)


def test_the_upstream_tap_falls_by_its_share_of_the_difference() -> None:
    """Bernoulli's share against the plant's isentropic tube, at a speed that hardly compresses."""
    slow = scenario(
        meter__inlet_loss=0.4,
        meter__discharge_coefficient=1.0,
        machine__engine__throttle=[[0.0, 700.0], [60.0, 700.0]],
    )
    truth = simulate(slow).truth()
    fall = truth["ambient_pressure_pa"] - truth["meter_pressure_pa"]
    share = upstream_share(slow.meter)
    assert fall[-1] / truth["differential_pressure_pa"][-1] == pytest.approx(share, rel=5e-3)


@pytest.mark.parametrize("quality", [0.8, 3.0])
def test_a_resonance_raises_its_harmonic_by_its_quality(quality: float) -> None:
    """1/|1 - r^2 + i r/Q| is Q at r = 1 and 1/sqrt((1 - 0.25)^2 + 0.25/Q^2) at r = 0.5."""
    at_160_hz = {
        hz: metered(
            pulsation=[{"amplitude": 0.05}],
            resonance={"frequency_hz": hz, "quality": quality},
        ).truth()["flow_pulsation"][-1]
        for hz in (160.0, 320.0)
    }
    rms = 0.05 / math.sqrt(2)
    assert at_160_hz[160.0] == pytest.approx(quality * rms, rel=1e-3)
    half = 1 / math.sqrt(0.75**2 + 0.25 / quality**2)
    assert at_160_hz[320.0] == pytest.approx(half * rms, rel=1e-3)


def test_reversed_tubes_change_the_sign_and_nothing_else() -> None:
    pulsation = [{"amplitude": 0.1}]
    time_s = np.arange(50.0, 50.1, 1e-3)
    right = metered(pulsation=pulsation).differential_pressure(time_s)
    wrong = metered(pulsation=pulsation, tubes_reversed=True).differential_pressure(time_s)
    assert np.array_equal(wrong, -right)
    assert right.min() > 0


def test_water_sticks_and_slides() -> None:
    """By hand: it comes to rest at 1000, stays there while the difference is within 300 of it,
    and slides at 1400 and at 500."""
    pressure = np.array([900.0, 1000.0, 1250.0, 710.0, 1400.0, 1150.0, 500.0, 0.0])
    slug = Water(from_s=1.0, to_s=7.0, line="throat", offset_pa=-60.0, share=0.1, stick_pa=300.0)
    offset = water_offset([slug], np.arange(8.0), pressure)
    assert offset == pytest.approx([0.0, 40.0, 40.0, 40.0, 80.0, 80.0, -10.0, 0.0])


def test_water_shifts_the_reading_and_slows_its_line() -> None:
    water = {"from_s": 30.0, "to_s": 61.0, "line": "throat", "offset_pa": 55.0}
    pulsation = [{"amplitude": 0.2}]
    dry = metered(pulsation=pulsation)
    wet = simulate(
        scenario(meter__pulsation=pulsation, events={"water": [water | {"time_constant_s": 0.3}]})
    )
    before, after = np.arange(20.0, 29.0, 1e-3), np.arange(40.0, 59.0, 1e-3)
    assert np.array_equal(wet.differential_pressure(before), dry.differential_pressure(before))
    shift = wet.differential_pressure(after).mean() - dry.differential_pressure(after).mean()
    assert shift == pytest.approx(55.0, abs=1.0)
    assert wet.truth()["line_offset_pa"][-1] == 55.0
    # At 160 Hz a lag of 2 ms leaves 0.45 of the ripple, one of 300 ms 0.0033: what is left
    # comes by the upstream line.
    share = upstream_share(dry.scenario.meter)
    left = wet.differential_pressure(after).std() / dry.differential_pressure(after).std()
    assert left == pytest.approx(share, rel=0.05)


def test_the_mean_follows_a_step_behind_the_slower_line() -> None:
    """After a step by 1 each line answers 1 - exp(-t/tau)."""
    meter = scenario().meter
    share = upstream_share(meter)
    times = np.arange(0.0, 3.0, STEP_S)
    step = (times >= 1.0).astype(float)
    upstream_s, throat_s = np.full(times.shape, 0.05), np.full(times.shape, 0.4)
    felt = behind_lines(step, meter, upstream_s, throat_s, STEP_S)
    since = times[times >= 1.1] - 1.0 + STEP_S / 2  # the step is a ramp of one grid step
    expected = (1 + share) * (1 - np.exp(-since / 0.4)) - share * (1 - np.exp(-since / 0.05))
    assert felt[times >= 1.1] == pytest.approx(expected, abs=1e-3)

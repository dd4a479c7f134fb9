"""Pulsation: what it does to a mean, and what a line hides of it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.measure.pulsation import aliasing, correction, error_of_mean, lobe_frequency


@pytest.mark.parametrize(
    ("flow_amplitude", "tolerance"), [(0.0707, 2e-5), (0.2, 5e-5), (0.3, 2e-4)]
)
def test_error_of_a_mean_against_a_sine_averaged_here(
    flow_amplitude: float, tolerance: float
) -> None:
    """Flow 1 + a sin: the root of the mean of its square against its mean, by plain averaging.

    The formula is that of ISO/TR 3313:2018 (form from memory); its three cases agree with the
    averages to the tolerance.
    """
    flow = 1 + flow_amplitude * np.sin(np.linspace(0, 2 * np.pi, 100_000, endpoint=False))
    pressure = flow**2
    ratio = np.array([pressure.std() / pressure.mean()])
    assert error_of_mean(ratio)[0] == pytest.approx(np.sqrt(pressure.mean()) - 1, abs=tolerance)


@settings(max_examples=80, deadline=None)
@given(
    ratio=st.floats(0.0, 0.2),
    lag_s=st.floats(2e-3, 35e-3),
    rpm=st.floats(1000, 4000),
    lobes=st.sampled_from([2, 3]),
)
def test_the_true_error_lies_within_the_stated_one_behind_any_line(
    ratio: float, lag_s: float, rpm: float, lobes: int
) -> None:
    """Three standard uncertainties, whatever the line hides. 4 and 6 passes a turn: two rotors
    of two and of three lobes."""
    omega = 2 * np.pi * {2: 4, 3: 6}[lobes] * rpm / 60
    seen = ratio**2 / (1 + (omega * lag_s) ** 2)
    error, u = correction(
        np.array([seen]), np.array([1e-8]), lobe_frequency(np.array([rpm]), lobes)
    )
    assert abs(error[0] - error_of_mean(np.array([ratio]))[0]) < 3 * u[0]


def test_more_ripple_means_more_correction_and_more_doubt() -> None:
    seen = np.array([0.0, 1e-5, 1e-4, 1e-3, 1e-2])
    error, u = correction(seen, np.zeros(5), np.full(5, 166.7))
    assert (np.diff(error) > 0).all()
    assert (np.diff(u) > 0).all()


def test_readings_spread_over_their_period_are_in_step_with_nothing() -> None:
    ratio, rpm, seconds = np.full(3, 0.1), np.array([1500.0, 3000.0, 3210.0]), np.full(3, 20.0)
    lobe_hz = lobe_frequency(rpm, None)
    assert (aliasing(ratio, lobe_hz, seconds, 5000, 5000) == 0).all()
    half, in_step, beside = aliasing(ratio, lobe_hz, seconds, 5000, 0)
    # 200 Hz of lobes read at 200 Hz; at 1500 rpm only the second harmonic is.
    assert in_step > half > 20 * beside

"""What pulsation does to a mean differential pressure, and how much of it a line hides.

The root of a mean is too high by E (`error_of_mean`), which the ripple of the differential
pressure tells; but tube and sensor damp the ripple, and by how much nobody measures. So the
ripple that was seen is taken through every lag that a line may have, each as likely as the
next on a logarithmic scale, and each true ripple weighed by how likely it is at a meter behind
tank or hose. The mean of E over these is taken off, and their spread stays as uncertainty. A
small ripple behind a slow line thus proves nothing, and costs little.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Judgement: lines of 0.1 m to 2 m and a sensor with its own filter lag by 1 to 50 ms; the
# ripple of the differential pressure, twice that of the flow, has a standard deviation of
# 0.2 of the mean or less in two of three cases. Where nobody states the lobes, a rotor has two.
LAGS_S = np.geomspace(1e-3, 50e-3, 24)
USUAL_RATIO = 0.2
USUAL_LOBES = 2
FLOOR = 0.0005  # relative, of the correction's own form
_Z = np.array([-1.5, -0.5, 0.5, 1.5])  # places in a normal distribution, of equal weight


def error_of_mean(ratio: Array) -> Array:
    """By how much the root of a mean differential pressure is too high, relative.

    ratio: standard deviation of the differential pressure over its mean; above 1 counts as 1.
    E = [0.5 (1 + sqrt(1 - R^2))]^-1/2 - 1. Source: ISO/TR 3313:2018 (form from memory); exact
    for a symmetric wave, 0.1249 % against 0.1250 % at a flow pulsation of 5 %.
    """
    root = np.sqrt(1 - np.minimum(ratio, 1) ** 2)
    return np.asarray((0.5 * (1 + root)) ** -0.5 - 1)


def lobe_frequency(speed_rpm: Array, lobes: int | None) -> Array:
    """Lobe passes a second: each of the two rotors passes once a lobe and turn."""
    return 2 * (lobes or USUAL_LOBES) * speed_rpm / 60


def correction(seen: Array, seen_u: Array, lobe_hz: Array) -> tuple[Array, Array]:
    """Mean and standard uncertainty of E at each point.

    seen: variance of the differential pressure over its squared mean, the sensor's noise taken
    off (it may be negative by chance); seen_u: its standard uncertainty; lobe_hz: by
    `lobe_frequency`. All of shape (points,).
    """
    omega = 2 * np.pi * lobe_hz
    # axes: place in the distribution of `seen`, lag, point
    variance = np.maximum(seen + _Z[:, None, None] * seen_u, 0.0)
    true_ratio = np.sqrt(variance * (1 + (omega * LAGS_S[:, None]) ** 2))
    weight = np.exp(-((true_ratio / USUAL_RATIO) ** 2) / 2)
    weight = np.where(true_ratio < 1, weight, 0.0) + 1e-300
    error = error_of_mean(true_ratio)
    total = weight.sum(axis=(0, 1))
    mean = (weight * error).sum(axis=(0, 1)) / total
    spread = (weight * (error - mean) ** 2).sum(axis=(0, 1)) / total
    return mean, np.sqrt(spread + FLOOR**2)


def aliasing(ratio: Array, lobe_hz: Array, seconds: Array, period_us: int, jitter_us: int) -> Array:
    """Standard uncertainty of a mean differential pressure, relative, from readings in step
    with the lobes.

    Readings every period fold a lobe-pass frequency f, and its second harmonic, to
    |f - k / period|; what is slow there is not averaged out. Readings spread over the period
    have no such fold, those spread over a part of it the share sinc(f jitter). Speed is taken
    to wander by 0.1 %, which blurs a fold as time does (judgement).
    """
    if period_us == jitter_us:
        return np.zeros_like(ratio)
    rate = 1e6 / period_us
    worst = np.zeros_like(ratio)
    for harmonic in (1, 2):
        frequency = harmonic * lobe_hz
        fold = np.abs(frequency - rate * np.round(frequency / rate))
        blur = np.hypot(fold, 0.001 * frequency)
        left = np.minimum(1.0, 1 / (2 * np.pi * np.maximum(blur, 1e-6) * seconds))
        share = np.abs(np.sinc(frequency * jitter_us * 1e-6))
        # Of the ripple's variance the second harmonic holds a quarter at most (judgement).
        worst = np.maximum(worst, ratio * share * left / harmonic)
    return worst

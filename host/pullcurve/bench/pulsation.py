"""Pulsation by the blower's lobes: what it does to the difference between the taps, and what of
it reaches the sensor.

A series is a complex array: row h, a column a time step, holds c_h in

    dp / dp(mean flow) = c_0 + 2 Re sum_h c_h exp(i h phi),    phi in radians of lobe pass.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pullcurve.bench.grid import Signal
from pullcurve.bench.instrument import Harmonic, Meter
from pullcurve.bench.moist_air import Array

Series = NDArray[np.complex128]


def pressure_series(meter: Meter, frequency: Array) -> Series:
    """The difference between the taps at the lobe-pass `frequency` [Hz].

    The flow is q (1 + sum a_h sin(h phi + phase_h)), its harmonics shaped by the pipe's
    resonance; the difference goes with its square at every instant. So c_0 is 1 + s^2 with s
    the relative root mean square of the flow's pulsation (as in ISO/TR 3313). Left out: the
    expansibility's small change within a cycle.
    """
    count = len(meter.pulsation)
    flow = np.zeros((2 * count + 1, frequency.size), dtype=complex)
    flow[count] = 1
    for order, harmonic in enumerate(meter.pulsation, start=1):
        flow[count + order] = _half(harmonic) * _response(meter, order * frequency)
        flow[count - order] = flow[count + order].conj()
    return np.array(
        [
            sum(flow[j] * flow[total - j] for j in range(total - 2 * count, 2 * count + 1))
            for total in range(2 * count, 4 * count + 1)
        ]
    )


def felt_series(meter: Meter, frequency: Array, upstream_s: Array, throat_s: Array) -> Series:
    """What the sensor feels, over the mean difference behind the lines.

    upstream_s, throat_s: time constants of the lines [s]. A line or the sensor takes from
    harmonic h what a first-order lag takes at steady speed, 1 / (1 + i h 2 pi f tau). Lines
    that differ turn pressure common to both taps into a difference, and keep its mean.
    """
    between = pressure_series(meter, frequency)
    share = upstream_share(meter)
    orders = max(len(between), len(meter.common_pulsation) + 1)
    felt = np.zeros((orders, frequency.size), dtype=complex)
    for order in range(orders):
        turning = 2j * np.pi * order * frequency
        upstream, throat = 1 / (1 + turning * upstream_s), 1 / (1 + turning * throat_s)
        if order < len(between):
            felt[order] = between[order] * ((1 + share) * throat - share * upstream)
        if 1 <= order <= len(meter.common_pulsation):
            felt[order] += _half(meter.common_pulsation[order - 1]) * (upstream - throat)
        felt[order] /= 1 + turning * meter.sensor_time_constant_s
    return felt


def upstream_share(meter: Meter) -> float:
    """Fall of the upstream tap's pressure below that of air at rest, over the difference
    between the taps: (1 + K) beta^4 / (1 - beta^4). Bernoulli's equation, the tube's own loss
    left out."""
    fourth = (meter.throat_bore_m / meter.pipe_bore_m) ** 4
    return (1 + meter.inlet_loss) * fourth / (1 - fourth)


class Ripple:
    """A series over time, read at any instant."""

    def __init__(self, series: Series) -> None:
        self._rows = [Signal[complex](row) for row in series]

    def __call__(self, time_s: Any, rotor: Any) -> Any:
        """dp over that of the mean flow; rotor is exp(i phi). Floats or arrays."""
        factor = self._rows[0](time_s).real
        turned = rotor
        for row in self._rows[1:]:
            factor = factor + 2 * (row(time_s) * turned).real
            turned = turned * rotor
        return factor


def _half(harmonic: Harmonic) -> complex:
    """c of amplitude * sin(phi + phase)."""
    return complex(harmonic.amplitude * np.exp(1j * harmonic.phase_rad) / 2j)


def _response(meter: Meter, frequency: Array) -> Series | float:
    if meter.resonance is None:
        return 1.0
    ratio = frequency / meter.resonance.frequency_hz
    return np.asarray(1 / (1 - ratio**2 + 1j * ratio / meter.resonance.quality))

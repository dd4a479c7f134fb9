"""Pulsation of the flow by the blower's lobes, as the differential-pressure sensor feels it."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pullcurve.bench.scenario import Harmonic

Series = NDArray[np.complex128]


def pressure_series(harmonics: Sequence[Harmonic]) -> Series:
    """Fourier coefficients of the differential pressure over its value at the mean flow.

    The flow is q (1 + sum a_h sin(h phi + phase_h)); the differential pressure goes with its
    square at every instant. Element h of the answer is c_h in
    dp / dp(q) = c_0 + 2 Re sum_h c_h exp(i h phi), phi in radians of lobe pass; so c_0, the
    mean, is 1 + s^2 with s the relative root mean square of the flow's pulsation (as in
    ISO/TR 3313). Left out: the expansibility's small change within a cycle.
    """
    count = len(harmonics)
    two_sided = np.zeros(2 * count + 1, dtype=complex)
    two_sided[count] = 1
    for order, harmonic in enumerate(harmonics, start=1):
        half = harmonic.amplitude * np.exp(1j * harmonic.phase_rad) / 2j
        two_sided[count + order] = half
        two_sided[count - order] = half.conjugate()
    squared = np.convolve(two_sided, two_sided)
    return np.asarray(squared[2 * count :])

"""Orifice plates of ISO 5167-2: sharp-edged, concentric, in a pipe.

C and its limits are functions of beta = d/D, Re_D and the pipe bore D in m; all broadcast.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

import numpy as np

from pullcurve.physics import air
from pullcurve.physics.air import Array, Values
from pullcurve.quantities import INCH_M

_SMALL_PIPE: Final = 0.07112  # m, below which C has a term of its own
_LEAST_REYNOLDS: Final = 5000.0


class Taps(StrEnum):
    """Where the two pressures are taken."""

    CORNER = "corner"
    FLANGE = "flange"
    D_AND_HALF_D = "d_and_half_d"


def coefficient(beta: Values, reynolds: Values, pipe_bore: Values, taps: Taps) -> Array:
    """Discharge coefficient, equation of Reader-Harris and Gallagher.

    C = 0.5961 + 0.0261 beta^2 - 0.216 beta^8 + 0.000521 (1e6 beta/Re)^0.7
        + (0.0188 + 0.0063 A) beta^3.5 (1e6/Re)^0.3
        + (0.043 + 0.080 exp(-10 L1) - 0.123 exp(-7 L1)) (1 - 0.11 A) beta^4/(1 - beta^4)
        - 0.031 (M - 0.8 M^1.1) beta^1.3,   A = (19000 beta/Re)^0.8,   M = 2 L2/(1 - beta),
        and for D < 71.12 mm  + 0.011 (0.75 - beta) (2.8 - D/25.4 mm)

    Source: ISO 5167-2:2003, 5.3.2.1. L1, L2: distances of the taps from the plate over D, 0
    for corner, 1 and 0.47 for D and D/2, 25.4 mm / D for flange taps. Below the least
    Reynolds number of any plate, 5000, C is held.
    """
    b = np.asarray(beta, dtype=np.float64)
    re = np.maximum(reynolds, _LEAST_REYNOLDS)
    ahead, behind = _distances(taps, pipe_bore)
    a = (19_000 * b / re) ** 0.8
    m = 2 * behind / (1 - b)
    upstream = 0.043 + 0.080 * np.exp(-10 * ahead) - 0.123 * np.exp(-7 * ahead)
    small: Array = np.maximum(2.8 - pipe_bore / INCH_M, 0.0)
    total: Array = (
        0.5961
        + 0.0261 * b**2
        - 0.216 * b**8
        + 0.000521 * (1e6 * b / re) ** 0.7
        + (0.0188 + 0.0063 * a) * b**3.5 * (1e6 / re) ** 0.3
        + upstream * (1 - 0.11 * a) * b**4 / (1 - b**4)
        - 0.031 * (m - 0.8 * m**1.1) * b**1.3
        + 0.011 * (0.75 - b) * small
    )
    return total


def _distances(taps: Taps, pipe_bore: Values) -> tuple[Array, Array]:
    bore = np.asarray(pipe_bore, dtype=np.float64)
    if taps is Taps.FLANGE:
        return INCH_M / bore, INCH_M / bore
    ahead, behind = (1.0, 0.47) if taps is Taps.D_AND_HALF_D else (0.0, 0.0)
    return np.full_like(bore, ahead), np.full_like(bore, behind)


def least_reynolds(beta: Values, pipe_bore: Values, taps: Taps) -> Array:
    """The Re_D from which on C is stated.

    Source: ISO 5167-2:2003, 5.3.1: 5000, and for beta > 0.56 16000 beta^2; with flange taps
    5000 and 170 beta^2 D/mm. The limits agree with the documentation of the library fluids.
    """
    if taps is Taps.FLANGE:
        bound = 170_000 * np.square(beta) * pipe_bore
    else:
        bound = np.where(np.asarray(beta) > 0.56, 16_000 * np.square(beta), 0.0)
    return np.maximum(bound, _LEAST_REYNOLDS)


def coefficient_uncertainty(beta: Values, reynolds: Values, pipe_bore: Values, taps: Taps) -> Array:
    """Relative expanded uncertainty (95 %) of C; NaN below the least Reynolds number.

    (0.7 - beta) % for beta < 0.2, 0.5 % up to 0.6, (1.667 beta - 0.5) % above; added to it
    0.9 (0.75 - beta)(2.8 - D/25.4 mm) % for D < 71.12 mm, and 0.5 % for beta > 0.5 with
    Re_D < 10000. Source: ISO 5167-2:2003, 5.3.3.1.
    """
    b = np.asarray(beta, dtype=np.float64)
    percent = np.where(b < 0.2, 0.7 - b, np.where(b <= 0.6, 0.5, 1.667 * b - 0.5))
    percent = percent + 0.9 * (0.75 - b) * np.maximum(2.8 - pipe_bore / INCH_M, 0.0)
    percent = percent + np.where((b > 0.5) & (np.asarray(reynolds) < 1e4), 0.5, 0.0)
    return np.where(reynolds >= least_reynolds(beta, pipe_bore, taps), percent / 100, np.nan)


def expansibility(
    pressure_ratio: Values,
    beta: Values,
    isentropic_exponent: Values = air.ISENTROPIC_EXPONENT,
) -> Array:
    """Expansibility factor: 1 - (0.351 + 0.256 beta^4 + 0.93 beta^8)(1 - tau^(1/kappa)).

    Source: ISO 5167-2:2003, 5.3.2.2, an empirical fit, stated for tau >= 0.75; computed from
    0 to 1, NaN elsewhere. A jet that spreads freely expands less than in a nozzle.
    """
    tau = np.asarray(pressure_ratio, dtype=np.float64)
    tau = np.where((tau > 0) & (tau <= 1), tau, np.nan)
    b4 = np.asarray(beta, dtype=np.float64) ** 4
    lost: Array = 1 - np.power(tau, 1 / np.asarray(isentropic_exponent))
    return 1 - (0.351 + 0.256 * b4 + 0.93 * b4**2) * lost


def expansibility_uncertainty(
    differential_pressure: Values, upstream_pressure: Values, _beta: Values
) -> Array:
    """Relative expanded uncertainty (95 %) of the expansibility: 3.5 dp/(kappa p1) %.

    Source: ISO 5167-2:2003, 5.3.3.2 (3.5 % dp/(kappa p1), kappa from memory), for air.
    """
    dp = np.abs(np.asarray(differential_pressure, dtype=np.float64))
    return 0.035 * dp / (air.ISENTROPIC_EXPONENT * upstream_pressure)


def pressure_loss(beta: Values, coefficient: Values) -> Array:
    """What an orifice plate or a nozzle without diffuser costs for good, over dp.

    (s - C beta^2) / (s + C beta^2) with s = sqrt(1 - beta^4 (1 - C^2)).
    Source: ISO 5167-2:2003, 5.4.1, equation 7, approximate; for ISA 1932 and long radius
    nozzles the same in ISO 5167-3:2003.
    """
    b2 = np.square(beta)
    s = np.sqrt(1 - b2**2 * (1 - np.square(coefficient)))
    loss: Array = (s - coefficient * b2) / (s + coefficient * b2)
    return loss

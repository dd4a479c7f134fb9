"""Nozzles of ISO 5167-3 in a pipe: ISA 1932, long radius, and the Venturi nozzle.

C is a function of beta = d/D and Re_D; all broadcast. The expansibility is that of a Venturi
tube. Below the least Reynolds number C is held, and its uncertainty is NaN.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from pullcurve.physics.air import Array, Values

LONG_RADIUS_LEAST_REYNOLDS: Final = 1e4
VENTURI_NOZZLE_LEAST_REYNOLDS: Final = 1.5e5


def isa_1932_coefficient(beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Discharge coefficient of an ISA 1932 nozzle.

    C = 0.9900 - 0.2262 beta^4.1 - (0.00175 beta^2 - 0.0033 beta^4.15) (1e6/Re_D)^1.15

    Source: ISO 5167-3:2003, 5.1.6.2 (clause from memory).
    """
    b = np.asarray(beta, dtype=np.float64)
    re = np.maximum(reynolds, isa_1932_least_reynolds(b))
    total: Array = (
        0.9900 - 0.2262 * b**4.1 - (0.00175 * b**2 - 0.0033 * b**4.15) * (1e6 / re) ** 1.15
    )
    return total


def isa_1932_least_reynolds(beta: Values) -> Array:
    """The Re_D from which on C is stated: 7e4, and 2e4 for beta >= 0.44.

    Source: ISO 5167-3:2003, 5.1.6.1, from memory; the annex's table starts at beta = 0.44.
    """
    return np.where(np.asarray(beta) < 0.44, 7e4, 2e4)


def isa_1932_uncertainty(beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Relative expanded uncertainty (95 %) of C: 0.8 %, and (2 beta - 0.4) % for beta > 0.6.

    Source: ISO 5167-3:2003, 5.1.7.1, from memory.
    """
    percent = np.maximum(0.8, 2 * np.asarray(beta) - 0.4)
    return np.where(reynolds >= isa_1932_least_reynolds(beta), percent / 100, np.nan)


def long_radius_coefficient(beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Discharge coefficient of a long radius nozzle: C = 0.9965 - 0.00653 sqrt(1e6 beta/Re_D).

    Source: ISO 5167-3:2003, 5.2.6.2 (clause from memory).
    """
    re = np.maximum(reynolds, LONG_RADIUS_LEAST_REYNOLDS)
    return 0.9965 - 0.00653 * np.sqrt(1e6 * np.asarray(beta) / re)


def long_radius_uncertainty(_beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Relative expanded uncertainty (95 %) of C: 2 %. ISO 5167-3:2003, 5.2.7.1, from memory."""
    return np.where(np.asarray(reynolds) >= LONG_RADIUS_LEAST_REYNOLDS, 0.02, np.nan)


def venturi_nozzle_coefficient(beta: Values, _reynolds: Values, _pipe_bore: Values) -> Array:
    """Discharge coefficient of a Venturi nozzle: C = 0.9858 - 0.196 beta^4.5.

    Source: ISO 5167-3:2003, 5.3.4.2 (clause from memory).
    """
    return 0.9858 - 0.196 * np.asarray(beta, dtype=np.float64) ** 4.5


def venturi_nozzle_uncertainty(beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Relative expanded uncertainty (95 %) of C: (1.2 + 1.5 beta^4) %.

    Source: ISO 5167-3:2003, 5.3.5.1, from memory.
    """
    relative = 0.012 + 0.015 * np.asarray(beta, dtype=np.float64) ** 4
    return np.where(np.asarray(reynolds) >= VENTURI_NOZZLE_LEAST_REYNOLDS, relative, np.nan)


def expansibility_uncertainty(
    differential_pressure: Values, upstream_pressure: Values, _beta: Values
) -> Array:
    """Relative expanded uncertainty (95 %) of a nozzle's expansibility: 2 dp/p1 %.

    Source: ISO 5167-3:2003, 5.1.7.2 and 5.2.7.2, from memory.
    """
    dp = np.abs(np.asarray(differential_pressure, dtype=np.float64))
    return 0.02 * dp / upstream_pressure

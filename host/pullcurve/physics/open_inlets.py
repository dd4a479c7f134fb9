"""Inlets that draw from the open, their throat tap read against the room: beta = 0.

There is no pipe ahead and no velocity of approach; the upstream state is the open air's.
Coefficients are functions of the throat's Reynolds number Re_d; below the least one they are
held, and their uncertainty is NaN. The first and last argument of each function, beta and
the pipe's bore, are there for the signature that all elements share.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from pullcurve.physics.air import Array, Values

BELLMOUTH_LEAST_REYNOLDS: Final = 12_000.0
CONICAL_LEAST_REYNOLDS: Final = 2e4
CONICAL_MOST_PRESSURE: Final = 2000.0  # Pa


def bellmouth_coefficient(_beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Discharge coefficient of a bellmouth: C = 0.9986 - 7.006/sqrt(Re_d) + 134.6/Re_d.

    Source: ANSI/AMCA 210, nozzles with elliptical entry in a chamber's wall and a throat 0.6 d
    long, from memory, least Re_d too. Other smooth shapes lie near it.
    """
    re = np.maximum(reynolds, BELLMOUTH_LEAST_REYNOLDS)
    return 0.9986 - 7.006 / np.sqrt(re) + 134.6 / re


def bellmouth_uncertainty(_beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Relative expanded uncertainty (95 %) of C: 2 %.

    Judgement, not a standard: the same as a long radius nozzle's in ISO 5167-3, for a
    bellmouth whose shape and tap were made with the same care.
    """
    return np.where(np.asarray(reynolds) >= BELLMOUTH_LEAST_REYNOLDS, 0.02, np.nan)


def conical_coefficient(_beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Compound coefficient alpha epsilon of a conical inlet: 1 - 0.5 Re_d^-0.2, at most 0.96.

    Source: ISO 5801, conical inlet, from memory. It holds the expansibility too, for
    dp <= 2000 Pa. The standard changes over to 0.96 at Re_d = 3e5, where the two differ by
    1.4e-4; here they change over where they meet, at 3.05e5.
    """
    re = np.maximum(reynolds, CONICAL_LEAST_REYNOLDS)
    return np.minimum(1 - 0.5 * np.power(re, -0.2), 0.96)


def conical_uncertainty(_beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
    """Relative expanded uncertainty (95 %): 1.5 % above Re_d = 3e5, 2 % down to 2e4.

    Source: ISO 5801, conical inlet, from memory.
    """
    re = np.asarray(reynolds)
    relative = np.where(re > 3e5, 0.015, 0.02)
    return np.where(re >= CONICAL_LEAST_REYNOLDS, relative, np.nan)


def conical_expansibility(
    pressure_ratio: Values, _beta: Values, _isentropic_exponent: Values
) -> Array:
    """1: the compound coefficient holds it already. NaN outside 0 < tau <= 1."""
    tau = np.asarray(pressure_ratio, dtype=np.float64)
    return np.where((tau > 0) & (tau <= 1), 1.0, np.nan)


def conical_expansibility_uncertainty(
    differential_pressure: Values, _upstream_pressure: Values, _beta: Values
) -> Array:
    """0: it is part of the compound coefficient's."""
    return np.zeros_like(np.asarray(differential_pressure, dtype=np.float64))

"""Run length to a false alarm of Page's cumulative sum, and the limit that gives one.

It is computed from the integral equation of the average run length L(s) from a starting
value s, for independent normal samples of unit variance, by Gauss-Legendre quadrature
(Nystroem's method): L(s) = 1 + integral of L(x) times the density of going from s to x.
Source: Page, Biometrika 41 (1954) 100-115; the method's use from memory, its results checked
against published tables in the tests.
"""

from math import exp, log, log1p, pi, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

NODES = 60

Array = NDArray[np.float64]


def cusum_run_length(k: float, h: float, shift: float = 0.0) -> float:
    """Samples until C = max(0, C' + z - k) passes h, from C = 0; z of mean `shift`, sd 1.

    All in standard deviations. The value 0 has a probability of its own, so it is a node of its
    own. Two sides: 1/L is the sum of both sides' 1/L.
    """
    x, w = np.polynomial.legendre.leggauss(NODES)
    x, w = h * (x + 1) / 2, w * h / 2
    starts = np.concatenate(([0.0], x))
    moved = x[None, :] - starts[:, None] + k - shift
    to_zero = ndtr(k - shift - starts)
    kernel = np.column_stack((to_zero, w * _density(moved)))
    return float(np.linalg.solve(np.eye(len(starts)) - kernel, np.ones(len(starts)))[0])


def cusum_limit(k: float, run_length: float) -> float:
    """The h with which one side of a cumulative sum has this run length without any shift.

    k from 0.1 to 2, run length above that of h = 0; ValueError elsewhere.
    """
    wanted = log(run_length)
    near = brentq(lambda h: _log_siegmund(k, h) - wanted, 0.0, 4 * wanted / k, rtol=1e-3)
    # Siegmund's formula is near; the exact equation does the rest.
    low, high = max(near - 1.5, 1e-3), near + 1.0
    return float(brentq(lambda h: cusum_run_length(k, h) / run_length - 1, low, high))


def _log_siegmund(k: float, h: float) -> float:
    """Logarithm of Siegmund's approximation (Sequential Analysis, 1985; from memory)."""
    reach = 2 * k * (h + 1.166)
    return reach + log1p(-(1 + reach) * exp(-reach)) - log(2 * k * k)


def _density(z: Array) -> Array:
    return np.asarray(np.exp(-(z**2) / 2) / sqrt(2 * pi))

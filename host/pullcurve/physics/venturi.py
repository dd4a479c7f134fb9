"""Venturi tubes: the expansibility, a tube with a stated C, and the three kinds of ISO 5167-4.

Symbols as in `flow_equation`. Everything broadcasts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from pullcurve.physics import air
from pullcurve.physics.air import Array, Values

# ISO 5167-4:2003, 5.6: the expansibility formula holds for p2/p1 of at least this.
LEAST_PRESSURE_RATIO: Final = 0.75

# The Re_D from which on C is stated, of all three kinds (ISO 5167-4:2003, 5.5).
LEAST_REYNOLDS: Final = 2e5


def expansibility(
    pressure_ratio: Values,
    beta: Values,
    isentropic_exponent: Values = air.ISENTROPIC_EXPONENT,
) -> Array:
    """Expansibility factor epsilon of Venturi tubes and nozzles, tau = p2/p1.

    epsilon^2 = kappa tau^(2/kappa) / (kappa-1) * (1-beta^4) / (1-beta^4 tau^(2/kappa))
                * (1-tau^((kappa-1)/kappa)) / (1-tau)

    Source: ISO 5167-4:2003, 5.6; the same in ISO 5167-3. It is the isentropic flow of a
    perfect gas, so 1 for tau = 1. Stated for tau >= 0.75; computed from 0 to 1, NaN elsewhere;
    below the critical ratio (about 0.53) the throat is choked and the result meaningless.
    beta = 0 is a nozzle that draws from the open. Never use it for an orifice.
    """
    tau = np.asarray(pressure_ratio, dtype=np.float64)
    x = 1 - np.where((tau > 0) & (tau <= 1), tau, np.nan)
    k = np.asarray(isentropic_exponent, dtype=np.float64)
    exponent = (k - 1) / k
    with np.errstate(invalid="ignore"):
        quotient = -np.expm1(exponent * np.log1p(-x)) / x
    # x is 0 at zero flow, where the quotient has the limit (kappa - 1) / kappa.
    quotient = np.where(x == 0, exponent, quotient)
    b4 = np.asarray(beta, dtype=np.float64) ** 4
    expanded: Array = np.power(1 - x, 2 / k)
    return np.sqrt(expanded / exponent * (1 - b4) / (1 - b4 * expanded) * quotient)


def expansibility_uncertainty(
    differential_pressure: Values, upstream_pressure: Values, beta: Values
) -> Array:
    """Relative expanded uncertainty (95 %) of the expansibility: (4 + 100 beta^8) % * dp/p1.

    Source: ISO 5167-4:2003, 5.8, from memory; the same for Venturi nozzles in ISO 5167-3.
    """
    dp = np.abs(np.asarray(differential_pressure, dtype=np.float64))
    return (0.04 + beta**8) * dp / upstream_pressure


@dataclass(frozen=True, eq=False)
class VenturiTube:
    """A Venturi tube with a discharge coefficient that may fall at low Reynolds numbers.

    C(Re_D) = discharge_coefficient * (1 - fall_per_halving * log2(fall_below / Re_D)) for
    Re_D < fall_below, constant above. The form follows the trend of the values in the
    informative annex B of ISO 5167-4:2003; fall_per_halving is a judgement (0 to about
    0.012 for a tube stated for Re_D >= 2e5), 0 by default. Below Re_D = 1e4 nothing is
    known and C is held.
    """

    pipe_bore: Values
    throat_bore: Values
    discharge_coefficient: Values
    fall_per_halving: Values = 0.0
    fall_below: float = LEAST_REYNOLDS

    def __post_init__(self) -> None:
        """Refuse bores that are no Venturi tube."""
        if not np.all((np.asarray(self.throat_bore) > 0) & (self.throat_bore < self.pipe_bore)):
            raise ValueError(
                f"the throat ({self.throat_bore} m) must be smaller than the pipe "
                f"({self.pipe_bore} m) and larger than nothing"
            )

    @property
    def beta(self) -> Values:
        """Diameter ratio d/D."""
        return self.throat_bore / self.pipe_bore

    @property
    def reynolds_bore(self) -> Values:
        """The pipe's bore."""
        return self.pipe_bore

    def coefficient(self, reynolds: Array) -> Values:
        """Discharge coefficient at Re_D."""
        halvings: Array = np.log2(np.maximum(self.fall_below / np.maximum(reynolds, 1e4), 1.0))
        return self.discharge_coefficient * (1 - self.fall_per_halving * halvings)

    def expansibility(self, pressure_ratio: Array, isentropic_exponent: Values) -> Array:
        """Expansibility factor at tau = p2/p1."""
        return expansibility(pressure_ratio, self.beta, isentropic_exponent)


class ClassicalVenturi(NamedTuple):
    """What ISO 5167-4 states of one kind: C and its uncertainty from Re_D = 2e5 on, and below.

    `low`: rows of Re_D, C and the uncertainty of C. Uncertainties are relative, 95 %.
    """

    discharge_coefficient: float
    uncertainty: float
    most_reynolds: float
    low: tuple[tuple[float, float, float], ...]

    def coefficient(self, _beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
        """Discharge coefficient at Re_D, straight between the rows over log Re_D.

        Source: ISO 5167-4:2003, 5.5, and annex B, informative, below its limit; joined at
        2e5, where annex B has a row of its own for the machined kind (0.992 for 0.995). Below
        the first row C is held.
        """
        rows = [*self.low, (LEAST_REYNOLDS, self.discharge_coefficient, self.uncertainty)]
        # Any flow but none has a logarithm; the ends of the table are held.
        logarithm = np.log(np.clip(reynolds, 1.0, 1e12))
        c: Array = np.interp(logarithm, [np.log(row[0]) for row in rows], [row[1] for row in rows])
        return c

    def coefficient_uncertainty(self, _beta: Values, reynolds: Values, _pipe_bore: Values) -> Array:
        """Relative expanded uncertainty (95 %) of C; between two rows the lower one's.

        NaN below annex B and above the greatest Re_D. Source: ISO 5167-4:2003, 5.7 and annex
        B, from memory.
        """
        re = np.asarray(reynolds, dtype=np.float64)
        rows = [*self.low, (LEAST_REYNOLDS, self.discharge_coefficient, self.uncertainty)]
        relative = np.full_like(re, np.nan)
        for least, _, uncertainty in rows:
            relative = np.where(re >= least, uncertainty, relative)
        return np.where(re <= self.most_reynolds, relative, np.nan)


# The coefficients agree with public implementations of the standard, annex B's too, in which
# the library fluids writes 4E5 for the first as-cast 4e4. Uncertainties are from memory.
AS_CAST: Final = ClassicalVenturi(
    0.984,
    0.007,
    2e6,
    ((4e4, 0.957, 0.025), (6e4, 0.966, 0.020), (1e5, 0.976, 0.015), (1.5e5, 0.982, 0.010)),
)
MACHINED: Final = ClassicalVenturi(
    0.995,
    0.010,
    1e6,
    ((5e4, 0.970, 0.030), (1e5, 0.977, 0.025)),
)
ROUGH_WELDED: Final = ClassicalVenturi(
    0.985,
    0.015,
    2e6,
    ((4e4, 0.960, 0.030), (6e4, 0.970, 0.025), (1e5, 0.980, 0.025)),
)

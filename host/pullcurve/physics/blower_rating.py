"""A blower's data sheet fitted to the law of slip, and moved to another state with its doubt.

The sheet's law is Q1 = V_d (N - S1 M) / 60 with M of `blower.slip_multiple` at the sheet's
pressures; four unknowns, V_d in m³, S1 in rev/min, laminar share a, and the back-pressure b in
Pa that the sheet's outlet had above its reference pressure. Flows are actual flows at the
blower's inlet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pullcurve.physics import air, blower
from pullcurve.physics.air import Array, Values
from pullcurve.physics.blower import SLIP_TEMPERATURE, slip_multiple

# What is known of S1 without a sheet that tells: 80 to 200 rev/min for small fast blowers,
# 20 to 60 for large slow ones (judgement). Here over the sheet's fastest speed.
SLIP_SHARE: Final = 0.035
_SLIP_DOUBT: Final = 0.6  # standard uncertainty of its logarithm

# A share of laminar slip is sought only with so many vacua at one speed.
_LEAST_VACUA: Final = 3
_VARIANCE_OF_A_STEP: Final = 1 / 12  # of the rounding of a figure, in steps squared
# Of the unknowns ln V_d, ln S1, a and b.
_LEAST: Final = np.array([-np.inf, -np.inf, 0.0, 0.0])
_SCALE: Final = np.array([1.0, 1.0, 0.1, 1000.0])
_TOLERANCES: Final = {"ftol": 1e-12, "xtol": 1e-12, "gtol": 1e-12}


class Estimate(NamedTuple):
    """A value and its standard uncertainty; an uncertainty of 0 is a value that is fixed."""

    value: float
    standard_uncertainty: float = 0.0


NO_BACK_PRESSURE: Final = Estimate(0.0)
LAMINAR_DOUBT: Final = Estimate(0.0, 0.15)  # judgement; a share is never negative


@dataclass(frozen=True, eq=False)
class Prediction:
    """What a blower like the sheet's takes in; arrays of one shape."""

    inlet_flow: Array  # m³/s, actual, at the blower's inlet
    slip_rpm: Array
    standard_uncertainty: Array  # m³/s; of the sheet's rounding and of the law, not of the machine


@dataclass(frozen=True, eq=False)
class RatingFit:
    """A sheet's four figures, their covariance in that order, and how well the law fits."""

    displacement: float  # V_d, m³ a turn
    slip_rpm_at_1_psi: float  # S1
    laminar_share: float  # a
    back_pressure: float  # b, Pa
    covariance: Array  # (4, 4)
    residuals: Array  # sheet less law, m³/s, a row each
    lack_of_fit: float  # standard deviation of the law against the sheet beyond rounding, m³/s
    laminar_sought: bool  # False: the sheet cannot tell, the share's doubt is in the covariance

    def at(
        self,
        speed_rpm: Values,
        inlet_pressure: Values,
        outlet_pressure: Values,
        temperature: Values = SLIP_TEMPERATURE,
        mass_ratio: Values = 1.0,
    ) -> Prediction:
        """Predict the blower at another speed and state.

        Parameters
        ----------
        speed_rpm : rev/min
        inlet_pressure, outlet_pressure : Pa
        temperature : K
            At the inlet.
        mass_ratio : fraction
            Density of the gas over that of dry air.

        Returns
        -------
        Prediction
            The uncertainty comes from the covariance by the law of propagation (JCGM 100:2008,
            5.2.2) and from the law's lack of fit. It says how well the sheet is known, not how
            near to its sheet a blower is built.
        """
        n, p1 = np.asarray(speed_rpm, dtype=np.float64), np.asarray(inlet_pressure)
        arguments = (p1, outlet_pressure, temperature, mass_ratio)
        multiple = slip_multiple(*arguments, laminar_share=self.laminar_share)
        by_share = slip_multiple(*arguments, laminar_share=1.0) - slip_multiple(*arguments)
        v, s = self.displacement, self.slip_rpm_at_1_psi
        slip = s * multiple
        flow = blower.inlet_flow(v, n, slip)
        gradient = np.stack(
            np.broadcast_arrays((n - slip) / 60, -v * multiple / 60, -v * s * by_share / 60, 0.0)
        )
        variance = np.einsum("i...,ij,j...->...", gradient, self.covariance, gradient)
        return Prediction(*np.broadcast_arrays(flow, slip, np.sqrt(variance + self.lack_of_fit**2)))


@dataclass(frozen=True, eq=False)
class _Sheet:
    """A sheet's cells and its own air; the unknowns are ln V_d, ln S1, a and b."""

    speed_rpm: Array
    vacuum: Array
    inlet_flow: Array
    pressure: float
    temperature: float

    @property
    def inlet_pressure(self) -> Array:
        return self.pressure - self.vacuum

    @property
    def vacua(self) -> int:
        """Most vacua at one speed."""
        speed, vacuum = self.speed_rpm, self.vacuum
        return max(len(np.unique(vacuum[speed == one])) for one in np.unique(speed))

    def law(self, unknown: Array) -> Array:
        """Inlet flow of every cell in m³/s."""
        outlet = self.pressure + unknown[3]
        multiple = slip_multiple(self.inlet_pressure, outlet, self.temperature, 1.0, unknown[2])
        return blower.inlet_flow(np.exp(unknown[0]), self.speed_rpm, np.exp(unknown[1]) * multiple)


@dataclass(frozen=True, eq=False)
class _Known:
    """What is known of the unknowns beforehand, and which of them the sheet may move."""

    prior: Array
    doubt: Array  # standard uncertainty of each; infinite where nothing is known
    free: NDArray[np.bool_]


def fit_rating(
    speed_rpm: Values,
    vacuum: Values,
    inlet_flow: Values,
    *,
    rounding: float,
    reference_pressure: float = air.STANDARD_PRESSURE,
    reference_temperature: float = SLIP_TEMPERATURE,
    displacement: Estimate | None = None,
    back_pressure: Estimate = NO_BACK_PRESSURE,
    laminar_share: Estimate = LAMINAR_DOUBT,
) -> RatingFit:
    """Fit the law of slip to a sheet's cells, by least squares.

    Parameters
    ----------
    speed_rpm : rev/min
        A value a cell, as the two that follow.
    vacuum : Pa
        Below the reference pressure.
    inlet_flow : m³/s
        Actual, at the blower's inlet.
    rounding : m³/s
        Step of the sheet's figures; 5 cfm is usual.
    reference_pressure, reference_temperature : Pa, K
        The sheet's own air.
    displacement, back_pressure, laminar_share : Estimate
        What is known otherwise, in m³ a turn, Pa and as a fraction. Each with a standard
        uncertainty above 0 is moved by the sheet as far as the sheet can tell. Of the slip speed
        SLIP_SHARE is always known, so that one cell is enough; the doubt is then great.

    Returns
    -------
    RatingFit

    Raises
    ------
    ValueError
        With a sentence, for cells that are no rating.

    Notes
    -----
    A scatter beyond the rounding widens everything (JCGM 100:2008, H.3). The laminar share is
    sought only where three vacua or more stand at one speed; elsewhere it stays at its value
    and its doubt is carried. Neither a share nor a back-pressure is negative.
    """
    columns = np.broadcast_arrays(speed_rpm, vacuum, inlet_flow)
    n, vac, q = (np.atleast_1d(column).astype(np.float64).ravel() for column in columns)
    _check(n, vac, q, rounding, reference_pressure)
    sheet = _Sheet(n, vac, q, reference_pressure, reference_temperature)
    known = _known(sheet, displacement, back_pressure, laminar_share)
    sd = rounding * np.sqrt(_VARIANCE_OF_A_STEP)
    unknown, jacobian = _solve(sheet, known, sd)
    spare = len(q) - int(known.free.sum()) + int(displacement is not None)
    if spare > 0:
        scatter = float(np.sqrt(np.sum((sheet.law(unknown) - q) ** 2) / spare))
        if scatter > sd:
            unknown, jacobian = _solve(sheet, known, scatter)
    else:
        scatter = sd
    wider = max(scatter, sd)
    size = np.array([np.exp(unknown[0]), np.exp(unknown[1]), 1.0, 1.0])
    covariance = _covariance(sheet, known, unknown, jacobian, wider)
    return RatingFit(
        displacement=float(size[0]),
        slip_rpm_at_1_psi=float(size[1]),
        laminar_share=float(unknown[2]),
        back_pressure=float(unknown[3]),
        covariance=covariance * np.outer(size, size),
        residuals=q - sheet.law(unknown),
        lack_of_fit=float(np.sqrt(wider**2 - sd**2)),
        laminar_sought=bool(known.free[2]),
    )


def _known(
    sheet: _Sheet,
    displacement: Estimate | None,
    back_pressure: Estimate,
    laminar_share: Estimate,
) -> _Known:
    speed, flow = sheet.speed_rpm, sheet.inlet_flow
    turn = displacement.value if displacement else float(1.05 * np.max(60 * flow / speed))
    # Figures on a sheet are rounded: no displacement is exact.
    turn_u = max(displacement.standard_uncertainty / turn, 1e-4) if displacement else np.inf
    estimates = (laminar_share, back_pressure)
    doubt = np.array([turn_u, _SLIP_DOUBT, *(each.standard_uncertainty for each in estimates)])
    return _Known(
        prior=np.array(
            [np.log(turn), np.log(SLIP_SHARE * speed.max()), *(each.value for each in estimates)]
        ),
        doubt=doubt,
        free=(doubt > 0) & [True, True, sheet.vacua >= _LEAST_VACUA, True],
    )


def _solve(sheet: _Sheet, known: _Known, sd: float) -> tuple[Array, Array]:
    """The unknowns, and the misfit's slopes with those that are free; sd: of a cell, m³/s."""
    free, prior, doubt = known.free, known.prior, known.doubt

    def misfit(x: Array) -> Array:
        unknown = prior.copy()
        unknown[free] = x
        cells = (sheet.law(unknown) - sheet.inlet_flow) / sd
        return np.concatenate([cells, (x - prior[free]) / doubt[free]])

    away = [0.0, 0.0, doubt[2] / 2, doubt[3] / 2]  # the root has no slope at its bound
    found = least_squares(
        misfit,
        (prior + away)[free],
        bounds=(_LEAST[free], np.inf),
        x_scale=_SCALE[free],
        **_TOLERANCES,
    )
    unknown = prior.copy()
    unknown[free] = found.x
    return unknown, found.jac


def _covariance(sheet: _Sheet, known: _Known, unknown: Array, jacobian: Array, sd: float) -> Array:
    """Of all four unknowns; of a laminar share that was not sought the doubt is carried: it moves
    the others as the fit would follow."""
    free = known.free
    inside = np.linalg.inv(jacobian.T @ jacobian)
    covariance = np.zeros((4, 4))
    covariance[np.ix_(free, free)] = inside
    if not free[2] and known.doubt[2] > 0:
        slope = (sheet.law(unknown + np.eye(4)[2]) - sheet.law(unknown)) / sd  # linear
        moves = np.zeros(4)
        moves[free] = -inside @ jacobian[: len(slope)].T @ slope
        moves[2] = 1.0
        covariance += np.outer(moves, moves) * known.doubt[2] ** 2
    return covariance


def _check(
    speed: Array, vacuum: Array, flow: Array, rounding: float, reference_pressure: float
) -> None:
    """Refuse cells that are no rating, with the first of them by its number."""
    good = (speed > 0) & (flow > 0) & (vacuum >= 0) & (vacuum < reference_pressure)
    if len(flow) == 0:
        raise ValueError("a rating needs at least one cell")
    if not good.all():
        raise ValueError(
            f"row {int(np.argmin(good)) + 1} of the rating is none: speed and flow must be "
            f"above 0, and the vacuum from 0 to below the sheet's {reference_pressure:.0f} Pa"
        )
    if not rounding > 0:
        raise ValueError("the step that the sheet's flows are rounded to must be above 0")

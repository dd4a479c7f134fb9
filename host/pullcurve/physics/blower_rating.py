"""A blower's data sheet fitted to the law of slip, and moved to another state with its doubt.

The sheet's law is Q1 = V_d (N - S1 M) / 60 with M of `blower.slip_multiple` at the sheet's
pressures; four unknowns, V_d in m³, S1 in rev/min, laminar share a, and the back-pressure b in
Pa that the sheet's outlet had above its reference pressure. Flows are actual flows at the
blower's inlet: a sheet of free air goes through `blower.inlet_flow_of_free_air` first.
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
    acceptance_tolerance: Array  # m³/s, a limit: what a new blower may differ from its sheet
    beyond_sheet: NDArray[np.bool_]  # faster, or at a greater pressure ratio, than any cell


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
    most_speed_rpm: float
    most_ratio: float

    @property
    def residual(self) -> float:
        """Root of the mean square of the residuals, m³/s."""
        return float(np.sqrt(np.mean(self.residuals**2)))

    def at(
        self,
        speed_rpm: Values,
        inlet_pressure: Values,
        outlet_pressure: Values,
        temperature: Values = SLIP_TEMPERATURE,
        mass_ratio: Values = 1.0,
    ) -> Prediction:
        """The blower at another speed and state; pressures in Pa, inlet temperature in K.

        The uncertainty comes from the covariance by the law of propagation (JCGM 100:2008,
        5.2.2) and from the law's lack of fit. It says how well the sheet is known, not how
        near to its sheet a blower is built: see `acceptance_tolerance`.
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
        beyond = (n > self.most_speed_rpm) | (outlet_pressure / p1 > self.most_ratio * (1 + 1e-9))
        return Prediction(
            *np.broadcast_arrays(
                flow,
                slip,
                np.sqrt(variance + self.lack_of_fit**2),
                blower.acceptance_tolerance(flow) * np.abs(flow),
                beyond,
            )
        )


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
    """The law of slip that fits a sheet's cells best, by least squares.

    speed_rpm, vacuum (Pa below the reference pressure), inlet_flow (m³/s, actual): a cell each.
    rounding: the step of the sheet's figures in m³/s (5 cfm is usual). `displacement`,
    `back_pressure` and `laminar_share` are what is known otherwise; each with a standard
    uncertainty above 0 is moved by the sheet as far as the sheet can tell. Of the slip speed
    the judgement above is always known, so that one cell is enough; the doubt is then great.

    A scatter beyond the rounding widens everything (JCGM 100:2008, H.3). The laminar share is
    sought only where three vacua or more stand at one speed; elsewhere it stays at its value
    and its doubt is carried. ValueError with a sentence for cells that are no rating.
    """
    n, vac, q = (
        np.atleast_1d(column).astype(np.float64).ravel()
        for column in np.broadcast_arrays(speed_rpm, vacuum, inlet_flow)
    )
    _check(n, vac, q, rounding, reference_pressure)
    p1 = reference_pressure - vac
    sought = laminar_share.standard_uncertainty > 0 and _most_vacua(n, vac) >= _LEAST_VACUA
    prior = np.array(
        [
            np.log(displacement.value if displacement else _rough_displacement(n, q)),
            np.log(SLIP_SHARE * n.max()),
            laminar_share.value,
            back_pressure.value,
        ]
    )
    doubt = np.array(
        [
            # Figures on a sheet are rounded: no displacement is exact.
            max(displacement.standard_uncertainty / displacement.value, 1e-4)
            if displacement
            else np.inf,
            _SLIP_DOUBT,
            laminar_share.standard_uncertainty,
            back_pressure.standard_uncertainty,
        ]
    )
    free = doubt > 0
    free[2] &= sought
    scale = np.array([1.0, 1.0, 0.1, 1000.0])  # the unknowns' own size
    away = np.array([0.0, 0.0, doubt[2] / 2, doubt[3] / 2])  # the root has no slope at its bound

    def law(unknown: Array) -> Array:
        multiple = slip_multiple(
            p1, reference_pressure + unknown[3], reference_temperature, 1.0, unknown[2]
        )
        return blower.inlet_flow(np.exp(unknown[0]), n, np.exp(unknown[1]) * multiple)

    def solve(sd: float, moved: NDArray[np.bool_]) -> Array:
        def misfit(x: Array) -> Array:
            unknown = prior.copy()
            unknown[moved] = x * scale[moved]
            known = (unknown - prior)[moved] / doubt[moved]
            return np.concatenate([(law(unknown) - q) / sd, known])

        unknown = prior.copy()
        start = (prior + away)[moved] / scale[moved]
        unknown[moved] = scale[moved] * least_squares(misfit, start).x
        return unknown

    def solve_within_bounds(sd: float) -> Array:
        """Neither a share nor a back-pressure is negative."""
        moved = free.copy()
        unknown = solve(sd, moved)
        while np.any(unknown[2:][moved[2:]] < 0):
            worst = 2 + int(np.argmin(np.where(moved[2:], unknown[2:] / scale[2:], np.inf)))
            moved[worst], prior[worst] = False, 0.0
            unknown = solve(sd, moved)
        return unknown

    sd = rounding * np.sqrt(_VARIANCE_OF_A_STEP)
    unknown = solve_within_bounds(sd)
    spare = len(q) - int(free.sum()) + int(displacement is not None)
    if spare > 0:
        scatter = np.sqrt(np.sum((law(unknown) - q) ** 2) / spare)
        if scatter > sd:
            unknown = solve_within_bounds(scatter)
    else:
        scatter = sd
    wider = max(scatter, sd)

    step = 1e-5 * scale
    slopes = np.stack(
        [
            (law(unknown + h * row) - law(unknown - h * row)) / (2 * h)
            for h, row in zip(step, np.eye(4), strict=True)
        ],
        axis=1,
    )
    size = np.array([np.exp(unknown[0]), np.exp(unknown[1]), 1.0, 1.0])
    covariance: Array = _covariance(slopes / wider, doubt, free) * np.outer(size, size)
    return RatingFit(
        displacement=float(size[0]),
        slip_rpm_at_1_psi=float(size[1]),
        laminar_share=float(unknown[2]),
        back_pressure=float(unknown[3]),
        covariance=covariance,
        residuals=q - law(unknown),
        lack_of_fit=float(np.sqrt(wider**2 - sd**2)),
        laminar_sought=bool(sought),
        most_speed_rpm=float(n.max()),
        most_ratio=float(np.max((reference_pressure + unknown[3]) / p1)),
    )


def _covariance(slopes: Array, doubt: Array, free: NDArray[np.bool_]) -> Array:
    """Of all four unknowns, from the cells' slopes over their standard deviation.

    Of what was not sought, the doubt is carried: it moves the others as the fit would follow.
    """
    inverse = 1 / doubt[free] ** 2
    inside = np.linalg.inv(slopes[:, free].T @ slopes[:, free] + np.diag(inverse))
    covariance = np.zeros((4, 4))
    covariance[np.ix_(free, free)] = inside
    for index in np.flatnonzero(~free & (doubt > 0)):
        moves = np.zeros(4)
        moves[free] = -inside @ slopes[:, free].T @ slopes[:, index]
        moves[index] = 1.0
        covariance += np.outer(moves, moves) * doubt[index] ** 2
    return covariance


def _rough_displacement(speed: Array, flow: Array) -> float:
    return float(1.05 * np.max(60 * flow / speed))


def _most_vacua(speed: Array, vacuum: Array) -> int:
    return max(len(np.unique(vacuum[speed == one])) for one in np.unique(speed))


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

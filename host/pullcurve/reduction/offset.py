"""An offset of the differential pressure that the points of a sweep betray.

On one path the blower's intake follows its speed nearly in proportion, so the differential
pressure goes with N^2 p_inlet^2 / p_tap: mass is intake times the density at the inlet, and the
differential pressure goes with mass squared over the density at the tap. Slip that is not in
proportion and a filter's linear loss bend that by some per cent; an offset does not fit, nor one
that comes between two holds.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEAST_SPEEDS, APART = 4, 0.03  # that differ by so much of the greatest
LEAST_RANGE = 1.3  # of speed, from slowest to fastest
# Of the differential pressure at the top, one standard deviation (judgement): where the pressure
# at the blower's inlet was measured, and where it was modelled.
BEND_MEASURED, BEND_MODELLED = 0.05, 0.08
LIKENESS = 0.006  # relative standard deviation about the curve of a path that stays the same
SAME_PATH = 2.5  # standard deviations from the curve, root mean square
STEP_WORTH = 25.0  # by which a step must lessen the sum of squares, beside any other reading
LEAST_BESIDE = 2  # points on either side of a step

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Offset:
    """An offset with its standard uncertainty; `step` when it came between two points."""

    pa: float
    u_pa: float
    step: bool = False


def distinct_speeds(speed_rpm: Array) -> int:
    """How many speeds there are that lie apart."""
    if not len(speed_rpm):
        return 0
    return 1 + int((np.diff(np.sort(speed_rpm)) > APART * speed_rpm.max()).sum())


def fitted_offset(
    speed_rpm: Array, pressure_pa: Array, scatter_pa: Array, thinning: Array, bend: float
) -> Offset | None:
    """The offset of the points of one sweep, in the order of time; None where they do not tell.

    thinning: p_inlet^2 / p_tap at each point, in any unit. The curve is
    a x (1 + b x) + c with x = N^2 thinning, 1 at the top, by weighted least squares; b is held
    near 0 by `bend`, its standard deviation, as a further observation. A step is an offset of
    the later points alone; it must fit better than a change of the path at any time, which is
    one of a.
    """
    if distinct_speeds(speed_rpm) < LEAST_SPEEDS or speed_rpm.max() < LEAST_RANGE * speed_rpm.min():
        return None
    x = speed_rpm**2 * thinning
    x = x / x.max()
    top = float(pressure_pa[np.argmax(x)])
    if top <= 0:
        return None
    sigma = np.hypot(LIKENESS * np.abs(pressure_pa), scatter_pa)
    observed = np.append(pressure_pa / sigma, 0.0)

    def fit(*more: Array) -> tuple[Array, Array, float]:
        """Solution, its covariance, and the sum of squares left, with further columns."""
        rows = np.column_stack([x, x**2, *more]) / sigma[:, None]
        prior = np.zeros(rows.shape[1])
        prior[1] = 1 / (bend * top)
        design = np.vstack((rows, prior))
        solution, *_ = np.linalg.lstsq(design, observed, rcond=None)
        left = observed - design @ solution
        covariance = np.asarray(np.linalg.pinv(design.T @ design), dtype=np.float64)
        return np.asarray(solution, dtype=np.float64), covariance, float(left @ left)

    solution, covariance, left = fit(np.ones_like(x))
    best: Offset | None = None
    if np.sqrt(left / len(x)) <= SAME_PATH:
        best = Offset(float(solution[2]), float(np.sqrt(covariance[2, 2])))
    places = range(LEAST_BESIDE, len(x) - LEAST_BESIDE + 1)
    after = [(np.arange(len(x)) >= place).astype(np.float64) for place in places]
    changed_left = min((fit(later * x)[2] for later in after), default=np.inf)
    steps = [fit(later) for later in after]
    if steps:
        stepped, stepped_covariance, stepped_left = min(steps, key=lambda step: step[2])
        if min(left, changed_left) - stepped_left > STEP_WORTH:
            u_pa = float(np.sqrt(stepped_covariance[2, 2]))
            return Offset(float(stepped[2]), u_pa, step=True)
    return best

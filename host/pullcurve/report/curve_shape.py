"""How flow follows speed: the straight line through the settled points, and any bend in it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

# Below this a bend can be the meter's own: its discharge coefficient may slope by about 1 %
# (95 %) over a sweep's Reynolds numbers (judgement).
LEAST_BEND = 0.01
_ONE_SPEED = 0.02


@dataclass(frozen=True)
class CurveShape:
    """Straight line by least squares, and the departures from it, as fractions of the top flow."""

    slope: float
    intercept: float
    departure: float
    bend: float
    bend_u95: float
    verdict: Literal["straight", "flattens", "steepens", "open"]


def curve_shape(speed: NDArray[np.float64], flow: NDArray[np.float64]) -> CurveShape | None:
    """The shape of flow against speed, None where all speeds are within 2 % of the highest.

    speed: any unit, shape (n,); flow: any unit, shape (n,), highest above 0.
    The line is an unweighted least-squares fit. `departure` is the largest distance of a point
    from it. `bend` is c of a + b x + c x², x running from -1 to 1 over the speeds, so how far the
    curve's middle lies below (positive) or above (negative) its chord. Its interval is Student's,
    from the scatter about the parabola (n - 3 degrees of freedom): what all points share, such as
    the discharge coefficient, does not bend the curve. It takes five points at three speeds;
    with fewer the verdict is `open`. A bend is named when its interval excludes zero and it
    exceeds LEAST_BEND.
    Source of the fit and its variances: Draper and Smith, Applied Regression Analysis
    (from memory).
    """
    low, high, top = float(speed.min()), float(speed.max()), float(flow.max())
    if high - low <= _ONE_SPEED * high or top <= 0:
        return None
    slope, intercept = (float(number) for number in np.polyfit(speed, flow, 1))
    departure = float(np.abs(flow - (slope * speed + intercept)).max()) / top
    x = (2 * speed - low - high) / (high - low)
    if len(x) < 5 or not np.any(np.abs(x) < 0.9):
        return CurveShape(slope, intercept, departure, np.nan, np.nan, "open")
    design = np.vander(x, 3)
    coefficients, *_ = np.linalg.lstsq(design, flow, rcond=None)
    freedom = len(x) - 3
    variance = float(np.sum((flow - design @ coefficients) ** 2)) / freedom
    spread = float(np.sqrt(variance * np.linalg.inv(design.T @ design)[0, 0]))
    bend = float(coefficients[0]) / top
    bend_u95 = float(stdtrit(freedom, 0.975)) * spread / top
    verdict: Literal["straight", "flattens", "steepens"] = "straight"
    if abs(bend) > max(LEAST_BEND, bend_u95):
        verdict = "flattens" if bend < 0 else "steepens"
    return CurveShape(slope, intercept, departure, bend, bend_u95, verdict)

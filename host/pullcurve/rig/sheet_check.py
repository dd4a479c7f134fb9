"""Whether a blower's data sheet contradicts itself beyond its own rounding, and in which row."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pullcurve.quantities import to_si

if TYPE_CHECKING:
    from pullcurve.rig.rating import Rating

Array: TypeAlias = NDArray[np.float64]

# How far a sheet may leave the law of `contradiction`, as a share of the slip. Fitted to the flow
# through a compressible nozzle from 0 to 16 inHg its first and last terms alone are out by 1.2 %
# (own calculation).
_LAW_SHARE: Final = 0.015
# A sheet that does not state its back-pressure may have any up to this (judgement).
_MOST_BACK_PRESSURE_PA: Final = 15e3
_TRIES: Final = 25
_MARGIN: Final = 1.1  # for a back-pressure between those that are tried


def contradiction(rating: Rating) -> tuple[int, str] | None:
    """The row that cannot stand beside the others, from 0, and why not; None where all can.

    A row of its own speed and vacuum stands there once. What remains is held against the law of
    displacement and slip: inlet flow = A N - B sqrt(r - 1) - C (1 - 1/r) - D (r - 1/r), N the
    speed and r the pressure ratio. The root is for wide gaps; the other two are for slip that
    goes with the difference of pressure, as some sheets are drawn, and for gaps so narrow that
    the flow in them is laminar. Each row is compared with what the law makes of all others. It
    may differ by its own rounding, by theirs as it comes through the fit, and by 1.5 % of the
    slip, which is how far the law itself is out. At last, flow must not fall with speed, nor rise
    with vacuum: rounding cannot turn these round.

    Source: the law of slip as in `physics.blower`; the comparison by deleted residuals
    (Belsley, Kuh, Welsch, Regression Diagnostics, 1980, from memory).
    """
    return _twice(rating) or _off_the_law(rating) or _wrong_order(rating)


def _named(rating: Rating, number: int) -> str:
    speed, vacuum, flow = rating.rows[number]
    return f"{speed:g} rpm, {vacuum:g} {rating.vacuum_unit}: {flow:g} {rating.flow_unit}"


def _twice(rating: Rating) -> tuple[int, str] | None:
    first: dict[tuple[float, float], int] = {}
    for number, (speed, vacuum, flow) in enumerate(rating.rows):
        before = first.setdefault((speed, vacuum), number)
        if flow != rating.rows[before][2]:
            return number, (
                f"{_named(rating, number)}, and {rating.rows[before][2]:g} "
                f"{rating.flow_unit} in an earlier row of the same speed and vacuum; take the "
                "wrong one out"
            )
    return None


def _wrong_order(rating: Rating) -> tuple[int, str] | None:
    for (this, one), (other, two) in combinations(enumerate(rating.rows), 2):
        if one[1] == two[1] and (one[0] - two[0]) * (one[2] - two[2]) < 0:
            why = "vacuum flow rises with speed"
        elif one[0] == two[0] and (one[1] - two[1]) * (one[2] - two[2]) > 0:
            why = "speed flow falls with vacuum"
        else:
            continue
        # Of the two the one that is further from a plain law; either may be wrong.
        outlying = _deviations(rating, rating.back_pressure or 0.0, terms=1)[2]
        earlier = outlying[this] > 1.01 * outlying[other]
        wrong, right = (this, other) if earlier else (other, this)
        return wrong, (
            f"{_named(rating, wrong)}, beside {_named(rating, right)}: at one {why}; read both off "
            "the sheet again"
        )
    return None


def _off_the_law(rating: Rating) -> tuple[int, str] | None:
    """The row furthest from the law that the others make, where it is too far at any
    back-pressure that the sheet may have."""
    best = _deviations(rating, rating.back_pressure or 0.0)
    if rating.back_pressure is None and np.max(best[1]) > 1.0:
        # By the root of the back-pressure, on which the slip hangs; then once more, finer.
        roots = np.linspace(0.0, np.sqrt(_MOST_BACK_PRESSURE_PA), _TRIES)
        for _ in range(2):
            tries = [_deviations(rating, root**2) for root in roots]
            at = min(range(_TRIES), key=lambda number: np.max(tries[number][1]))
            best = tries[at]
            step = roots[1] - roots[0]
            roots = np.linspace(max(0.0, roots[at] - step), roots[at] + step, _TRIES)
    expected, excess, outlying = best
    if np.max(excess) <= 1.0:
        return None
    number = int(np.argmax(outlying))
    wanted = (
        expected[number] / rating.to_inlet[number] / to_si(f"1 {rating.flow_unit}", "volume_flow")
    )
    return number, (
        f"{_named(rating, number)}, and no displacement with slip gives that beside the other "
        f"rows, which make it about {wanted:.0f} {rating.flow_unit}; read it and its neighbours "
        "off the sheet again, or take it out"
    )


def _deviations(rating: Rating, back_pressure: float, terms: int = 3) -> tuple[Array, Array, Array]:
    """Of each row the inlet flow that the law makes of all others, its distance from that over
    what rounding and the law's own doubt allow, and how likely it is the one wrong figure: the
    residual over its standard deviation, greatest where one figure alone is wrong.

    terms: how many of the law's terms of slip are used.
    """
    flow, half = rating.inlet_flow_m3_s, rating.widest_rounding_m3_s / 2 * rating.to_inlet
    inlet = rating.reference_pressure - rating.vacuum_pa
    ratio = (rating.reference_pressure + back_pressure) / inlet
    slip_terms = [np.sqrt(ratio - 1.0), 1.0 - 1.0 / ratio, ratio - 1.0 / ratio][:terms]
    columns = [rating.speed_rpm, *slip_terms]
    law = np.column_stack([column / max(1e-12, np.max(column)) for column in columns])
    inverse = np.linalg.pinv(law, rcond=1e-9)
    hat = law @ inverse
    own = np.diag(hat)
    alone = own > 1.0 - 1e-6  # no other row says anything about this one
    left = np.where(alone, 1.0, 1.0 - own)
    residual = np.where(alone, 0.0, (flow - hat @ flow) / left)
    slip = np.abs(law[:, 1:] @ (inverse @ flow)[1:])
    doubt = half + _LAW_SHARE * slip
    others = (np.abs(hat) @ doubt - own * doubt) / left
    excess = np.abs(residual) / (_MARGIN * (doubt + others))
    return flow - residual, excess, np.abs(residual) * np.sqrt(left)

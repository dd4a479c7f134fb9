"""The table [machine.blower.rating]: what the blower's data sheet promises.

A row is one printed figure: speed, vacuum, flow. A sheet that contradicts itself beyond its own
rounding is refused, since nothing would tell which of its figures to measure a machine by.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import combinations
from math import inf
from typing import Annotated, Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from pullcurve.physics.air import ROOM_TEMPERATURE, STANDARD_PRESSURE
from pullcurve.quantities import Kind, to_si
from pullcurve.rig.fields import Pressure, Table, Temperature, between, misfit

Array: TypeAlias = NDArray[np.float64]
Row: TypeAlias = tuple[float, float, float]

MOST_ROWS: Final = 1000
# What the flows of a sheet may all be multiples of, in the last digit that is printed.
_STEPS: Final = (100, 50, 25, 20, 10, 5, 2, 1)

# How far a sheet may leave the law of `contradiction`, as a share of the slip. Fitted to the flow
# through a compressible nozzle from 0 to 16 inHg its first and last terms alone are out by 1.2 %
# (own calculation).
_LAW_SHARE: Final = 0.015
# A sheet that does not state its back-pressure may have any up to this (judgement).
_MOST_BACK_PRESSURE_PA: Final = 15e3
_TRIES: Final = 25
_MARGIN: Final = 1.1  # for a back-pressure between those that are tried


def _unit(kind: Kind) -> BeforeValidator:
    def check(unit: object) -> object:
        if isinstance(unit, str):
            to_si(f"1 {unit}", kind)  # says what would be right
        return unit

    return BeforeValidator(check)


def _rows(value: object) -> tuple[Row, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError("wanted rows of speed, vacuum and flow, such as [[2750, 0, 1555]]")
    if len(value) > MOST_ROWS:
        raise ValueError(f"{len(value)} rows are more than any data sheet has: {MOST_ROWS} at most")
    return tuple(_row(row, number) for number, row in enumerate(value))


def _row(row: object, number: int) -> Row:
    if not isinstance(row, list) or len(row) != 3:
        raise misfit(
            "wanted three numbers, the speed in rpm, the vacuum and the flow in the sheet's units, "
            "such as [2750, 8, 1405]",
            number,
        )
    if not all(type(figure) in {int, float} for figure in row):
        raise misfit(
            "wanted plain numbers: no quotes, no unit, no thousands separator, a decimal point",
            number,
        )
    speed, vacuum, flow = map(float, row)
    if not 50.0 <= speed <= 20_000.0:
        raise misfit(f"{speed:g} rpm is no plausible speed of a blower: 50 to 20000", number)
    if not vacuum >= 0.0:
        raise misfit(f"a vacuum of {vacuum:g}: it is written without a sign, 0 or more", number)
    if not 0.0 < flow < inf:
        raise misfit(
            f"a flow of {flow:g}: it must be more than zero; leave out what the sheet leaves empty",
            number,
        )
    return speed, vacuum, flow


class Rating(Table):
    """The flow that the data sheet promises, row by row.

    `rows` holds the sheet's own figures: speed in rev/min, vacuum and flow in its units; the
    properties hold SI. basis: `inlet` where the flow is at the state of the air at the blower's
    inlet, `free_air` where it is the same mass at the reference state. The reference state is
    the sheet's air at the inlet with no vacuum: its pressure less the vacuum is the pressure at
    the inlet. back_pressure: at the outlet, above the reference pressure; None where the sheet
    does not say.
    """

    basis: Literal["inlet", "free_air"] = Field(
        description="what the sheet's flow is: \"inlet\" (the volume at the blower's own inlet, "
        'usual) or "free_air" (the same air as it was outside)'
    )
    flow_unit: Annotated[str, _unit("volume_flow")] = Field(
        description='the sheet\'s unit of flow, such as "cfm" or "m3/h"'
    )
    vacuum_unit: Annotated[str, _unit("pressure")] = Field(
        description='the sheet\'s unit of vacuum, such as "inHg" or "mbar"'
    )
    reference_pressure: Annotated[
        Pressure,
        between(60e3, 110e3, "no plausible absolute pressure of a sheet's air: 60 to 110 kPa"),
    ] = Field(
        default=STANDARD_PRESSURE,
        description='the sheet\'s own pressure of the open air, such as "29.92 inHg", which is '
        "taken where it is left out",
    )
    reference_temperature_k: Temperature = Field(
        default=ROOM_TEMPERATURE,
        alias="reference_temperature",
        description='the sheet\'s own temperature, such as "68 F", which is taken where it is '
        "left out",
    )
    back_pressure: (
        Annotated[
            Pressure, between(0.0, 100e3, "no plausible back-pressure of a sheet: 0 to 100 kPa")
        ]
        | None
    ) = Field(
        default=None,
        description="at the blower's outlet, above the open air, where the sheet states one, such "
        'as "0 kPa" or "0.5 psi"',
    )
    rows: Annotated[tuple[Row, ...], BeforeValidator(_rows)] = Field(
        description="the sheet's figures, each [speed in rpm, vacuum, flow], such as "
        '[[2750, 0, 1555], [2750, 8, 1405]]; or, in their place, table = "a file.csv" beside '
        "this file"
    )

    @property
    def speed_rpm(self) -> Array:
        """Of the blower's shaft, a value a row."""
        return self._column(0)

    @property
    def vacuum_pa(self) -> Array:
        """At the blower's inlet, below the reference pressure, a value a row."""
        return self._column(1) * to_si(f"1 {self.vacuum_unit}", "pressure")

    @property
    def flow_m3_s(self) -> Array:
        """As the sheet gives it, in its own basis, a value a row."""
        return self._column(2) * to_si(f"1 {self.flow_unit}", "volume_flow")

    @property
    def to_inlet(self) -> Array:
        """Flow at the blower's inlet over the sheet's flow, a value a row.

        In free air the same mass, at the same temperature: reference pressure over the pressure
        at the inlet.
        """
        if self.basis == "inlet":
            return np.ones(len(self.rows))
        return self.reference_pressure / (self.reference_pressure - self.vacuum_pa)

    @property
    def inlet_flow_m3_s(self) -> Array:
        """At the blower's inlet at the sheet's own reference state, a value a row."""
        return self.flow_m3_s * self.to_inlet

    @property
    def widest_rounding_m3_s(self) -> float:
        """The widest step to which the printed flows may be rounded, in the sheet's own basis."""
        step = rounding([flow for _, _, flow in self.rows])
        return step * to_si(f"1 {self.flow_unit}", "volume_flow")

    @property
    def rounding_m3_s(self) -> float:
        """The step to which the flows are taken to be rounded: each is good to half of it.

        Few figures are multiples of much by chance: under four of them, 2 % of the largest at
        most (judgement; half of one per cent is common practice, no source).
        """
        step = self.widest_rounding_m3_s
        return step if len(self.rows) > 3 else min(step, 0.02 * float(np.max(self.flow_m3_s)))

    def _column(self, number: int) -> Array:
        return np.array([row[number] for row in self.rows])

    @field_validator("rows")
    @classmethod
    def _within_the_sheets_air(cls, rows: tuple[Row, ...], info: ValidationInfo) -> tuple[Row, ...]:
        pressure, unit = info.data.get("reference_pressure"), info.data.get("vacuum_unit")
        if pressure is not None and unit is not None:
            for number, (_, vacuum, _) in enumerate(rows):
                if to_si(f"1 {unit}", "pressure") * vacuum >= 0.95 * pressure:
                    raise misfit(
                        f"{vacuum:g} {unit} is deeper than any blower pulls; is the sheet's unit "
                        "another one?",
                        number,
                    )
        return rows

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Rating:
        found = contradiction(self)
        if found is not None:
            number, sentence = found
            raise misfit(sentence, "rows", number)
        return self


def rounding(flows: list[float]) -> float:
    """The largest of the steps 1, 2, 5, 10, 20, 25, 50 and 100 units of the last printed digit of
    which three in four flows are multiples."""
    printed = [Decimal(repr(flow)).normalize() for flow in flows]
    digit = Decimal(1).scaleb(min(0, *(int(flow.as_tuple().exponent) for flow in printed)))
    for step in (size * digit for size in _STEPS):
        if 4 * sum(not flow % step for flow in printed) >= 3 * len(printed):
            return float(step)
    return float(digit)


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

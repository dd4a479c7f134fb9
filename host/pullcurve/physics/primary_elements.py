"""Every kind of primary element whose discharge coefficient a document states.

`STANDARDS` holds what is stated of each: C, epsilon, their uncertainties and the limits of
use. `StandardElement` is one of them with its bores, as the iteration of `flow_equation`
wants it.

ISO 5167 means parts 1 to 4 of 2003, in the whole project, where no year stands too. The
edition of 2022 is in force, but its text was not at hand, and its part 3 has one more nozzle
and so other clauses; what 2003 states can be held against public libraries that quote it. Of
2022 only tables of C and epsilon are quoted (`tests/reference_data`), and the formulas of
2003 give all their digits. Clauses agree with public excerpts and lists of contents down to
5.3.3.2 and 5.4.1 of part 2, 5.1 to 5.3 and 6.2 of part 3, 5.5 to 5.9, 6.2 and annex B of part
4; finer ones, all of part 1, and numbers of tables of straight pipe are from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import Final, NamedTuple, TypeAlias

import numpy as np

from pullcurve.physics import nozzles, open_inlets, orifice, venturi
from pullcurve.physics.air import Array, Values
from pullcurve.physics.orifice import Taps

# Relative, 95 %, for C wherever the document states none: a judgement, the same as for a tube
# outside any standard.
OUTSIDE_UNCERTAINTY: Final = 0.04
# Added arithmetically to the uncertainty of C where the straight pipe ahead is shorter than
# the standard's full length, yet at least its shorter one (ISO 5167-2, -3, -4:2003, 6.2).
SHORT_PIPE_UNCERTAINTY: Final = 0.005

_ROUNDING: Final = 1 - 1e-9  # 70 mm / 100 mm is a little more than 0.7

OfBetaReynoldsBore: TypeAlias = Callable[[Values, Values, Values], Array]
Bounds: TypeAlias = tuple[float, float]


class ElementKind(StrEnum):
    """The kinds of primary elements."""

    VENTURI_AS_CAST = "venturi_as_cast"
    VENTURI_MACHINED = "venturi_machined"
    VENTURI_WELDED = "venturi_welded"
    ORIFICE_CORNER = "orifice_corner"
    ORIFICE_FLANGE = "orifice_flange"
    ORIFICE_D_AND_HALF_D = "orifice_d_and_half_d"
    NOZZLE_ISA_1932 = "nozzle_isa_1932"
    NOZZLE_LONG_RADIUS = "nozzle_long_radius"
    VENTURI_NOZZLE = "venturi_nozzle"
    BELLMOUTH = "bellmouth"
    CONICAL_INLET = "conical_inlet"


class StraightLengths(NamedTuple):
    """Straight pipe ahead of the element, behind one 90 degree bend, in bores of the pipe.

    Rows of beta, full length, and the shorter length that costs `SHORT_PIPE_UNCERTAINTY`;
    straight between the rows. For an open end no document has a column: one bend stands in.
    """

    rows: tuple[tuple[float, float, float], ...]
    source: str

    def at(self, beta: float) -> Bounds:
        """The shorter and the full length at a beta."""
        betas, full, short = zip(*self.rows, strict=True)
        return float(np.interp(beta, betas, short)), float(np.interp(beta, betas, full))

    def missed(self, beta: float, length: float) -> tuple[bool, bool]:
        """Whether a length, in bores, is less than the shorter and than the full one."""
        short, full = self.at(beta)
        return length < _ROUNDING * short, length < _ROUNDING * full


class Standard(NamedTuple):
    """What is stated of one kind. Functions take beta, Reynolds number and pipe bore.

    The uncertainties are relative, expanded (95 %). That of C is NaN at Reynolds numbers for
    which the document states none. `reynolds` gives the limits of use at a beta and a pipe
    bore; bounds are least and greatest.
    """

    source: str
    coefficient: OfBetaReynoldsBore
    coefficient_uncertainty: OfBetaReynoldsBore
    expansibility: Callable[[Values, Values, Values], Array]
    expansibility_uncertainty: Callable[[Values, Values, Values], Array]
    reynolds: Callable[[float, float], Bounds]
    pipe_bore: Bounds | None = None
    throat_bore: Bounds | None = None
    beta: Bounds | None = None
    differential_pressure: Bounds | None = None
    straight: StraightLengths | None = None


# The three tables are from memory.
_VENTURI_PIPE: Final = StraightLengths(
    (
        (0.30, 8, 3),
        (0.40, 8, 3),
        (0.50, 9, 3),
        (0.60, 10, 3),
        (0.70, 14, 3),
        (0.75, 16, 8),
    ),
    "ISO 5167-4:2003, table 1",
)
_ORIFICE_PIPE: Final = StraightLengths(
    ((0.20, 6, 3), (0.40, 16, 3), (0.50, 22, 9), (0.60, 42, 13), (0.67, 44, 20), (0.75, 44, 20)),
    "ISO 5167-2:2003, table 3",
)
_NOZZLE_PIPE: Final = StraightLengths(
    (
        (0.30, 10, 6),
        (0.35, 12, 6),
        (0.40, 14, 7),
        (0.50, 14, 7),
        (0.55, 16, 8),
        (0.60, 18, 9),
        (0.65, 22, 11),
        (0.70, 28, 14),
        (0.75, 36, 18),
        (0.80, 46, 23),
    ),
    "ISO 5167-3:2003, table 3",
)


def _venturi(
    source: str, stated: venturi.ClassicalVenturi, pipe_bore: Bounds, beta: Bounds
) -> Standard:
    return Standard(
        source,
        stated.coefficient,
        stated.coefficient_uncertainty,
        venturi.expansibility,
        venturi.expansibility_uncertainty,
        lambda _beta, _bore: (venturi.LEAST_REYNOLDS, stated.most_reynolds),
        pipe_bore,
        beta=beta,
        straight=_VENTURI_PIPE,
    )


def _orifice(taps: Taps) -> Standard:
    return Standard(
        "ISO 5167-2:2003, 5.3",
        partial(orifice.coefficient, taps=taps),
        partial(orifice.coefficient_uncertainty, taps=taps),
        orifice.expansibility,
        orifice.expansibility_uncertainty,
        lambda beta, bore: (float(orifice.least_reynolds(beta, bore, taps)), np.inf),
        (0.050, 1.000),
        (0.0125, np.inf),
        (0.10, 0.75),
        straight=_ORIFICE_PIPE,
    )


# What is behind each figure stands with the functions. Of the limits of use these agree with
# public implementations of the standards: every orifice plate's, the as-cast Venturi tube's,
# and all of the machined one but its bores. The others are from memory.
STANDARDS: Final[Mapping[ElementKind, Standard]] = {
    ElementKind.VENTURI_AS_CAST: _venturi(
        "ISO 5167-4:2003, 5.5.2",
        venturi.AS_CAST,
        (0.100, 0.800),
        (0.30, 0.75),
    ),
    ElementKind.VENTURI_MACHINED: _venturi(
        "ISO 5167-4:2003, 5.5.3",
        venturi.MACHINED,
        (0.050, 0.250),
        (0.40, 0.75),
    ),
    ElementKind.VENTURI_WELDED: _venturi(
        "ISO 5167-4:2003, 5.5.4",
        venturi.ROUGH_WELDED,
        (0.200, 1.200),
        (0.40, 0.70),
    ),
    ElementKind.ORIFICE_CORNER: _orifice(Taps.CORNER),
    ElementKind.ORIFICE_FLANGE: _orifice(Taps.FLANGE),
    ElementKind.ORIFICE_D_AND_HALF_D: _orifice(Taps.D_AND_HALF_D),
    ElementKind.NOZZLE_ISA_1932: Standard(
        "ISO 5167-3:2003, 5.1.6",
        nozzles.isa_1932_coefficient,
        nozzles.isa_1932_uncertainty,
        venturi.expansibility,
        nozzles.expansibility_uncertainty,
        lambda beta, _bore: (float(nozzles.isa_1932_least_reynolds(beta)), 1e7),
        (0.050, 0.500),
        beta=(0.30, 0.80),
        straight=_NOZZLE_PIPE,
    ),
    ElementKind.NOZZLE_LONG_RADIUS: Standard(
        "ISO 5167-3:2003, 5.2.6",
        nozzles.long_radius_coefficient,
        nozzles.long_radius_uncertainty,
        venturi.expansibility,
        nozzles.expansibility_uncertainty,
        lambda _beta, _bore: (nozzles.LONG_RADIUS_LEAST_REYNOLDS, 1e7),
        (0.050, 0.630),
        beta=(0.20, 0.80),
        straight=_NOZZLE_PIPE,
    ),
    ElementKind.VENTURI_NOZZLE: Standard(
        "ISO 5167-3:2003, 5.3.4",
        nozzles.venturi_nozzle_coefficient,
        nozzles.venturi_nozzle_uncertainty,
        venturi.expansibility,
        venturi.expansibility_uncertainty,
        lambda _beta, _bore: (nozzles.VENTURI_NOZZLE_LEAST_REYNOLDS, 2e6),
        (0.065, 0.500),
        (0.050, np.inf),
        (0.316, 0.775),
        straight=_NOZZLE_PIPE,
    ),
    ElementKind.BELLMOUTH: Standard(
        "ANSI/AMCA 210, chamber nozzle",
        open_inlets.bellmouth_coefficient,
        open_inlets.bellmouth_uncertainty,
        venturi.expansibility,
        nozzles.expansibility_uncertainty,
        lambda _beta, _bore: (open_inlets.BELLMOUTH_LEAST_REYNOLDS, np.inf),
    ),
    ElementKind.CONICAL_INLET: Standard(
        "ISO 5801, conical inlet",
        open_inlets.conical_coefficient,
        open_inlets.conical_uncertainty,
        open_inlets.conical_expansibility,
        open_inlets.conical_expansibility_uncertainty,
        lambda _beta, _bore: (open_inlets.CONICAL_LEAST_REYNOLDS, np.inf),
        differential_pressure=(0.0, open_inlets.CONICAL_MOST_PRESSURE),
    ),
}
OPEN_INLETS: Final = frozenset({ElementKind.BELLMOUTH, ElementKind.CONICAL_INLET})


@dataclass(frozen=True, eq=False)
class StandardElement:
    """One of the `STANDARDS` with its bores in m; pipe_bore is infinite for an open inlet.

    level: what C is multiplied with, 1 by default; carries the uncertainty of C, or the
    calibration of this very element.
    """

    kind: ElementKind
    pipe_bore: Values
    throat_bore: Values
    level: Values = 1.0

    def __post_init__(self) -> None:
        """Refuse bores that are no such element."""
        if not np.all((np.asarray(self.throat_bore) > 0) & (self.throat_bore < self.pipe_bore)):
            raise ValueError(
                f"the throat ({self.throat_bore} m) must be smaller than the pipe "
                f"({self.pipe_bore} m) and larger than nothing"
            )
        if (self.kind in OPEN_INLETS) != bool(np.all(np.isinf(self.pipe_bore))):
            raise ValueError("an inlet that draws from the open, and no other, has no pipe ahead")

    @property
    def beta(self) -> Values:
        """Diameter ratio d/D, 0 for an open inlet."""
        return self.throat_bore / self.pipe_bore

    @property
    def reynolds_bore(self) -> Values:
        """The pipe's bore, or the throat's of an open inlet."""
        return self.throat_bore if self.kind in OPEN_INLETS else self.pipe_bore

    def coefficient(self, reynolds: Array) -> Values:
        """Discharge coefficient at the Reynolds number of `reynolds_bore`."""
        return self.level * STANDARDS[self.kind].coefficient(self.beta, reynolds, self.pipe_bore)

    def expansibility(self, pressure_ratio: Array, isentropic_exponent: Values) -> Array:
        """Expansibility factor at tau = p2/p1."""
        return STANDARDS[self.kind].expansibility(pressure_ratio, self.beta, isentropic_exponent)


class Limit(NamedTuple):
    """A limit of use: bores in m, lengths in bores of the pipe, pressures in Pa."""

    quantity: str
    least: float
    greatest: float
    source: str

    def crossed_by(self, values: Values) -> float | None:
        """The value farthest outside, in proportion, or None. Zero and NaN are passed over."""
        array = np.atleast_1d(np.asarray(values, dtype=np.float64))
        array = array[np.isfinite(array) & (array > 0)]
        outside = np.maximum(self.least / array, array / self.greatest)
        return float(array[np.argmax(outside)]) if np.any(_ROUNDING * outside > 1) else None


def limits(kind: ElementKind, pipe_bore: float, throat_bore: float) -> tuple[Limit, ...]:
    """The limits of use of a kind with these bores, those of the pressure ratio among them."""
    standard = STANDARDS[kind]
    beta = throat_bore / pipe_bore
    bounds = (
        ("pipe bore", standard.pipe_bore),
        ("throat bore", standard.throat_bore),
        ("diameter ratio", standard.beta),
        ("Reynolds number", standard.reynolds(beta, pipe_bore)),
        ("differential pressure", standard.differential_pressure),
    )
    found = [Limit(name, *ends, standard.source) for name, ends in bounds if ends is not None]
    # ISO 5167-2:2003, 5.3.2.2; -3, 5.1.6.3 (from memory); -4, 5.6
    least = venturi.LEAST_PRESSURE_RATIO
    found.append(Limit("pressure ratio", least, 1.0, "ISO 5167:2003, expansibility"))
    if standard.straight is not None:
        _, full = standard.straight.at(beta)
        found.append(Limit("straight length", full, np.inf, standard.straight.source))
    return tuple(found)


def coefficient_uncertainty(
    kind: ElementKind,
    reynolds: Values,
    *,
    pipe_bore: float,
    throat_bore: float,
    differential_pressure: Values = 0.0,
    straight_length: float | None = None,
) -> Array:
    """Relative expanded uncertainty (95 %) of C of an element in use, never NaN.

    The document's where all its limits are kept, `OUTSIDE_UNCERTAINTY` or the document's,
    whichever is more, where one is not. straight_length: m ahead of the upstream tap, None
    where it is not known and taken as enough.
    """
    standard = STANDARDS[kind]
    beta = throat_bore / pipe_bore
    stated = standard.coefficient_uncertainty(beta, reynolds, pipe_bore)
    values = {"pipe bore": pipe_bore, "throat bore": throat_bore, "diameter ratio": beta}
    outside = any(
        limit.crossed_by(values[limit.quantity]) is not None
        for limit in limits(kind, pipe_bore, throat_bore)
        if limit.quantity in values
    )
    short = False
    if straight_length is not None and standard.straight is not None:
        too_short, short = standard.straight.missed(beta, straight_length / pipe_bore)
        outside = outside or too_short
    beyond = np.zeros(np.shape(differential_pressure), dtype=np.bool_)
    if standard.differential_pressure is not None:
        beyond = np.abs(differential_pressure) > standard.differential_pressure[1]
    unclaimed = outside | np.isnan(stated) | beyond
    known = np.nan_to_num(stated, nan=0.0) + (SHORT_PIPE_UNCERTAINTY if short else 0.0)
    return np.where(unclaimed, np.maximum(known, OUTSIDE_UNCERTAINTY), known)

"""Flow through a Venturi tube, and the solver that any differential-pressure meter shares.

Symbols of ISO 5167-1:2003, SI: D, d upstream and throat bore in m; beta = d/D; p1, T1,
rho1 static absolute pressure, temperature and density at the upstream tap; dp = p1 - p2;
tau = p2/p1; q_m mass flow in kg/s; C discharge coefficient; epsilon expansibility;
kappa isentropic exponent; Re_D = 4 q_m / (pi D mu). Everything broadcasts.

A negative differential pressure gives the negative of the flow for its absolute value, so
that noise about zero averages to zero; it is no measurement of flow through a reversed meter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import air
from pullcurve.physics.air import Array, Values

# ISO 5167-4:2003, 5.6: the expansibility formula holds for p2/p1 of at least this.
LEAST_PRESSURE_RATIO: Final = 0.75

_TOLERANCE = 1e-13  # relative change of flow; finer than any difference quotient needs
_MOST_PASSES = 60


def mass_flow(
    differential_pressure: Values,
    density: Values,
    *,
    coefficient: Values,
    expansibility: Values,
    pipe_bore: Values,
    throat_bore: Values,
) -> Array:
    """Mass flow in kg/s: q_m = C / sqrt(1 - beta^4) * epsilon * pi/4 d^2 * sqrt(2 dp rho1).

    Source: ISO 5167-1:2003, equation 1 (the 2022 edition is the same). Takes the signed
    root of dp. density: rho1 at the upstream tap, kg/m³.
    """
    dp = np.asarray(differential_pressure, dtype=np.float64)
    beta = np.asarray(throat_bore / pipe_bore, dtype=np.float64)
    root: Array = np.sign(dp) * np.sqrt(2 * np.abs(dp) * density)
    approach: Array = coefficient / np.sqrt(1 - beta**4)
    return approach * expansibility * (np.pi / 4) * throat_bore**2 * root


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

    Source: ISO 5167-4:2003, 5.8, from memory.
    """
    dp = np.abs(np.asarray(differential_pressure, dtype=np.float64))
    return (0.04 + beta**8) * dp / upstream_pressure


def reynolds_number(flow: Values, viscosity: Values, bore: Values) -> Array:
    """Reynolds number 4 |q_m| / (pi D mu) of a mass flow in kg/s through a bore in m."""
    return 4 * np.abs(np.asarray(flow, dtype=np.float64)) / (np.pi * bore * viscosity)


class PrimaryElement(Protocol):
    """What the solver asks of a differential-pressure meter.

    An element whose coefficient depends on the throat's Reynolds number, or that has no
    pipe ahead of it (pipe_bore infinite), fits as well.
    """

    @property
    def pipe_bore(self) -> Values: ...
    @property
    def throat_bore(self) -> Values: ...
    def coefficient(self, flow: Array, viscosity: Array) -> Values:
        """Discharge coefficient at a mass flow in kg/s, not negative, and a viscosity."""

    def expansibility(self, pressure_ratio: Array, isentropic_exponent: Values) -> Array:
        """Expansibility factor at tau = p2/p1."""


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
    fall_below: float = 2e5

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

    def coefficient(self, flow: Array, viscosity: Array) -> Values:
        """Discharge coefficient at a mass flow in kg/s and a viscosity in Pa s."""
        reynolds = np.maximum(reynolds_number(flow, viscosity, self.pipe_bore), 1e4)
        halvings: Array = np.log2(np.maximum(self.fall_below / reynolds, 1.0))
        return self.discharge_coefficient * (1 - self.fall_per_halving * halvings)

    def expansibility(self, pressure_ratio: Array, isentropic_exponent: Values) -> Array:
        """Expansibility factor at tau = p2/p1."""
        return expansibility(pressure_ratio, self.beta, isentropic_exponent)


@dataclass(frozen=True, eq=False)
class MeterState:
    """Flow through a meter and the state at its upstream tap; arrays of one shape.

    The volume flow at any place is mass_flow over the density there.
    """

    mass_flow: Array  # kg/s, with the sign of the differential pressure
    pressure: Array  # p1, Pa
    temperature: Array  # T1, K, static
    density: Array  # rho1, kg/m³
    coefficient: Array  # C
    expansibility: Array  # epsilon
    pressure_ratio: Array  # tau
    reynolds: Array  # Re_D
    converged: NDArray[np.bool_]  # False: no solution was found, or an input is NaN


def solve_in_line(
    element: PrimaryElement,
    differential_pressure: Values,
    *,
    pressure: Values,
    temperature: Values,
    vapour: Values,
    isentropic_exponent: Values = air.ISENTROPIC_EXPONENT,
) -> MeterState:
    """Flow through a meter in a pipe, where the state at its upstream tap is known.

    pressure: p1, absolute, at the upstream tap, Pa; temperature: T1, static, K (a probe in
    the stream reads nearer to the total temperature, higher by v^2/2 cp at most); vapour:
    mole fraction of water vapour. Source: ISO 5167-1:2003, annex A (iteration), from memory.
    """
    p1 = np.asarray(pressure, dtype=np.float64)
    t1 = np.asarray(temperature, dtype=np.float64)

    def upstream(_density: Values, _velocity: Values) -> tuple[Array, Array]:
        return p1, t1

    return _solve(element, differential_pressure, upstream, vapour, isentropic_exponent)


def solve_open_inlet(
    element: PrimaryElement,
    differential_pressure: Values,
    *,
    ambient_pressure: Values,
    ambient_temperature: Values,
    vapour: Values,
    inlet_loss: Values,
    isentropic_exponent: Values = air.ISENTROPIC_EXPONENT,
) -> MeterState:
    """Flow through a meter that draws air from the open through its own short inlet.

    On its way to the upstream tap the still air has been accelerated to V1, has lost a
    share K of the dynamic pressure and has cooled:

        p1 = p_ambient - (1 + K) rho1 V1^2 / 2        T1 = T_ambient - V1^2 / (2 cp)

    inlet_loss: K, about 0.05 for a rounded inlet, 0.5 for a flush one, 1 and more with a
    sharp edge or a straightener (common practice, no source). The mole fraction of vapour
    is that of the open air, for nothing condenses on the way.
    Source: the energy equation of steady flow, with cp of dry air. The first line takes the
    density as constant: 4 Pa off the isentropic value at K = 0 and dp = 2.5 kPa.
    """
    p0 = np.asarray(ambient_pressure, dtype=np.float64)
    t0 = np.asarray(ambient_temperature, dtype=np.float64)

    def upstream(density: Values, velocity: Values) -> tuple[Array, Array]:
        dynamic = density * velocity**2 / 2
        return p0 - (1 + inlet_loss) * dynamic, t0 - velocity**2 / (2 * air.HEAT_CAPACITY)

    return _solve(element, differential_pressure, upstream, vapour, isentropic_exponent)


def _solve(
    element: PrimaryElement,
    differential_pressure: Values,
    upstream: Callable[[Values, Values], tuple[Array, Array]],
    vapour: Values,
    isentropic_exponent: Values,
) -> MeterState:
    """Repeat the flow equation with the state and coefficient that the last flow gives.

    Each pass reduces the error by the share of p1 that the inlet takes, some 2 % for the
    open inlet at 2.5 kPa, so some eight passes reach the tolerance.
    """
    dp = np.asarray(differential_pressure, dtype=np.float64)
    magnitude = np.abs(dp)
    area = np.pi / 4 * element.pipe_bore**2
    p1, t1 = upstream(0.0, 0.0)
    flow: Array = np.full_like(magnitude, np.inf)
    with np.errstate(invalid="ignore", over="ignore"):
        for _ in range(_MOST_PASSES):
            last = flow
            rho1 = air.density(p1, t1, vapour)
            mu = air.viscosity(t1)
            tau = 1 - magnitude / p1
            epsilon = element.expansibility(tau, isentropic_exponent)
            c = element.coefficient(last, mu)
            flow = mass_flow(
                magnitude,
                rho1,
                coefficient=c,
                expansibility=epsilon,
                pipe_bore=element.pipe_bore,
                throat_bore=element.throat_bore,
            )
            converged = np.abs(flow - last) <= _TOLERANCE * flow
            if np.all(converged | np.isnan(flow)):
                break
            p1, t1 = upstream(rho1, flow / (rho1 * area))
    reynolds = reynolds_number(flow, mu, element.pipe_bore)
    signed = np.where(converged, np.sign(dp) * flow, np.nan)
    state = np.broadcast_arrays(signed, p1, t1, rho1, c, epsilon, tau, reynolds, converged)
    return MeterState(*state)


class VenturiKind(StrEnum):
    """The three classical Venturi tubes of ISO 5167-4, by their convergent."""

    AS_CAST = "as cast"
    MACHINED = "machined"
    ROUGH_WELDED = "rough-welded sheet iron"


class StandardVenturi(NamedTuple):
    """What ISO 5167-4 states of one kind. Bounds: least and greatest."""

    discharge_coefficient: float
    uncertainty: float  # relative, expanded (95 %)
    pipe_bore: tuple[float, float]  # m
    beta: tuple[float, float]
    reynolds: tuple[float, float]
    source: str


# The coefficients, every limit of the as-cast row, and the machined row but for its bores
# agree with public implementations of the standard; what a source calls from memory does not
# yet stand on a document.
ISO_5167_4: Final = {
    VenturiKind.AS_CAST: StandardVenturi(
        0.984, 0.007, (0.100, 0.800), (0.30, 0.75), (2e5, 2e6), "ISO 5167-4:2003, 5.5.2"
    ),
    VenturiKind.MACHINED: StandardVenturi(
        0.995,
        0.010,
        (0.050, 0.250),
        (0.40, 0.75),
        (2e5, 1e6),
        "ISO 5167-4:2003, 5.5.3, bores from memory",
    ),
    VenturiKind.ROUGH_WELDED: StandardVenturi(
        0.985,
        0.015,
        (0.200, 1.200),
        (0.40, 0.70),
        (2e5, 2e6),
        "ISO 5167-4:2003, 5.5.4, from memory",
    ),
}


class Finding(NamedTuple):
    """A limit of a standard that is not kept."""

    quantity: str
    value: float  # the one farthest outside
    least: float
    greatest: float
    source: str


def limits_crossed(kind: VenturiKind, tube: VenturiTube, state: MeterState) -> tuple[Finding, ...]:
    """The limits of ISO 5167-4:2003 that a tube, or any point measured with it, crosses.

    Points without flow have no Reynolds number to judge and are passed over.
    """
    standard = ISO_5167_4[kind]
    ratio = (LEAST_PRESSURE_RATIO, 1.0)
    checks = (
        ("pipe bore", tube.pipe_bore, standard.pipe_bore, standard.source),
        ("diameter ratio", tube.beta, standard.beta, standard.source),
        ("Reynolds number", state.reynolds, standard.reynolds, standard.source),
        ("pressure ratio", state.pressure_ratio, ratio, "ISO 5167-4:2003, 5.6"),
    )
    findings = []
    for quantity, values, (least, greatest), source in checks:
        array = np.atleast_1d(np.asarray(values, dtype=np.float64))
        array = array[np.isfinite(array) & (array > 0)]
        outside = np.maximum(least / array, array / greatest)
        if np.any(outside > 1):
            worst = float(array[np.argmax(outside)])
            findings.append(Finding(quantity, worst, least, greatest, source))
    return tuple(findings)

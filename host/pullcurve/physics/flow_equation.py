"""Mass flow from a differential pressure, and the iteration that every primary element shares.

Symbols of ISO 5167-1:2003, SI: D, d upstream and throat bore in m; beta = d/D; p1, T1,
rho1 static absolute pressure, temperature and density at the upstream tap; dp = p1 - p2;
tau = p2/p1; q_m mass flow in kg/s; C discharge coefficient; epsilon expansibility;
kappa isentropic exponent. Everything broadcasts.

A negative differential pressure gives the negative of the flow for its absolute value, so
that noise about zero averages to zero; it is no measurement of flow through a reversed meter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import air
from pullcurve.physics.air import Array, Values

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

    Source: ISO 5167-1:2003, equation 1 (number from memory). Takes the signed root
    of dp. density: rho1 at the upstream tap, kg/m³; an infinite pipe_bore is a nozzle
    that draws from the open.
    """
    dp = np.asarray(differential_pressure, dtype=np.float64)
    beta = np.asarray(throat_bore / pipe_bore, dtype=np.float64)
    root: Array = np.sign(dp) * np.sqrt(2 * np.abs(dp) * density)
    approach: Array = coefficient / np.sqrt(1 - beta**4)
    return approach * expansibility * (np.pi / 4) * throat_bore**2 * root


def reynolds_number(flow: Values, viscosity: Values, bore: Values) -> Array:
    """Reynolds number 4 |q_m| / (pi D mu) of a mass flow in kg/s through a bore in m."""
    return 4 * np.abs(np.asarray(flow, dtype=np.float64)) / (np.pi * bore * viscosity)


class PrimaryElement(Protocol):
    """What the iteration asks of a differential-pressure meter."""

    @property
    def pipe_bore(self) -> Values:
        """D in m; infinite for an inlet that draws from the open."""

    @property
    def throat_bore(self) -> Values:
        """d in m."""

    @property
    def reynolds_bore(self) -> Values:
        """The bore that the element's Reynolds number is formed with: D, or d of an inlet."""

    def coefficient(self, reynolds: Array) -> Values:
        """Discharge coefficient at a Reynolds number, which may be 0 or infinite."""

    def expansibility(self, pressure_ratio: Array, isentropic_exponent: Values) -> Array:
        """Expansibility factor at tau = p2/p1."""


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
    reynolds: Array  # of the element's reynolds_bore
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
    """Flow through a meter whose upstream state is known; the open air's, for an inlet nozzle.

    pressure: p1, absolute, at the upstream tap, Pa; temperature: T1, static, K (a probe in
    the stream reads nearer to the total temperature, higher by v^2/2 cp at most); vapour:
    mole fraction of water vapour. Source: ISO 5167-1:2003, annex A (iteration), from memory.
    """
    p1 = np.asarray(pressure, dtype=np.float64)
    t1 = np.asarray(temperature, dtype=np.float64)

    def upstream(_density: Values, _velocity: Values) -> tuple[Array, Array]:
        return p1, t1

    return _solve(element, differential_pressure, upstream, vapour, isentropic_exponent)


def solve_at_tap(
    element: PrimaryElement,
    differential_pressure: Values,
    *,
    pressure: Values,
    ambient_temperature: Values,
    vapour: Values,
    isentropic_exponent: Values = air.ISENTROPIC_EXPONENT,
) -> MeterState:
    """Flow through a meter whose upstream pressure is measured, the air coming from the open.

    Without heat on its way the air has cooled to T1 = T_ambient - V1^2 / (2 cp), by the
    energy equation of steady flow. pressure: p1, absolute, at the upstream tap, Pa.
    """
    p1 = np.asarray(pressure, dtype=np.float64)
    t0 = np.asarray(ambient_temperature, dtype=np.float64)

    def upstream(_density: Values, velocity: Values) -> tuple[Array, Array]:
        return p1, t0 - velocity**2 / (2 * air.HEAT_CAPACITY)

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
    """Flow through a meter that draws air from the open through its own short pipe.

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
            c = element.coefficient(reynolds_number(last, mu, element.reynolds_bore))
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
    reynolds = reynolds_number(flow, mu, element.reynolds_bore)
    signed = np.where(converged, np.sign(dp) * flow, np.nan)
    state = np.broadcast_arrays(signed, p1, t1, rho1, c, epsilon, tau, reynolds, converged)
    return MeterState(*state)

"""The bench's Venturi tube, from the energy balance: differential pressure of a mass flow."""

import numpy as np

from pullcurve.bench.instrument import Meter
from pullcurve.bench.moist_air import (
    HEAT_CAPACITY,
    ISENTROPIC_EXPONENT,
    Array,
    viscosity,
)
from pullcurve.errors import ScenarioError

_ROUNDS = 12  # of fixed point or Newton; both settle in fewer than ten
_LEAST_TAU = 0.75  # well ahead of choking, and the limit of ISO 5167-4:2003, 5.6
_CHOKES = (
    "the meter's throat is too small for this flow (its pressure falls below 0.75 of that "
    "ahead of it): give 'meter.throat_bore_m' a larger value or the engine less speed"
)


def upstream_state(
    mass_flow: Array,
    pressure: Array,
    temperature: Array,
    gas_constant: Array,
    meter: Meter,
) -> tuple[Array, Array]:
    """Static pressure [Pa] and temperature [K] at the upstream tap.

    Air at rest at `pressure` [Pa] and `temperature` [K] speeds up into the pipe:
    cp (T0 - T1) = V1^2 / 2, isentropic, then less the inlet loss K rho1 V1^2 / 2.
    mass_flow [kg/s], gas_constant [J/(kg K)]; arrays broadcast. Subsonic only.
    """
    area = np.pi / 4 * meter.pipe_bore_m**2
    exponent = ISENTROPIC_EXPONENT / (ISENTROPIC_EXPONENT - 1)
    p1, t1 = pressure, temperature
    for _ in range(_ROUNDS):
        density = p1 / (gas_constant * t1)
        speed_squared = (mass_flow / (density * area)) ** 2
        t1 = temperature - speed_squared / (2 * HEAT_CAPACITY)
        loss = meter.inlet_loss * density * speed_squared / 2
        p1 = pressure * (t1 / temperature) ** exponent - loss
    return p1, t1


def discharge_coefficient(mass_flow: Array, temperature: Array, meter: Meter) -> Array:
    """The tube's true coefficient [1] at this mass flow [kg/s] and upstream temperature [K]."""
    reynolds = 4 * np.abs(mass_flow) / (np.pi * meter.pipe_bore_m * viscosity(temperature))
    doublings = np.log2(np.maximum(reynolds, 1e4) / 2e5)
    change = meter.coefficient_fall * np.minimum(doublings, 0) + meter.coefficient_slope * doublings
    return np.asarray(meter.discharge_coefficient * (1 + change))


def differential_pressure(
    mass_flow: Array, pressure: Array, density: Array, coefficient: Array, meter: Meter
) -> Array:
    """Upstream minus throat pressure [Pa] that makes `mass_flow` [kg/s] pass the tube.

    With q = mass_flow / C as the flow without friction, tau = p2 / p1, k = 1.4:

        k/(k-1) p1/rho1 (1 - tau^((k-1)/k)) = q^2/2 [1/(rho2 A2)^2 - 1/(rho1 A1)^2]
        rho2 = rho1 tau^(1/k)

    energy balance of an ideal gas, continuity and isentropic change, solved for tau by
    Newton's method. pressure [Pa] and density [kg/m3] are static, at the upstream tap. The
    sign follows that of the flow. Arrays broadcast.

    Raises
    ------
    ScenarioError
        The throat's pressure would fall below 0.75 of the upstream pressure.
    """
    k = ISENTROPIC_EXPONENT
    a1 = np.pi / 4 * meter.pipe_bore_m**2
    a2 = np.pi / 4 * meter.throat_bore_m**2
    flux = (mass_flow / coefficient) ** 2 / (2 * density * pressure)  # m4
    drop = flux * (1 / a2**2 - 1 / a1**2)  # 1 - tau of an incompressible fluid
    for _ in range(_ROUNDS):
        tau = 1 - drop
        if not np.all(tau > _LEAST_TAU):
            raise ScenarioError(_CHOKES)
        residual = k / (k - 1) * -np.expm1((k - 1) / k * np.log(tau)) - flux * (
            tau ** (-2 / k) / a2**2 - 1 / a1**2
        )
        slope = tau ** (-1 / k) - flux * 2 / k * tau ** (-2 / k - 1) / a2**2
        drop = drop - residual / slope
    return np.asarray(np.sign(mass_flow) * drop * pressure)

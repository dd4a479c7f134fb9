"""The rotary-lobe blower: displacement, slip, and what it takes in at another state.

Symbols, SI: V_d displacement of one turn in m³; N speed in rev/min; p1, T1 pressure and
temperature at the blower's inlet; p2 pressure at its outlet (the open air's and the silencer's
loss); r = p2/p1; dp = p2 - p1. Pressures are absolute. mass_ratio is the density of the gas
over that of dry air in the same state. Everything broadcasts. How a rating table becomes
V_d and S1 stands in `blower_rating`.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

from pullcurve.physics import air
from pullcurve.physics.air import Array, Values
from pullcurve.quantities import PSI_PA

# Slip speeds are stated for this difference and for air of this state at the inlet.
SLIP_DIFFERENCE: Final = PSI_PA
SLIP_TEMPERATURE: Final = air.ROOM_TEMPERATURE  # 528 °R
_ROOT_PER_RATIO: Final = air.STANDARD_PRESSURE / SLIP_DIFFERENCE  # 14.696

# Y = 1 at a difference of 1 psi to an outlet at the standard pressure.
_LAMINAR_UNIT: Final = SLIP_DIFFERENCE * (
    1 + air.STANDARD_PRESSURE / (air.STANDARD_PRESSURE - SLIP_DIFFERENCE)
)

# Where blowers of this kind end: a casing of 400 °F, not continuously; dry service to 15 or 16 inHg
# at sea level, a pressure ratio of 2.1; a difference of 8 psi to 12 psi, by size. All three are
# common practice, no source: what stands on the machine and in its maker's papers goes before.
MAX_CASING_TEMPERATURE: Final = 478.0  # K
MAX_DRY_RATIO: Final = 2.1
MAX_DIFFERENCE: Final = 83e3  # Pa, of the smallest; the largest bear 55e3

MIN_BLANKED: Final = 1e-12  # inlet over outlet pressure, where its search begins
MIN_FLOW_KG_S: Final = 1e-6  # that carries heat away


def slip_root(
    ratio: Values, temperature: Values = SLIP_TEMPERATURE, mass_ratio: Values = 1.0
) -> Array:
    """Slip over the slip at 1 psi, X, where the gaps act as orifices.

    X = sqrt[(dp / 1 psi) (101325 Pa / p1) (T1 / 293.15 K) / mass_ratio], and dp/p1 = r - 1, so
    that slip follows the pressure ratio and the inlet's temperature alone: altitude comes in
    through r. A ratio below 1 gives the negative of the root.

    Common practice, no source, for the form with 1 psi, 14.7 psia, 528 °R and a specific gravity
    against air; it is Bernoulli's flow through an orifice, the density taken at the inlet.
    Against an isentropic nozzle it is high by 0.3 % at 2 inHg, 1.8 % at 10 and 3.2 % at 15; a hot
    outlet makes true slip smaller by up to sqrt(T1/T2).
    """
    excess = np.asarray(ratio, dtype=np.float64) - 1
    square = _ROOT_PER_RATIO * np.abs(excess) * temperature / SLIP_TEMPERATURE / mass_ratio
    return np.sign(excess) * np.sqrt(square)


def laminar_slip(
    ratio: Values, inlet_pressure: Values, temperature: Values = SLIP_TEMPERATURE
) -> Array:
    """Slip over the slip at 1 psi, Y, where the gaps are so narrow that viscosity rules.

    Y goes with dp (1 + r) / (2 mu): volume flow, at the inlet, of an ideal gas at one
    temperature between close plates (Poiseuille's law; Hagen, 1839, for a tube). 1 at a
    difference of 1 psi to 101325 Pa at 293.15 K.
    """
    r = np.asarray(ratio, dtype=np.float64)
    thinner = air.viscosity(SLIP_TEMPERATURE) / air.viscosity(temperature)
    return np.asarray(inlet_pressure * (r - 1) * (1 + r) / _LAMINAR_UNIT * thinner)


def slip_multiple(
    inlet_pressure: Values,
    outlet_pressure: Values,
    temperature: Values = SLIP_TEMPERATURE,
    mass_ratio: Values = 1.0,
    laminar_share: Values = 0.0,
) -> Array:
    """Slip over the slip speed S1: (1 - a) X + a Y, a being the laminar share at 1 psi.

    The two parts add as a judgement; a of a real blower is known only from three vacua or
    more at one speed.
    """
    ratio = np.asarray(outlet_pressure, dtype=np.float64) / inlet_pressure
    root = slip_root(ratio, temperature, mass_ratio)
    return np.asarray(
        root + laminar_share * (laminar_slip(ratio, inlet_pressure, temperature) - root)
    )


def inlet_flow(displacement: Values, speed_rpm: Values, slip_rpm: Values) -> Array:
    """Flow in m³/s at the state of the blower's inlet: Q1 = V_d (N - N_s) / 60."""
    return np.asarray(displacement * (np.asarray(speed_rpm, dtype=np.float64) - slip_rpm) / 60)


def blanked_inlet_pressure(
    speed_rpm: Values,
    slip_rpm_at_1_psi: Values,
    outlet_pressure: Values,
    *,
    temperature: Values = SLIP_TEMPERATURE,
    mass_ratio: Values = 1.0,
    laminar_share: Values = 0.0,
) -> Array:
    """Find the inlet pressure at which all the blower's turns are slip: N = S1 [(1-a) X + a Y].

    A figure to compare with, never a test to ask for: a blanked blower heats up until it
    seizes, and in practice a relief valve opens first.

    Parameters
    ----------
    speed_rpm, slip_rpm_at_1_psi : rev/min
    outlet_pressure : Pa
    temperature : K
        At the inlet.
    mass_ratio : fraction
        Density of the gas over that of dry air.
    laminar_share : fraction

    Returns
    -------
    array
        Pa, absolute. Without a laminar share outlet over inlet pressure is
        1 + (N/S1)^2 / 14.696 at 293.15 K.
    """
    given = (speed_rpm, slip_rpm_at_1_psi, outlet_pressure, temperature, mass_ratio, laminar_share)

    def excess(share: Array, n: Array, s1: Array, p2: Array, *state: Array) -> Array:
        return np.asarray(n - s1 * slip_multiple(share * p2, p2, *state))

    found = elementwise.find_root(excess, (MIN_BLANKED, 1.0), args=given)
    return np.asarray(found.x * outlet_pressure)


def gas_power(displacement: Values, speed_rpm: Values, difference: Values) -> Array:
    """Power in W that the gas takes: V_d N dp / 60.

    A lobe blower compresses by the gas that streams back from the outlet, so the work of a
    turn is the full difference on the whole displacement, slip or not.
    """
    return np.asarray(displacement * np.asarray(speed_rpm, dtype=np.float64) / 60 * difference)


class BeyondLimits(NamedTuple):
    """Which limits a blower at work goes beyond; figures there are no offer to work there."""

    heat: NDArray[np.bool_]  # hotter than the casing may be
    ratio: NDArray[np.bool_]  # more vacuum than dry service without cooling air bears
    difference: NDArray[np.bool_]  # more than any size is built for


def beyond_limits(
    inlet_pressure: Values, outlet_pressure: Values, discharge_temperature: Values
) -> BeyondLimits:
    """Compare a state with the limits of this module; a maker's own go before them.

    Parameters
    ----------
    inlet_pressure, outlet_pressure : Pa
    discharge_temperature : K
    """
    p1, p2 = np.asarray(inlet_pressure, dtype=np.float64), np.asarray(outlet_pressure)
    return BeyondLimits(
        np.asarray(np.asarray(discharge_temperature) > MAX_CASING_TEMPERATURE),
        np.asarray(p2 / p1 > MAX_DRY_RATIO),
        np.asarray(p2 - p1 > MAX_DIFFERENCE),
    )


def discharge_rise(
    displacement: Values,
    speed_rpm: Values,
    difference: Values,
    mass_flow: Values,
    heat_loss: Values = 0.0,
) -> Array:
    """Compute how much hotter the air leaves the blower than it came in.

    Parameters
    ----------
    displacement : m³ a turn
    speed_rpm : rev/min
    difference : Pa
        Outlet less inlet pressure.
    mass_flow : kg/s
        That leaves; a flow below 1 mg/s counts as that.
    heat_loss : fraction
        Of the gas power, that the casing gives away: 0.05 to 0.15 (judgement); bearings and gears
        heat the other way.

    Returns
    -------
    array
        K: V_d N dp (1 - heat_loss) / (60 cp q_m), with cp of dry air (moist air's is greater by
        0.9 % at 10 g/kg). All of the gas power heats the air that leaves.
    """
    power = gas_power(displacement, speed_rpm, difference) * (1 - np.asarray(heat_loss))
    return np.asarray(power / (np.maximum(mass_flow, MIN_FLOW_KG_S) * air.HEAT_CAPACITY))

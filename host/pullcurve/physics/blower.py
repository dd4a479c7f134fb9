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

from pullcurve.physics import air
from pullcurve.physics.air import Array, Values

# Slip speeds are stated for this difference and for air of this state at the inlet.
SLIP_DIFFERENCE: Final = 6894.757  # Pa, 1 psi
SLIP_TEMPERATURE: Final = 293.15  # K, 528 °R
_ROOT_PER_RATIO: Final = air.STANDARD_PRESSURE / SLIP_DIFFERENCE  # 14.696

# Y = 1 at a difference of 1 psi to an outlet at the standard pressure.
_LAMINAR_UNIT: Final = SLIP_DIFFERENCE * (
    1 + air.STANDARD_PRESSURE / (air.STANDARD_PRESSURE - SLIP_DIFFERENCE)
)

# Where blowers of this kind end: a casing of 400 °F, not continuously; dry service to 15 or 16 inHg
# at sea level, a pressure ratio of 2.1; a difference of 8 psi to 12 psi, by size. All three are
# common practice, no source: what stands on the machine and in its maker's papers goes before.
MOST_CASING_TEMPERATURE: Final = 478.0  # K
MOST_DRY_RATIO: Final = 2.1
MOST_DIFFERENCE: Final = 83e3  # Pa, of the smallest; the largest bear 55e3

# Friction of bearings, gears and seals over the gas power, least and greatest (judgement).
FRICTION_SHARE: Final = (0.03, 0.08)

# Tolerance of the inlet flow in an acceptance test, by inlet flow in m³/s: ISO 1217, annexes
# for simple acceptance tests, from memory and not verified. A limit, not a standard
# uncertainty. No standard covers an engine-driven suction unit.
_ACCEPTANCE: Final = ((0.5 / 60, 0.07), (1.5 / 60, 0.06), (15 / 60, 0.05), (np.inf, 0.04))

_HALVINGS: Final = 60  # of the blanked inlet's pressure: finer than a float's digits


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


def volumetric_efficiency(speed_rpm: Values, slip_rpm: Values) -> Array:
    """Inlet flow over displaced volume: VE = 1 - N_s / N."""
    return np.asarray(1 - np.asarray(slip_rpm, dtype=np.float64) / speed_rpm)


def inlet_flow_of_free_air(
    free_air_flow: Values, vacuum: Values, reference_pressure: Values = air.STANDARD_PRESSURE
) -> Array:
    """Flow at the inlet's state, m³/s, of a flow that a sheet states as free air.

    Q1 = Q_free p0 / (p0 - vacuum), at one temperature. Sheets of either kind exist, and at
    12 inHg they differ by a factor of 0.6.
    """
    return np.asarray(free_air_flow * reference_pressure / (reference_pressure - vacuum))


def inlet_pressure_of_rating(
    rated_vacuum: Values, rated_pressure: Values, outlet_pressure: Values
) -> Array:
    """Inlet pressure in Pa at which the blower works here as the sheet says for a vacuum there.

    Equal pressure ratio, not equal vacuum: p1 = p2 (p0 - vacuum) / p0. rated_pressure: p0,
    outlet pressure that the sheet was made at.
    """
    return np.asarray(outlet_pressure * (1 - np.asarray(rated_vacuum) / rated_pressure))


def rated_vacuum(inlet_pressure: Values, outlet_pressure: Values, rated_pressure: Values) -> Array:
    """Vacuum in Pa at which to look up a sheet made at p0: p0 (1 - p1/p2).

    The inverse of `inlet_pressure_of_rating`. The slip found so is the sheet's temperature's:
    multiply it by sqrt(T1 / T0).
    """
    return np.asarray(rated_pressure * (1 - np.asarray(inlet_pressure) / outlet_pressure))


def blanked_inlet_pressure(
    speed_rpm: Values,
    slip_rpm_at_1_psi: Values,
    outlet_pressure: Values,
    *,
    temperature: Values = SLIP_TEMPERATURE,
    mass_ratio: Values = 1.0,
    laminar_share: Values = 0.0,
) -> Array:
    """Inlet pressure in Pa at which all the blower's turns are slip: N = S1 [(1-a) X + a Y].

    A figure to compare with, never a test to ask for: a blanked blower heats up until it
    seizes, and in practice a relief valve opens first. Without a laminar share
    r = 1 + (N/S1)^2 / 14.696 at 293.15 K.
    """
    turns = np.asarray(speed_rpm, dtype=np.float64) / slip_rpm_at_1_psi
    shape = np.broadcast(turns, outlet_pressure, temperature, mass_ratio, laminar_share).shape
    low, high = np.zeros(shape), np.ones(shape)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        slip = slip_multiple(
            middle * outlet_pressure, outlet_pressure, temperature, mass_ratio, laminar_share
        )
        too_low = slip > turns
        low, high = np.where(too_low, middle, low), np.where(too_low, high, middle)
    return np.asarray(high * outlet_pressure)


def gas_power(displacement: Values, speed_rpm: Values, difference: Values) -> Array:
    """Power in W that the gas takes: V_d N dp / 60.

    A lobe blower compresses by the gas that streams back from the outlet, so the work of a
    turn is the full difference on the whole displacement, slip or not.
    """
    return np.asarray(displacement * np.asarray(speed_rpm, dtype=np.float64) / 60 * difference)


def shaft_power(displacement: Values, speed_rpm: Values, difference: Values) -> tuple[Array, Array]:
    """Least and greatest power in W at the shaft: the gas power and 3 % to 8 % of friction."""
    gas = gas_power(displacement, speed_rpm, difference)
    return gas * (1 + FRICTION_SHARE[0]), gas * (1 + FRICTION_SHARE[1])


class BeyondLimits(NamedTuple):
    """What a blower at work goes beyond; figures computed there are no offer to work there."""

    heat: NDArray[np.bool_]  # hotter than the casing may be
    ratio: NDArray[np.bool_]  # more vacuum than dry service without cooling air bears
    difference: NDArray[np.bool_]  # more than any size is built for


def beyond_limits(
    inlet_pressure: Values, outlet_pressure: Values, discharge_temperature: Values
) -> BeyondLimits:
    """Which of the limits of this module a state passes; a maker's own go before them."""
    p1, p2 = np.asarray(inlet_pressure, dtype=np.float64), np.asarray(outlet_pressure)
    return BeyondLimits(
        np.asarray(discharge_temperature > np.float64(MOST_CASING_TEMPERATURE)),
        np.asarray(p2 / p1 > MOST_DRY_RATIO),
        np.asarray(p2 - p1 > MOST_DIFFERENCE),
    )


def temperature_rise(
    ratio: Values, temperature: Values, efficiency: Values, heat_loss: Values = 0.0
) -> Array:
    """Rise in K of the air from the blower's inlet to its outlet.

    dT = T1 (kappa-1)/kappa (r-1) / VE * (1 - heat_loss): all of the gas power heats the air
    that leaves. heat_loss is the share that the casing gives away, 0.05 to 0.15 (judgement);
    bearings and gears heat the other way. Infinite where the efficiency is 0 or less: no air
    leaves. See `beyond_limits`.
    """
    k = air.ISENTROPIC_EXPONENT
    ideal = (k - 1) / k * (np.asarray(ratio, dtype=np.float64) - 1) * temperature
    passing = np.asarray(efficiency, dtype=np.float64)
    moving = np.where(passing > 0, passing, np.nan)
    return np.where(passing > 0, ideal * (1 - np.asarray(heat_loss)) / moving, np.inf)


def mass_flow_from_heat(
    displacement: Values,
    speed_rpm: Values,
    difference: Values,
    rise: Values,
    heat_loss: Values = 0.0,
) -> Array:
    """Mass flow in kg/s that leaves the blower, from the heat it carries; no meter needed.

    q_m = V_d N dp (1 - heat_loss) / (60 cp rise), with cp of dry air (moist air's is greater
    by 0.9 % at 10 g/kg). A wrong heat loss fakes a leak or hides one: compare with the same
    machine's healthy run. NaN without a rise.
    """
    power = gas_power(displacement, speed_rpm, difference) * (1 - np.asarray(heat_loss))
    warmed = np.asarray(rise, dtype=np.float64)
    return np.asarray(power / (air.HEAT_CAPACITY * np.where(warmed > 0, warmed, np.nan)))


def acceptance_tolerance(flow: Values) -> Array:
    """Relative tolerance, a limit, that an acceptance test allows a new blower's inlet flow.

    flow: m³/s at the inlet. 7 %, 6 %, 5 % and 4 % below 0.5, 1.5, 15 m³/min and above: ISO
    1217, from memory and not verified.
    """
    q = np.asarray(flow, dtype=np.float64)
    bounds, tolerances = zip(*_ACCEPTANCE, strict=True)
    relative: Array = np.asarray(tolerances)[np.searchsorted(bounds[:-1], q, side="right")]
    return relative


def accepted_slip_ratio(displacement: Values, speed_rpm: Values, slip_rpm: Values) -> Array:
    """Slip over the sheet's with which a new blower could still pass its acceptance test.

    1 + tolerance (N - N_s) / N_s. A few per cent of flow are a large share of slip, most of all
    at little vacuum: where this scatter is all that is known, a ratio below it condemns nothing.
    """
    flow = inlet_flow(displacement, speed_rpm, slip_rpm)
    return np.asarray(1 + acceptance_tolerance(flow) * flow * 60 / (displacement * slip_rpm))

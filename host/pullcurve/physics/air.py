"""Moist air and the standard atmosphere.

All functions broadcast over floats and arrays and work in SI: pressure in Pa, absolute;
temperature in K; relative humidity as a fraction, over water at any temperature; mole
fraction of water vapour in mol/mol. A relative humidity belongs to one pressure and
temperature, a mole fraction travels with the air: from place to place carry
`vapour_fraction`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pullcurve.quantities import FREE_FALL, ZERO_CELSIUS

Array: TypeAlias = NDArray[np.float64]
Values: TypeAlias = float | Array

# CIPM-2007 (Picard et al. 2008), with the gas constant that the formula was adjusted to.
_GAS_CONSTANT: Final = 8.314472  # J/(mol K)
_MOLAR_MASS_DRY: Final = 28.96546e-3  # kg/mol, at 400 µmol/mol of carbon dioxide
_MOLAR_MASS_VAPOUR: Final = 18.01528e-3  # kg/mol
VAPOUR_OVER_AIR: Final = _MOLAR_MASS_VAPOUR / _MOLAR_MASS_DRY

# Real air, 0 °C to 50 °C, dry to saturated: 1.390 to 1.4014 (CoolProp 8.0.0); the low end
# only near saturation at 50 °C.
ISENTROPIC_EXPONENT: Final = 1.400
ISENTROPIC_EXPONENT_UNCERTAINTY: Final = 0.003  # standard uncertainty
HEAT_CAPACITY: Final = 1006.0  # J/(kg K), dry air at constant pressure and 20 °C

ROOM_TEMPERATURE: Final = ZERO_CELSIUS + 20  # K, of standard flows and of data sheets

# ISO 2533:1975, clause 2 and table 1.
STANDARD_PRESSURE: Final = 101_325.0  # Pa
_STANDARD_TEMPERATURE: Final = 288.15  # K
_LAPSE: Final = 0.0065  # K per geopotential metre
DRY_AIR_GAS_CONSTANT: Final = 287.05287  # J/(kg K)
_EARTH_RADIUS: Final = 6_356_766.0  # m, nominal
_TROPOPAUSE: Final = 11_000.0  # m, geopotential
_EXPONENT: Final = FREE_FALL / (_LAPSE * DRY_AIR_GAS_CONSTANT)  # 5.25588


def saturation_pressure(temperature: Values) -> Array:
    """Saturation vapour pressure over water, p_sv in Pa.

    Source: CIPM-2007, appendix A1. Below 0 °C this is supercooled water, as humidity
    sensors report it; over ice it is lower (-18 % at -20 °C).
    """
    t = np.asarray(temperature, dtype=np.float64)
    return np.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)


def enhancement_factor(pressure: Values, temperature: Values) -> Array:
    """How much more vapour saturated air holds than pure vapour would, f.

    Source: CIPM-2007, appendix A1.
    """
    t = np.asarray(temperature, dtype=np.float64) - ZERO_CELSIUS
    return 1.00062 + 3.14e-8 * pressure + 5.6e-7 * t**2


def vapour_fraction(pressure: Values, temperature: Values, humidity: Values) -> Array:
    """Mole fraction of water vapour x_v = h f p_sv / p of air with relative humidity h.

    Source: CIPM-2007, appendix A1.
    """
    saturated = enhancement_factor(pressure, temperature) * saturation_pressure(temperature)
    return humidity * saturated / pressure


def compressibility(pressure: Values, temperature: Values, vapour: Values) -> Array:
    """Compressibility factor Z of moist air.

    Source: CIPM-2007, appendix A1.
    """
    kelvin = np.asarray(temperature, dtype=np.float64)
    t = kelvin - ZERO_CELSIUS
    x = vapour
    first = (
        1.58123e-6
        - 2.9331e-8 * t
        + 1.1043e-10 * t**2
        + (5.707e-6 - 2.051e-8 * t) * x
        + (1.9898e-4 - 2.376e-6 * t) * x**2
    )
    p_over_t = pressure / kelvin
    return 1 - p_over_t * first + p_over_t**2 * (1.83e-11 - 0.765e-8 * x**2)


def density(pressure: Values, temperature: Values, vapour: Values) -> Array:
    """Density of moist air, kg/m³: rho = p M_a / (Z R T) * (1 - x_v (1 - M_v/M_a)).

    Source: CIPM-2007: Picard, Davis, Gläser, Fujii, Metrologia 45 (2008) 149, equation 1,
    with 400 µmol/mol of carbon dioxide (30 µmol/mol more adds 1.2e-5). Values are computed
    for any input; `density_uncertainty` says what they are worth.
    """
    z = compressibility(pressure, temperature, vapour)
    kelvin = np.asarray(temperature, dtype=np.float64)
    dry = pressure * _MOLAR_MASS_DRY / (z * _GAS_CONSTANT * kelvin)
    return dry * (1 - vapour * (1 - VAPOUR_OVER_AIR))


def density_uncertainty(pressure: Values, temperature: Values) -> Array:
    """Relative standard uncertainty of the density formula itself, its inputs being exact.

    22e-6 where CIPM-2007 is recommended (600 hPa to 1100 hPa, 15 °C to 27 °C; figures from
    memory); 2e-4 where the tests compare it with CoolProp's moist air (60 kPa to 105 kPa,
    -20 °C to 50 °C, any humidity: largest difference 2.0e-4); NaN outside both.
    """
    t = np.asarray(temperature, dtype=np.float64) - ZERO_CELSIUS
    p = np.asarray(pressure, dtype=np.float64)
    recommended = (p >= 60e3) & (p <= 110e3) & (t >= 15) & (t <= 27)
    compared = (p >= 60e3) & (p <= 105e3) & (t >= -20) & (t <= 50)
    return np.where(recommended, 22e-6, np.where(compared, 2e-4, np.nan))


def viscosity(temperature: Values) -> Array:
    """Dynamic viscosity of air, Pa s: mu = 1.458e-6 T^1.5 / (T + 110.4).

    Source: ISO 2533:1975, clause 2.11 (Sutherland), clause number from memory. Dry air; it
    lies 0.3 % to 0.6 % below CoolProp from -20 °C to 50 °C, and up to 4 % above it for
    saturated air at 50 °C. Only the Reynolds number uses it.
    """
    t = np.asarray(temperature, dtype=np.float64)
    return 1.458e-6 * t**1.5 / (t + 110.4)


@dataclass(frozen=True)
class ReferenceConditions:
    """The state at which a standard flow is stated; `name` stands beside every such figure."""

    pressure_pa: float
    temperature_k: float
    humidity: float
    name: str

    def density(self) -> float:
        """Density of air in this state, kg/m³."""
        vapour = vapour_fraction(self.pressure_pa, self.temperature_k, self.humidity)
        return float(density(self.pressure_pa, self.temperature_k, vapour))


STANDARD_CONDITIONS: Final = ReferenceConditions(
    STANDARD_PRESSURE, ROOM_TEMPERATURE, 0.0, "101325 Pa, 20 °C, dry"
)


def standard_flow(
    mass_flow: Values, reference: ReferenceConditions = STANDARD_CONDITIONS
) -> Values:
    """Volume flow in m³/s that the mass flow would have at the reference conditions.

    Moist air counts with all its mass, vapour included: q_std = q_m / rho_reference. (Dry
    air alone would be less by the vapour's share of the mass, 0.7 % at 20 °C and 50 %.)
    """
    return mass_flow / reference.density()


def geopotential_altitude(altitude: Values) -> Array:
    """Geopotential altitude H in m of a geometric altitude Z (what a map shows).

    H = r Z / (r + Z). Source: ISO 2533:1975, clause 2.3 (number from memory).
    """
    z = np.asarray(altitude, dtype=np.float64)
    return _EARTH_RADIUS * z / (_EARTH_RADIUS + z)


def standard_temperature(altitude: Values) -> Array:
    """Temperature in K of the standard atmosphere at a geometric altitude in m.

    Source: ISO 2533:1975, troposphere: T = 288.15 - 0.0065 H. NaN above H = 11 km.
    """
    h = geopotential_altitude(altitude)
    return np.where(h <= _TROPOPAUSE, _STANDARD_TEMPERATURE - _LAPSE * h, np.nan)


def standard_pressure(altitude: Values) -> Array:
    """Pressure in Pa of the standard atmosphere at a geometric altitude in m.

    Source: ISO 2533:1975, troposphere: p = 101325 (T / 288.15)^5.25588. NaN above
    H = 11 km. Weather moves the true pressure by about 3 kPa either way.
    """
    ratio = standard_temperature(altitude) / _STANDARD_TEMPERATURE
    return STANDARD_PRESSURE * ratio**_EXPONENT


def altitude_of_pressure(pressure: Values) -> Array:
    """Geometric altitude Z in m at which the standard atmosphere has this pressure in Pa.

    The inverse of `standard_pressure`, with its limit; Z = r H / (r - H).
    """
    ratio = np.asarray(pressure, dtype=np.float64) / STANDARD_PRESSURE
    h = _STANDARD_TEMPERATURE / _LAPSE * (1 - ratio ** (1 / _EXPONENT))
    return np.where(h <= _TROPOPAUSE, _EARTH_RADIUS * h / (_EARTH_RADIUS - h), np.nan)


def station_pressure(qnh: Values, altitude: Values) -> Array:
    """Station pressure in Pa from QNH in Pa and the geometric altitude in m.

    QNH is the station pressure reduced to sea level along the standard atmosphere, so it
    inverts exactly: p^n = QNH^n - 101325^n * 0.0065 H / 288.15, n = 1 / 5.25588. The
    sea-level pressure of a weather map (QFF) is reduced with the real temperature and does
    not: here it would be wrong by several hPa. Source: ISO 2533:1975 and the definition of
    QNH.
    """
    n = 1 / _EXPONENT
    drop = _LAPSE * geopotential_altitude(altitude) / _STANDARD_TEMPERATURE
    reduced: Array = np.asarray(qnh, dtype=np.float64) ** n - STANDARD_PRESSURE**n * drop
    return np.power(reduced, _EXPONENT, dtype=np.float64)

"""The bench's own air, kept apart from the reduction's so that each can check the other.

Virial equation, first correction only: Z = 1 + B p / (R T). The second virial coefficients
are fits, made for this file, to those of CoolProp 8.0.0 (`HAProps_Aux`, -20 to 50 C; the
fits lie within 1e-9 m3/mol for air, 3e-9 for air with water, 0.06 % for water). Left out:
the third coefficients, about 2e-6 of dry air's density.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MOLAR_GAS_CONSTANT = 8.314462618  # J/(mol K), exact in the SI of 2019
MOLAR_MASS_DRY = 28.96546e-3  # kg/mol, Picard et al., Metrologia 45 (2008) 149
MOLAR_MASS_WATER = 18.01528e-3
ISENTROPIC_EXPONENT = 1.4
HEAT_CAPACITY = 1006.0  # J/(kg K), dry air near 20 C

STANDARD_PRESSURE_PA = 101325.0
STANDARD_TEMPERATURE_K = 293.15
ZERO_CELSIUS_K = 273.15


def vapour_fraction(pressure: Array, temperature: Array, humidity: Array) -> Array:
    """Mole fraction of water vapour.

    Saturation pressure over water: Buck, J. Appl. Meteorol. 20 (1981) 1527, coefficients as
    revised in 1996, 6.1121 exp((18.678 - t/234.5) t/(257.14 + t)) hPa. Enhancement factor:
    WMO-No. 8 (2008), annex 4.B, 1.0016 + 3.15e-6 p - 0.074/p, p in hPa. Both from memory.
    pressure [Pa], temperature [K], humidity [0 to 1]; arrays broadcast. Range -20 to 50 C.
    """
    celsius = temperature - ZERO_CELSIUS_K
    hectopascal = pressure / 100
    saturation = 611.21 * np.exp((18.678 - celsius / 234.5) * celsius / (257.14 + celsius))
    enhancement = 1.0016 + 3.15e-6 * hectopascal - 0.074 / hectopascal
    return np.asarray(humidity * enhancement * saturation / pressure)


def molar_mass(fraction: Array) -> Array:
    """Molar mass of moist air [kg/mol] at this mole fraction of water vapour."""
    return MOLAR_MASS_DRY + fraction * (MOLAR_MASS_WATER - MOLAR_MASS_DRY)


def compressibility(pressure: Array, temperature: Array, fraction: Array) -> Array:
    """Compressibility factor Z = 1 + B p / (R T) of moist air [1]; B from this file's fits."""
    inverse = 293.15 / temperature
    air = 3.99560e-5 - 3.83296e-5 * inverse - 1.07497e-5 * inverse**2
    cross = 2.85739e-5 - 3.29915e-5 * inverse - 2.71254e-5 * inverse**2
    water = -np.exp(-6.60146 + 5.38048 * (inverse - 1) + 0.95089 * (inverse - 1) ** 2)
    mixed = (1 - fraction) ** 2 * air + 2 * fraction * (1 - fraction) * cross + fraction**2 * water
    return np.asarray(1 + mixed * pressure / (MOLAR_GAS_CONSTANT * temperature))


def specific_gas_constant(pressure: Array, temperature: Array, fraction: Array) -> Array:
    """Z R / M [J/(kg K)]: density is pressure over this and temperature."""
    return (
        compressibility(pressure, temperature, fraction) * MOLAR_GAS_CONSTANT / molar_mass(fraction)
    )


def density(pressure: Any, temperature: Any, fraction: Any) -> Array:
    """Density of moist air [kg/m3] at pressure [Pa], temperature [K], vapour fraction [1]."""
    pressure, temperature, fraction = map(np.asarray, (pressure, temperature, fraction))
    return np.asarray(
        pressure / (specific_gas_constant(pressure, temperature, fraction) * temperature)
    )


def viscosity(temperature: Array) -> Array:
    """Dynamic viscosity of air [Pa s]: Sutherland's law, ISO 2533:1975, 2.15."""
    return np.asarray(1.458e-6 * temperature**1.5 / (temperature + 110.4))

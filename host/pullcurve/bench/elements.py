"""The laws of the path's elements. Flows in kg/s, inwards positive; pressures in Pa, absolute."""

import numpy as np

from pullcurve.bench.moist_air import (
    ISENTROPIC_EXPONENT,
    STANDARD_PRESSURE_PA,
    STANDARD_TEMPERATURE_K,
    Array,
)

ONE_PSI_PA = 6894.757  # slip speeds are stated for this and the standard state

_LAMINAR_PA = 1.0  # leaks and port go linearly to zero below about this (judgement)
_LEAST_PA2 = 1e6  # keeps a straying iteration from the root of a negative square
_ROUNDS = 12  # of the fixed point for the air's acceleration in the hose


def loss_term(loss: Array | float, bore_m: float) -> Array:
    """K / A^2 [1/m4] of a loss coefficient on a bore [m]."""
    return np.asarray(loss / (np.pi / 4 * bore_m**2) ** 2)


def pressure_before(pressure: Array, mass_flow: Array, term: Array, rt: Array) -> Array:
    """Pressure [Pa] ahead of an isothermal loss: p_in^2 - p_out^2 = (K / A^2) m |m| R T.

    Darcy-Weisbach with the density of the mean pressure. term = K / A^2 [1/m4], rt = R T
    [J/kg]; arrays broadcast.
    """
    return np.sqrt(np.maximum(pressure**2 + term * mass_flow * np.abs(mass_flow) * rt, _LEAST_PA2))


def inlet_flow(
    ambient: Array,
    tank: Array,
    *,
    ahead: Array,
    hose: Array,
    acceleration: Array,
    behind: Array,
    rt: Array,
) -> Array:
    """Mass flow [kg/s] from the open air through meter, hose and port into the tank.

    Losses in series, each as in `pressure_before`; the hose as isothermal flow of an ideal
    gas with friction (the complete isothermal equation of Crane TP-410, from memory),

        p_in^2 - p_out^2 = (m/A)^2 R T (f L/D + sum K + 2 ln(p_in/p_out)),

    whose logarithm is the air's own acceleration, found by fixed point. `ahead`, `hose` and
    `behind` are K / A^2 [1/m4], `acceleration` is 2 / A^2 of the hose, 0 without one. rt = R T
    [J/kg]; arrays broadcast. Mach number below 0.3 or so.
    """
    difference = ambient**2 - tank**2
    head = np.abs(difference) / (ahead + hose + behind)
    for _ in range(_ROUNDS if np.any(acceleration) else 0):
        mouth = np.sqrt(np.maximum(ambient**2 - np.sign(difference) * head * ahead, _LEAST_PA2))
        end = np.sqrt(np.maximum(tank**2 + np.sign(difference) * head * behind, _LEAST_PA2))
        logarithm = np.abs(np.log(mouth / end))
        head = np.abs(difference) / (ahead + hose + behind + acceleration * logarithm)
    return np.asarray(np.sign(difference) * np.sqrt(head / rt) * _laminar(ambient - tank))


def leak_flow(area_m2: Array, ambient: Array, inside: Array, rt: Array) -> Array:
    """Mass flow [kg/s] through a leak of effective area `area_m2`, inwards positive.

    Isentropic nozzle (Saint-Venant and Wantzel) from rest at `ambient` [Pa], choked below a
    pressure ratio of 0.5283 (k = 1.4). rt = R T [J/kg]. Outward flow by the mirror image,
    which serves the short moments in which the pressure inside exceeds ambient.
    """
    k = ISENTROPIC_EXPONENT
    high, low = np.maximum(ambient, inside), np.minimum(ambient, inside)
    critical = (2 / (k + 1)) ** (k / (k - 1))
    ratio = np.maximum(low / high, critical)
    flow = np.sqrt(2 * k / (k - 1) * -(ratio ** (2 / k)) * np.expm1((k - 1) / k * np.log(ratio)))
    drop = ambient - inside
    return np.asarray(np.sign(drop) * area_m2 * high / np.sqrt(rt) * flow * _laminar(drop))


def slip_ratio_per_square(temperature: Array, mass_ratio: Array) -> Array:
    """(r - 1) / X^2 [1] of a blower at inlet `temperature` [K].

    Slip as a speed (the form is common practice, no source): N_s = S1 X, X^2 = (dp / 1 psi)
    (101325 Pa / p1) (T1 / 293.15 K) / SG, with S1 the speed that just holds 1 psi. dp / p1 =
    r - 1: X goes with the pressure ratio alone. mass_ratio = SG.
    """
    return ONE_PSI_PA / STANDARD_PRESSURE_PA * STANDARD_TEMPERATURE_K / temperature * mass_ratio


def narrow_gap_slip(inlet: Array, ratio: Array) -> Array:
    """Slip through gaps so narrow that viscosity rules, over that at 1 psi [1].

    Isothermal flow of an ideal gas between close plates (Poiseuille): volume flow at the
    inlet goes with dp (1 + r) / 2. inlet = p1 [Pa], ratio = r; 1 psi is below 101325 Pa.
    """
    unit_ratio = STANDARD_PRESSURE_PA / (STANDARD_PRESSURE_PA - ONE_PSI_PA)
    return inlet * (ratio - 1) * (1 + ratio) / (ONE_PSI_PA * (1 + unit_ratio))


def _laminar(drop: Array) -> Array:
    size = np.abs(drop)
    return np.asarray(np.sqrt(size / np.hypot(size, _LAMINAR_PA)))

"""What moving air carries: stones that it lifts, grit that it keeps moving, spoil by kind.

Symbols, SI: d particle's diameter, D bore in m; rho_p, rho densities of particle and air in
kg/m³; mu viscosity of the air in Pa s; U mean velocity in the empty bore in m/s; v_t terminal
velocity; G_s solids' flux in kg/(m² s); loading mu_s = solids' over air's mass flow. Everything
broadcasts; a formula outside its limits gives NaN. Air in a suction hose is slowest at its open
end and in its widest bore: judge there.

None of this is exact. Correlations of one velocity differ by a factor of 2 among each other and
with tests, so the answers are bands; `spoils` holds what is common for each kind of spoil.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from pullcurve.physics.air import Array, Values
from pullcurve.quantities import FREE_FALL

SALTATION_MARGIN: Final = 1.2  # above the least velocity (common practice, no source)
LIFT_MARGIN: Final = (1.3, 1.5)  # on v_t, so that a stone rises at all quickly (judgement)
ANGULAR: Final = (0.6, 0.8)  # v_t of broken stone and grit over a sphere's (judgement)

_LEAST_GRAIN: Final = 0.1e-3  # m, of saltation's band (judgement)
_LEAST_COARSE: Final = 0.3e-3  # m, from which Matsumoto's formulas hold
_MOST_BORE_SHARE: Final = 0.1  # d/D up to which saltation is a cloud's affair (judgement)
_MOST_RIZK: Final = (1500.0, 3e-3)  # density and d for which Rizk is counted (judgement)


class Band(NamedTuple):
    """Two ends between which the truth is expected; NaN where nothing is known."""

    low: Array
    high: Array


def drag_coefficient(reynolds: Values) -> Array:
    """Drag coefficient of a sphere: 24/Re (1 + 0.150 Re^0.681) + 0.407 / (1 + 8710/Re).

    Source: Brown and Lawler, J. Environ. Eng. 129 (2003) 222-231, from memory; for Re < 2e5.
    Computed beyond: a smooth sphere's drag falls there, a rough stone's does not.
    """
    re = np.asarray(reynolds, dtype=np.float64)
    return np.asarray(24 / re * (1 + 0.150 * re**0.681) + 0.407 / (1 + 8710 / re))


def archimedes_number(
    diameter: Values, particle_density: Values, density: Values, viscosity: Values
) -> Array:
    """Archimedes number rho (rho_p - rho) g d³ / mu²."""
    excess = np.asarray(particle_density, dtype=np.float64) - density
    return np.asarray(density * excess * FREE_FALL * diameter**3 / viscosity**2)


def terminal_velocity(
    diameter: Values, particle_density: Values, density: Values, viscosity: Values
) -> Array:
    """Velocity in m/s at which a sphere hangs in rising air: Cd Re² = 4/3 Ar.

    A sphere falls faster than broken stone of its sieve size (`ANGULAR`): the safe side for
    lifting. Alone and in an open stream; a stone that fills much of the bore lifts sooner.
    """
    target = archimedes_number(diameter, particle_density, density, viscosity)
    # Newton's method on logarithms, whose slope lies between 1 and 2.
    log_re: Array = np.log(target / (18 + 0.6 * np.sqrt(target)))
    for _ in range(12):
        re = np.exp(log_re)
        drag = drag_coefficient(re)
        slope = 2 + np.log(drag_coefficient(re * 1.001) / drag) / np.log(1.001)
        log_re = log_re - (np.log(drag * re**2) - np.log(4 / 3 * target)) / slope
    return np.asarray(np.exp(log_re) * viscosity / (density * np.asarray(diameter)))


def largest_lifted(
    velocity: Values,
    particle_density: Values,
    density: Values,
    viscosity: Values,
    margin: Values = 1.0,
) -> Array:
    """Diameter in m of the largest sphere with margin * v_t up to the velocity in m/s.

    3/4 rho v² Cd / ((rho_p - rho) g) = d, with v = velocity / margin: one answer, for d grows
    faster than its drag. Whatever passes half the bore jams first (common practice, no source).
    """
    v = np.maximum(velocity, 1e-9) / margin
    scale = 0.75 * density * v**2 / ((particle_density - np.asarray(density)) * FREE_FALL)
    log_d: Array = np.log(0.45 * scale + 1e-7)
    for _ in range(60):
        # Cd falls with d at most as 1/d, so half a step always converges.
        re = density * v * np.exp(log_d) / viscosity
        log_d = log_d + 0.5 * (np.log(scale * drag_coefficient(re)) - log_d)
    return np.where(np.asarray(velocity) > 0, np.exp(log_d), 0.0)


def loading(solids_flow: Values, air_flow: Values) -> Array:
    """Solids carried per air, mu_s, from two mass flows in kg/s. Dilute below about 10 to 15.

    The limit is common practice, no source: above it the formulas here do not hold.
    """
    return np.asarray(np.asarray(solids_flow, dtype=np.float64) / air_flow)


def saltation_rizk(solids_flow: Values, diameter: Values, density: Values, bore: Values) -> Array:
    """Velocity below which grains fall out in a horizontal bore: mu_s = 10^-a Fr^b.

    a = 1440 d + 1.96, b = 1100 d + 2.5, Fr = U / sqrt(g D). Rizk, 1973, as quoted in Rhodes,
    Introduction to Particle Technology, and in the library fluids (some notes have 1.95). It
    knows no particle density: too low for steel and stone.
    """
    d = np.asarray(diameter, dtype=np.float64)
    b = 1100 * d + 2.5
    flux = _air_flux(solids_flow, density, bore)
    return np.asarray(
        (flux * 10 ** (1440 * d + 1.96) * np.sqrt(FREE_FALL * bore) ** b) ** (1 / (1 + b))
    )


def saltation_matsumoto_1974(
    solids_flow: Values,
    diameter: Values,
    particle_density: Values,
    density: Values,
    bore: Values,
    terminal: Values,
) -> Array:
    """Saltation velocity of coarse grains: mu_s = 0.448 (rho_p/rho)^0.5 (Fr_p/10)^-1.75 (Fr/10)³.

    Fr_p = v_t / sqrt(g d). Matsumoto et al., J. Chem. Eng. Japan 7 (1974) 425-430, as quoted in
    the library fluids. NaN below 0.3 mm.
    """
    lifted = _particle_froude(diameter, terminal) ** -1.75
    factor = 0.448 * np.sqrt(np.asarray(particle_density) / density) * lifted
    return _coarse(diameter, _from_power(factor, 3.0, solids_flow, density, bore))


def saltation_matsumoto_1975(
    solids_flow: Values,
    diameter: Values,
    particle_density: Values,
    density: Values,
    bore: Values,
    terminal: Values,
) -> Array:
    """Saltation velocity: mu_s = 1.11 (rho_p/rho)^0.55 (Fr_p/10)^-2.3 (Fr/10)³.

    Matsumoto et al., J. Powder Technol. Soc. Japan, 1975, as quoted in the library fluids.
    NaN below 0.3 mm.
    """
    lifted = _particle_froude(diameter, terminal) ** -2.3
    factor = 1.11 * (np.asarray(particle_density) / density) ** 0.55 * lifted
    return _coarse(diameter, _from_power(factor, 3.0, solids_flow, density, bore))


def saltation_matsumoto_1977(
    solids_flow: Values,
    diameter: Values,
    particle_density: Values,
    density: Values,
    bore: Values,
    terminal: Values,
) -> Array:
    """Saltation velocity of fine and coarse grains, parted at d = 1.39 D (rho_p/rho)^-0.74.

    Coarse: mu_s = 0.373 (rho_p/rho)^1.06 (Fr_p/10)^-3.7 (Fr/10)^3.61; fine: mu_s = 5560
    (d/D)^1.43 (Fr/10)^4. Matsumoto et al., J. Chem. Eng. Japan 10 (1977) 273-279, as quoted in
    the library fluids.
    """
    heavier: Array = np.asarray(particle_density, dtype=np.float64) / density
    coarse = 0.373 * heavier**1.06 * _particle_froude(diameter, terminal) ** -3.7
    fine = 5560 * (np.asarray(diameter) / bore) ** 1.43
    return np.where(
        diameter > 1.39 * bore * heavier**-0.74,
        _from_power(coarse, 3.61, solids_flow, density, bore),
        _from_power(fine, 4.0, solids_flow, density, bore),
    )


def saltation_schade(
    solids_flow: Values,
    diameter: Values,
    particle_density: Values,
    density: Values,
    bore: Values,
) -> Array:
    """Saltation velocity: Fr = mu_s^0.11 (D/d)^0.025 (rho_p/rho)^0.34.

    Schade, dissertation, Karlsruhe, 1987, as quoted in the library fluids.
    """
    shape = (np.asarray(bore) / diameter) ** 0.025 * (
        np.asarray(particle_density) / density
    ) ** 0.34
    flux = _air_flux(solids_flow, density, bore)
    return np.asarray((flux**0.11 * shape * np.sqrt(FREE_FALL * np.asarray(bore))) ** (1 / 1.11))


def saltation_band(
    solids_flow: Values,
    diameter: Values,
    particle_density: Values,
    density: Values,
    viscosity: Values,
    bore: Values,
) -> Band:
    """Least and greatest saltation velocity of the correlations that hold for these grains.

    Rizk counts only for light and fine grains. NaN for powder below 0.1 mm, which the others
    have far too high against what is run, and for stones above a tenth of the bore, which slide
    or are lifted each for itself: there `terminal_velocity` rules.
    """
    terminal = terminal_velocity(diameter, particle_density, density, viscosity)
    arguments = (solids_flow, diameter, particle_density, density, bore)
    light = (particle_density <= np.float64(_MOST_RIZK[0])) & (
        diameter <= np.float64(_MOST_RIZK[1])
    )
    rizk = saltation_rizk(solids_flow, diameter, density, bore)
    values = np.stack(
        np.broadcast_arrays(
            np.where(light, rizk, np.nan),
            saltation_matsumoto_1974(*arguments, terminal),
            saltation_matsumoto_1975(*arguments, terminal),
            saltation_matsumoto_1977(*arguments, terminal),
            saltation_schade(*arguments),
        )
    )
    d = np.asarray(diameter, dtype=np.float64)
    holds = (d >= _LEAST_GRAIN) & (d <= _MOST_BORE_SHARE * np.asarray(bore))
    return _band(np.where(holds, values, np.nan))


def pickup_cabrejos_klinzing(
    diameter: Values, particle_density: Values, density: Values, viscosity: Values, bore: Values
) -> Array:
    """Velocity that lifts grains off a layer at rest, in m/s.

    U / sqrt(g d) = 0.0428 Re^0.175 (D/d)^0.25 (rho_p/rho)^0.75, Re = rho U d / mu. Cabrejos and
    Klinzing, Powder Technol. 79 (1994) 173-186, from memory. NaN outside 25 < Re < 5000, 8 <
    D/d < 1340, 700 < rho_p/rho < 4240: steel is outside.
    """
    d = np.asarray(diameter, dtype=np.float64)
    heavier, slender = np.asarray(particle_density) / density, bore / d
    turbulence = (density * d / viscosity) ** 0.175
    right = 0.0428 * turbulence * np.sqrt(FREE_FALL * d) * slender**0.25 * heavier**0.75
    velocity: Array = right ** (1 / 0.825)
    re = density * velocity * d / viscosity
    holds = (re > 25) & (re < 5000) & (slender > 8) & (slender < 1340)
    return np.where(holds & (heavier > 700) & (heavier < 4240), velocity, np.nan)


def pickup_kalman(
    diameter: Values, particle_density: Values, density: Values, viscosity: Values, bore: Values
) -> Array:
    """Velocity that lifts grains off a layer at rest: Re* = 5 Ar^(3/7).

    Re* = rho U d / (mu (1.4 - 0.8 exp(-D / 75 mm))). Kalman, Satran, Meir and Rabinovich, Powder
    Technol. 160 (2005) 103-113, from memory. NaN for Ar <= 16.5, where grains stick together.
    """
    ar = archimedes_number(diameter, particle_density, density, viscosity)
    wider = 1.4 - 0.8 * np.exp(-np.asarray(bore, dtype=np.float64) / 0.075)
    velocity: Array = 5 * ar ** (3 / 7) * viscosity / (density * np.asarray(diameter)) * wider
    return np.where(ar > 16.5, velocity, np.nan)


def pickup_band(
    diameter: Values, particle_density: Values, density: Values, viscosity: Values, bore: Values
) -> Band:
    """Least and greatest pickup velocity of the two correlations, where they hold."""
    arguments = (diameter, particle_density, density, viscosity, bore)
    both = np.broadcast_arrays(pickup_cabrejos_klinzing(*arguments), pickup_kalman(*arguments))
    return _band(np.stack(both))


def _air_flux(solids_flow: Values, density: Values, bore: Values) -> Array:
    """Loading times velocity in m/s: the solids' flux over the air's density."""
    return np.asarray(solids_flow / (density * np.pi / 4 * np.asarray(bore) ** 2))


def _particle_froude(diameter: Values, terminal: Values) -> Array:
    return np.asarray(terminal / np.sqrt(FREE_FALL * np.asarray(diameter)) / 10)


def _from_power(
    factor: Values, power: float, solids_flow: Values, density: Values, bore: Values
) -> Array:
    """U of mu_s = factor (Fr/10)^power."""
    froude = (1 / (10 * np.sqrt(FREE_FALL * np.asarray(bore)))) ** power
    return np.asarray(
        (_air_flux(solids_flow, density, bore) / (factor * froude)) ** (1 / (1 + power))
    )


def _coarse(diameter: Values, velocity: Array) -> Array:
    return np.where(np.asarray(diameter) >= _LEAST_COARSE, velocity, np.nan)


def _band(values: Array) -> Band:
    """Of the first axis, what is not NaN."""
    low = np.min(np.where(np.isnan(values), np.inf, values), axis=0)
    high = np.max(np.where(np.isnan(values), -np.inf, values), axis=0)
    none = np.isinf(low)
    return Band(np.where(none, np.nan, low), np.where(none, np.nan, high))

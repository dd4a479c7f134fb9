"""The laws of what air passes on its way to the blower: hose, fittings, plate, filter, leaks.

Symbols, SI: p static absolute pressure in Pa; m mass flow in kg/s, towards the blower
positive; rt = R T = p / rho in J/kg, one value along the path (isothermal, as ideal gas);
K loss coefficient on the dynamic pressure in a bore, A that bore's area in m²; f friction
factor of Darcy, four times Fanning's. Everything broadcasts. The laws go against the air, from
the pressure behind a thing to that ahead of it: so every flow has an answer, choked or not.
`path` strings them together.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import air
from pullcurve.physics.air import Array, Values

_LAMINAR_REYNOLDS: Final = 2040.0  # onset of turbulence in pipes: Avila et al., Science 333 (2011)
_FINEST: Final = 1e-12  # relative change of a squared pressure at which a hose is solved
_MOST_PASSES: Final = 30

# Below this ratio of pressures a leak chokes: 0.5283 for kappa = 1.4.
CRITICAL_RATIO: Final = (2 / (air.ISENTROPIC_EXPONENT + 1)) ** (
    air.ISENTROPIC_EXPONENT / (air.ISENTROPIC_EXPONENT - 1)
)


class Band(NamedTuple):
    """What is known of a friction factor unmeasured: log-normal, one standard deviation."""

    median: float
    factor: float


# Judgement, between smooth rubber (0.02), flexible duct of fabric over wire (0.033: ACGIH,
# Industrial Ventilation, 1998, from memory) and corrugated, open duct (0.09: common practice, no
# source). The spread is real: fit f from a run wherever one is there.
FRICTION: Final = {
    "smooth": Band(0.02, 1.2),
    "corrugated": Band(0.05, 1.4),
    "unknown": Band(0.03, 1.6),
}
SMOOTH_ROUGHNESS: Final = 30e-6  # m, rubber or plastic liner (judgement)

JET_LOSS: Final = 1.0  # K of a hose that ends in a tank: all of its dynamic pressure
COUPLING_LOSS: Final = (0.1, 0.3)  # K of a quick coupling with a step in its bore (judgement)
# Length of hose that costs as much, in bores: common practice, no source. Crane TP-410 has 20 for
# a bend whose axis has a radius of one bore, and 60 for a mitre of 90 degrees.
EQUIVALENT_BORES: Final = {"coupling": 5.0, "swept bend": 20.0, "square bend": 50.0}


def area(bore: Values) -> Array:
    """Area in m² of a round bore in m."""
    return np.pi / 4 * np.asarray(bore, dtype=np.float64) ** 2


def loss_term(loss: Values, bore: Values) -> Array:
    """K / A² in 1/m⁴, as `pressure_before` takes it; terms of things in series add."""
    return np.asarray(loss / area(bore) ** 2)


def pressure_before(
    pressure: Values, mass_flow: Values, term: Values, rt: Values, resistance: Values = 0.0
) -> Array:
    """Pressure in Pa ahead of a loss.

    p_in² - p_out² = (K/A²) m |m| R T + 2 c m R T, which is K rho v² / 2 and c times the local
    volume flow at the density of the mean pressure (Darcy-Weisbach; a filter's cake: Darcy's
    law). term: K/A² in 1/m⁴; resistance: c in Pa s/m³. The air's own acceleration is no part:
    below a Mach number of 0.3 it is small. 0 where a flow away from the blower would need less
    than nothing.
    """
    m = np.asarray(mass_flow, dtype=np.float64)
    square = np.square(pressure) + (term * np.abs(m) + 2 * np.asarray(resistance)) * m * rt
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def sonic_pressure(mass_flow: Values, bore_area: Values, rt: Values) -> Array:
    """Least pressure in Pa that a bore's end can have: |m| sqrt(R T) / A.

    There isothermal flow has reached sqrt(R T), its limit in a pipe with friction (Shapiro,
    The Dynamics and Thermodynamics of Compressible Fluid Flow, chapter 6). If the pressure
    behind is lower, the flow is choked: the end keeps this pressure and the jet expands outside.
    """
    return np.asarray(np.abs(mass_flow) * np.sqrt(rt) / bore_area)


def is_choked(
    pressure: Values, mass_flow: Values, bore_area: Values, rt: Values
) -> NDArray[np.bool_]:
    """Whether the pressure in Pa behind a bore's end has no more say in the flow."""
    return np.asarray(sonic_pressure(mass_flow, bore_area, rt) > pressure)


def hose_pressure_before(
    pressure: Values, mass_flow: Values, loss: Values, bore: Values, rt: Values
) -> Array:
    """Pressure in Pa at the mouth of a hose from that behind its end, friction and all.

    p_in² - p_out² = (m/A)² R T (loss + 2 ln(p_in / p_out)), loss = f L / D and what fittings add.
    Source: isothermal flow of an ideal gas with friction, the complete equation; Crane TP-410,
    from memory. Adiabatic flow differs little below a Mach number of 0.3 (from memory). p_out is
    `sonic_pressure` at least. Flow away from the blower leaves the logarithm out.
    """
    bore_area = area(bore)
    m = np.asarray(mass_flow, dtype=np.float64)
    end = np.maximum(pressure, sonic_pressure(m, bore_area, rt))
    with np.errstate(divide="ignore", invalid="ignore"):
        # Squares over that of the end: y = 1 + share (loss + ln y), share is Mach² there.
        share = np.square(m / bore_area / end) * rt
        share = np.where(end > 0, share, 0.0)
        y: Array = 1 + share * loss
        for _ in range(_MOST_PASSES):
            # Newton from either side lands above the root, then falls onto it.
            excess = y - 1 - share * (loss + np.log(y))
            step = excess / np.maximum(1 - share / y, 1e-9)
            y = np.maximum(y - step, 1.0)
            if not np.any(np.abs(step) > _FINEST * y):
                break
    backwards = pressure_before(pressure, m, loss / bore_area**2, rt)
    return np.where(m < 0, backwards, end * np.sqrt(y))


def leak_flow(leak_area: Values, outside: Values, inside: Values, rt: Values) -> Array:
    """Mass flow in kg/s through a leak of an effective area in m², inwards positive.

    Isentropic nozzle from rest at `outside` Pa (Saint-Venant and Wantzel, 1839), choked below
    `CRITICAL_RATIO`; rt of the air outside. From inside out the same, mirrored. The effective
    area is smaller than the hole: 0.6 to 0.9 of it (common practice, no source).
    """
    k = air.ISENTROPIC_EXPONENT
    p0, p = np.asarray(outside, dtype=np.float64), np.asarray(inside, dtype=np.float64)
    high = np.maximum(p0, p)
    tau = np.maximum(np.minimum(p0, p) / high, CRITICAL_RATIO)
    u: Array = np.power(tau, 1 / k)
    flow = np.sqrt(2 * k / (k - 1) * u * (u - tau) / rt)
    return np.asarray(np.sign(p0 - p) * leak_area * high * flow)


def relief_flow(setting: Values, slope: Values, outside: Values, inside: Values) -> Array:
    """Mass flow in kg/s through a relief valve: none below its vacuum, then with the excess.

    setting: vacuum in Pa at which it opens; slope: kg/s per Pa beyond.
    """
    excess = np.asarray(outside, dtype=np.float64) - inside - setting
    return np.asarray(slope * np.maximum(excess, 0.0))


def friction_factor(reynolds: Values, relative_roughness: Values) -> Array:
    """Darcy's friction factor of a pipe of relative roughness eps / D.

    Colebrook (J. Inst. Civil Eng. 11, 1939): 1/sqrt(f) = -2 log10(eps / (3.7 D) + 2.51 / (Re
    sqrt(f))), by Newton's method from Haaland's explicit formula (J. Fluids Eng. 105, 1983);
    64 / Re below Re = 2040, where it jumps. For roughness like sand; corrugation is no such
    thing and has its `FRICTION` band.
    """
    re = np.maximum(np.asarray(reynolds, dtype=np.float64), 1.0)
    rough = np.asarray(relative_roughness, dtype=np.float64) / 3.7
    turbulent = np.maximum(re, _LAMINAR_REYNOLDS)
    x: Array = -1.8 * np.log10(rough**1.11 + 6.9 / turbulent)
    for _ in range(3):
        inner = rough + 2.51 * x / turbulent
        slope = 1 + 2 / np.log(10) * 2.51 / turbulent / inner
        x = x - (x + 2 * np.log10(inner)) / slope
    return np.where(re < _LAMINAR_REYNOLDS, 64 / re, 1 / x**2)


def contraction_loss(bore_ratio: Values) -> Array:
    """K on the smaller bore of a sharp step down to bore_ratio of the bore ahead; 0: an open end.

    lambda = 1 + 0.622 (1 - 0.215 b² - 0.785 b⁵), K = 0.0696 (1 - b⁵) lambda² + (lambda - 1)².
    Source: Rennels and Hudson, Pipe Flow, 2012, as quoted in the library fluids.
    """
    b = np.asarray(bore_ratio, dtype=np.float64)
    jet = 1 + 0.622 * (1 - 0.215 * b**2 - 0.785 * b**5)
    return np.asarray(0.0696 * (1 - b**5) * jet**2 + (jet - 1) ** 2)


def rounded_entrance_loss(radius_ratio: Values) -> Array:
    """K of an open end rounded with a radius of radius_ratio of its bore, 0 to 1.

    lambda = 1 + 0.622 (1 - 0.30 sqrt(r/D) - 0.70 r/D)⁴, K = 0.0696 (1 - 0.569 r/D) lambda² +
    (lambda - 1)². Source: as `contraction_loss`.
    """
    r = np.clip(radius_ratio, 0.0, 1.0)
    jet = 1 + 0.622 * (1 - 0.30 * np.sqrt(r) - 0.70 * r) ** 4
    return np.asarray(0.0696 * (1 - 0.569 * r) * jet**2 + (jet - 1) ** 2)


def expansion_loss(bore_ratio: Values) -> Array:
    """K on the smaller bore of a sudden step up, bore_ratio of the bore behind: (1 - b²)².

    Source: Borda and Carnot. 0 of the bore behind is a tank: K = 1.
    """
    return np.asarray((1 - np.square(bore_ratio)) ** 2)


def bend_loss(bend_ratio: Values, friction: Values, angle: Values = np.pi / 2) -> Array:
    """K of a bend whose axis has a radius of bend_ratio bores, its own length included.

    K = f a r/D + (0.10 + 2.4 f) sin(a/2) + 6.6 f (sqrt(sin(a/2)) + sin(a/2)) / (r/D)^(4a/pi),
    angle a in rad. Source: as `contraction_loss`; made from smooth pipe. At r/D below 0.5 the
    inner edge is square and 0.5 is used.
    """
    ratio = np.maximum(bend_ratio, 0.5)
    sine = np.sin(np.asarray(angle) / 2)
    separation: Array = 6.6 * friction * (np.sqrt(sine) + sine) / ratio ** (4 * angle / np.pi)
    return friction * angle * ratio + (0.10 + 2.4 * np.asarray(friction)) * sine + separation


def plate_loss(bore_ratio: Values, coefficient: Values = 0.6) -> Array:
    """K on the pipe's bore of a restrictor plate with a sharp hole of bore_ratio of it.

    K = (sqrt(1 - b⁴ (1 - C²)) / (C b²) - 1)². Source: ISO 5167-2:2003, 5.4. C = 0.6 within 4 % for
    a thin sharp plate; a thick or rounded one has up to 0.8 and more: weigh a plate by a run. With
    `pressure_before` it holds past choking too, for the jet then contracts less (a nozzle of C =
    0.84 chokes within 6 % of it; judgement).
    """
    b2 = np.square(bore_ratio)
    c = np.asarray(coefficient, dtype=np.float64)
    return np.asarray((np.sqrt(1 - b2**2 * (1 - c**2)) / (c * b2) - 1) ** 2)

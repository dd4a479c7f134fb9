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


def filter_pressure_before(
    pressure: Values, mass_flow: Values, linear: Values, square: Values, rt: Values
) -> Array:
    """Compute the pressure ahead of a filter of two parts, cake and cloth's frame.

    Parameters
    ----------
    pressure : Pa
        Behind the filter; above 0.
    mass_flow : kg/s
    linear, square : Pa s/m³, Pa s²/m⁶
        Loss on the local volume flow and on its square.
    rt : J/kg

    Returns
    -------
    array
        Pa. The square part is taken at the density behind the filter, the linear one as in
        `pressure_before`.
    """
    m = np.asarray(mass_flow, dtype=np.float64)
    frame = square * m * np.abs(m) * rt * rt / np.asarray(pressure) ** 2
    return pressure_before(np.maximum(pressure + frame, 0.0), m, 0.0, rt, linear)


def term_between(ahead: Values, behind: Values, mass_flow: Values, rt: Values) -> Array:
    """Find the K / A² in 1/m⁴ that takes so much pressure: the inverse of `pressure_before`.

    Parameters
    ----------
    ahead, behind : Pa
    mass_flow : kg/s
    rt : J/kg
    """
    m = np.asarray(mass_flow, dtype=np.float64)
    return np.asarray((np.square(ahead) - np.square(behind)) / (m * np.abs(m) * rt))


def resistance_between(
    ahead: Values, behind: Values, mass_flow: Values, rt: Values, term: Values = 0.0
) -> Array:
    """Find the linear resistance in Pa s/m³ that takes what a term leaves of a pressure difference.

    Parameters
    ----------
    ahead, behind : Pa
    mass_flow : kg/s
    rt : J/kg
    term : 1/m⁴
        K / A² of what lies in series with it.
    """
    m = np.asarray(mass_flow, dtype=np.float64)
    left = term_between(ahead, behind, m, rt) - term
    return np.asarray(left * np.abs(m) / 2)


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

"""What a rig's facts promise of a healthy blower, and how well they do so.

At one made-up point: the rated speed, the vacuum of a machine at work, the data sheet's own air.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from pullcurve.physics import blower as law
from pullcurve.physics.air import STANDARD_PRESSURE
from pullcurve.physics.blower_rating import (
    LAMINAR_DOUBT,
    SLIP_SHARE,
    Estimate,
    RatingFit,
    fit_rating,
)
from pullcurve.quantities import CFM_M3_S, INHG_PA
from pullcurve.rig.machine import Blower, Machine
from pullcurve.rig.rating import Rating

COVERAGE: Final = 1.96
VACUUM_INHG: Final = 8.0
VACUUM_PA: Final = VACUUM_INHG * INHG_PA
UNKNOWN_SPEED_RPM: Final = 3000.0
# Of a sheet that states none (judgement).
UNSTATED_BACK_PRESSURE: Final = Estimate(1500.0, 2000.0)
UNKNOWN_SLIP: Final = 0.6  # standard uncertainty of the logarithm of S1 without a sheet (judgement)
# The figures that a sheet is taken to have where the rig has none, rounded as usual.
SHEET_SPEEDS: Final = (0.5, 0.75, 1.0)  # of the speed
SHEET_VACUA_INHG: Final = (0.0, 4.0, 8.0, 12.0)
SHEET_ROUNDING_CFM: Final = 5.0
STATED_DISPLACEMENT_U95: Final = 0.01
LEAST_GAIN: Final = 0.003  # of the flow: what is less is not worth a line


@dataclass(frozen=True)
class Promise:
    """What a healthy blower takes in at a speed and VACUUM_PA, with 95 % intervals.

    The intervals are of the facts, not of the machine: no two blowers of one sheet are alike.
    """

    speed_rpm: float
    flow_m3_s: float
    flow_u95_m3_s: float
    slip_rpm: float
    slip_u95_rpm: float


@dataclass(frozen=True)
class BlowerWorth:
    """The promise, what would sharpen it (most first), and the vacuum up to which the blower
    gives the brochure's flow; None where no vacuum of the sheet does, or what it takes to say is
    not known."""

    promise: Promise
    better: list[tuple[str, Promise]]
    brochure_vacuum_pa: float | None


def sheet_fit(blower: Blower) -> RatingFit | None:
    """The law of slip fitted to a blower's data sheet; None where the rig has none."""
    sheet = blower.rating
    if sheet is None:
        return None
    return fit_rating(
        sheet.speed_rpm,
        sheet.vacuum_pa,
        sheet.inlet_flow_m3_s,
        rounding=sheet.rounding_m3_s,
        reference_pressure=sheet.reference_pressure,
        reference_temperature=sheet.reference_temperature_k,
        displacement=stated_displacement(blower),
        back_pressure=(
            UNSTATED_BACK_PRESSURE if sheet.back_pressure is None else Estimate(sheet.back_pressure)
        ),
    )


def blower_worth(machine: Machine) -> BlowerWorth | None:
    """None where the rig says nothing of the blower."""
    blower = machine.blower
    promise = _promise(machine)
    if promise is None:
        return None
    better = []
    for fact, blower_then in _better(blower, promise):
        then = _promise(machine.model_copy(update={"blower": blower_then}))
        if then is None:
            continue
        gain = (promise.flow_u95_m3_s - then.flow_u95_m3_s) / promise.flow_m3_s
        if gain >= LEAST_GAIN:
            better.append((fact, then))
    return BlowerWorth(
        promise,
        sorted(better, key=lambda each: each[1].flow_u95_m3_s),
        _brochure_vacuum(machine),
    )


def stated_displacement(blower: Blower) -> Estimate | None:
    """A turn's displacement in m3 by the rig; None where it states none."""
    if blower.displacement is None or blower.displacement_uncertainty is None:
        return None
    u = blower.displacement * blower.displacement_uncertainty / COVERAGE
    return Estimate(blower.displacement, u)


def _promise(machine: Machine) -> Promise | None:
    fit, sheet = sheet_fit(machine.blower), machine.blower.rating
    if fit is None or sheet is None:
        return _without_sheet(machine)
    speed = machine.rated_speed_rpm or float(np.max(sheet.speed_rpm))
    found = fit.at(
        speed,
        sheet.reference_pressure - VACUUM_PA,
        sheet.reference_pressure + fit.back_pressure,
        sheet.reference_temperature_k,
    )
    slip = float(found.slip_rpm)
    return Promise(
        speed,
        float(found.inlet_flow),
        COVERAGE * float(found.standard_uncertainty),
        slip,
        COVERAGE * slip / fit.slip_rpm_at_1_psi * float(np.sqrt(fit.covariance[1, 1])),
    )


def _without_sheet(machine: Machine) -> Promise | None:
    """The slip is then what is usual, give or take its great doubt."""
    stated = stated_displacement(machine.blower)
    if stated is None:
        return None
    speed = machine.rated_speed_rpm or UNKNOWN_SPEED_RPM
    wide, narrow = (_slip_multiple(VACUUM_PA, share) for share in (0.0, 1.0))
    slip = SLIP_SHARE * speed * wide
    slip_u = slip * float(
        np.hypot(UNKNOWN_SLIP, LAMINAR_DOUBT.standard_uncertainty * (narrow / wide - 1))
    )
    flow = float(law.inlet_flow(stated.value, speed, slip))
    parts = (flow * stated.standard_uncertainty / stated.value, stated.value * slip_u / 60)
    return Promise(speed, flow, COVERAGE * float(np.hypot(*parts)), slip, COVERAGE * slip_u)


def _slip_multiple(vacuum_pa: float, laminar_share: float = 0.0) -> float:
    inlet = STANDARD_PRESSURE - vacuum_pa
    return float(law.slip_multiple(inlet, STANDARD_PRESSURE, laminar_share=laminar_share))


def _better(blower: Blower, promise: Promise) -> Iterator[tuple[str, Blower]]:
    """Facts that the rig lacks, each with the blower as it would then be described.

    What they would say is made up from what is known now: their worth hangs on it little.
    """
    displacement = 60 * promise.flow_m3_s / (promise.speed_rpm - promise.slip_rpm)
    if blower.displacement is None:
        yield (
            "its displacement",
            blower.model_copy(
                update={
                    "displacement": displacement,
                    "displacement_uncertainty": STATED_DISPLACEMENT_U95,
                }
            ),
        )
    if blower.rating is None:
        figure = _made_up(promise, displacement, (1.0,), (VACUUM_INHG,))
        yield "one figure of its data sheet", blower.model_copy(update={"rating": figure})
    if blower.rating is None or len(blower.rating.rows) < len(SHEET_SPEEDS) * len(SHEET_VACUA_INHG):
        table = _made_up(promise, displacement, SHEET_SPEEDS, SHEET_VACUA_INHG)
        yield (
            f"its data sheet with {len(table.rows)} figures",
            blower.model_copy(update={"rating": table}),
        )


def _made_up(
    promise: Promise,
    displacement: float,
    speeds: tuple[float, ...],
    vacua_inhg: tuple[float, ...],
) -> Rating:
    """A sheet of such a blower, in cfm and inHg."""
    step = SHEET_ROUNDING_CFM
    per_multiple = promise.slip_rpm / _slip_multiple(VACUUM_PA)
    rows = []
    for share in speeds:
        for vacuum in vacua_inhg:
            slip = per_multiple * _slip_multiple(vacuum * INHG_PA)
            flow = law.inlet_flow(displacement, share * promise.speed_rpm, slip)
            cfm = step * round(float(flow) / CFM_M3_S / step)
            rows.append([share * promise.speed_rpm, vacuum, cfm])
    return Rating.model_validate(
        {"basis": "inlet", "flow_unit": "cfm", "vacuum_unit": "inHg", "rows": rows}
    )


def _brochure_vacuum(machine: Machine) -> float | None:
    """Vacuum at which a blower with a sheet, at its rated speed, gives the brochure's flow."""
    fit, sheet, promised = sheet_fit(machine.blower), machine.blower.rating, machine.brochure_flow
    if fit is None or sheet is None or promised is None or machine.rated_speed_rpm is None:
        return None
    vacua = np.linspace(0.0, float(np.max(sheet.vacuum_pa)), 200)
    flows = fit.at(
        machine.rated_speed_rpm,
        sheet.reference_pressure - vacua,
        sheet.reference_pressure + fit.back_pressure,
        sheet.reference_temperature_k,
    ).inlet_flow
    if not flows[-1] <= promised <= flows[0]:
        return None
    return float(np.interp(-promised, -flows, vacua))

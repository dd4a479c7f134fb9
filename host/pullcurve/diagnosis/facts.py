"""What the rig says of the machine, as the diagnosis needs it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import hose
from pullcurve.physics.blower import inlet_flow, slip_multiple
from pullcurve.physics.blower_rating import (
    LAMINAR_DOUBT,
    SLIP_SHARE,
    Estimate,
    RatingFit,
    fit_rating,
)
from pullcurve.rig.machine import HoseSegment, Machine
from pullcurve.rig.models import Rig

Array = NDArray[np.float64]

UNKNOWN_SLIP = 0.6  # standard uncertainty of the logarithm of a slip speed that no sheet tells
UNSTATED_BACK_PRESSURE = Estimate(1500.0, 2000.0)  # Pa, of a sheet (judgement)
MOUTH_LOSS = 0.5  # of a hose's open end, in its velocity heads (sharp edge, judgement)
FLOW_OF_PORT_M_S = 50.0  # speed in a port whose bore nobody stated, at the rated flow


@dataclass(frozen=True)
class MachineFacts:
    """What the rig says of the machine.

    `sheet_spread` is the lower triangular root of the covariance of ln displacement, ln slip
    speed and laminar share, as the sheet or the lack of one leaves them.
    """

    displacement_m3: float
    slip_speed_rpm: float
    laminar_share: float
    sheet_spread: Array
    fit: RatingFit | None
    rated_rpm: float  # of the blower
    rated_flow_m3_s: float  # at the blower's inlet, best cell of the sheet
    rated_slip_rpm: float  # healthy, at that cell
    basis: str  # what the rated flow is taken from, in words
    port_area_m2: float
    hose_loss: float | None  # of the hose that the rig describes, velocity heads on its last bore
    hose_wall: str  # "corrugated" where a piece of it is
    hose_bore_m: float
    filter_loss: tuple[float, float] | None  # Pa at m3/s
    belt_ratio: float | None
    relief_vacuum_pa: float | None


def machine_facts(rig: Rig) -> MachineFacts | str:
    """The facts, or a sentence that says which are missing."""
    machine = rig.machine
    blower = machine.blower
    sheet = blower.rating
    if sheet is None and blower.displacement is None:
        return (
            "The rig says nothing of the blower, so nothing tells what it should move: add "
            "[machine.blower] with its displacement, or its data sheet's figures."
        )
    stated = None
    if blower.displacement is not None:
        u95 = blower.displacement_uncertainty or 0.02
        stated = Estimate(blower.displacement, blower.displacement * u95 / 2)
    if sheet is not None:
        back = (
            UNSTATED_BACK_PRESSURE if sheet.back_pressure is None else Estimate(sheet.back_pressure)
        )
        fit = fit_rating(
            sheet.speed_rpm,
            sheet.vacuum_pa,
            sheet.inlet_flow_m3_s,
            rounding=sheet.rounding_m3_s,
            reference_pressure=sheet.reference_pressure,
            reference_temperature=sheet.reference_temperature_k,
            displacement=stated,
            back_pressure=back,
        )
        size = np.array([fit.displacement, fit.slip_rpm_at_1_psi, 1.0])
        covariance = fit.covariance[:3, :3] / np.outer(size, size)
        best = max(range(len(sheet.rows)), key=lambda i: (sheet.speed_rpm[i], -sheet.vacuum_pa[i]))
        rated_rpm = machine.rated_speed_rpm or float(sheet.speed_rpm[best])
        slip_rpm = fit.slip_rpm_at_1_psi * float(
            slip_multiple(
                sheet.reference_pressure - sheet.vacuum_pa[best],
                sheet.reference_pressure + fit.back_pressure,
                sheet.reference_temperature_k,
                laminar_share=fit.laminar_share,
            )
        )
        displacement, slip_speed, share = fit.displacement, fit.slip_rpm_at_1_psi, fit.laminar_share
        rated_flow = float(inlet_flow(displacement, rated_rpm, slip_rpm))
        basis = f"data sheet, {sheet.speed_rpm[best]:.0f} rpm and its least vacuum"
    else:
        fit = None
        if stated is None or machine.rated_speed_rpm is None:
            return (
                "The rig does not say how fast the blower is meant to turn: add rated_speed to "
                "[machine], or the data sheet's figures."
            )
        rated_rpm = machine.rated_speed_rpm
        displacement, slip_speed, share = stated.value, SLIP_SHARE * rated_rpm, 0.0
        covariance = np.diag(
            [
                (stated.standard_uncertainty / stated.value) ** 2,
                UNKNOWN_SLIP**2,
                LAMINAR_DOUBT.standard_uncertainty**2,
            ]
        )
        slip_rpm, rated_flow = 0.0, displacement * rated_rpm / 60
        basis = "displacement times rated speed, without slip"
    area = (
        np.pi / 4 * machine.port_bore**2
        if machine.port_bore is not None
        else rated_flow / FLOW_OF_PORT_M_S
    )
    return MachineFacts(
        displacement_m3=displacement,
        slip_speed_rpm=slip_speed,
        laminar_share=share,
        sheet_spread=np.asarray(np.linalg.cholesky(covariance + np.diag([1e-8, 1e-6, 1e-8]))),
        fit=fit,
        rated_rpm=rated_rpm,
        rated_flow_m3_s=rated_flow,
        rated_slip_rpm=slip_rpm,
        basis=basis,
        port_area_m2=float(area),
        hose_loss=_hose_loss(machine.hose) if machine.hose else None,
        hose_wall="corrugated" if any(p.wall == "corrugated" for p in machine.hose) else "smooth",
        hose_bore_m=machine.hose[-1].bore if machine.hose else float(np.sqrt(4 / np.pi * area)),
        filter_loss=_filter_loss(machine),
        belt_ratio=machine.belt_ratio,
        relief_vacuum_pa=machine.relief_vacuum,
    )


def _hose_loss(pieces: Sequence[HoseSegment]) -> float:
    """Velocity heads, on the last bore, of a hose with its open end and the jet that is lost in
    the tank."""
    own = [
        *((MOUTH_LOSS, pieces[0].bore), (hose.JET_LOSS, pieces[-1].bore)),
        *((_loss(piece), piece.bore) for piece in pieces),
    ]
    return float(sum(heads * (pieces[-1].bore / bore) ** 4 for heads, bore in own))


def _loss(piece: HoseSegment) -> float:
    friction = hose.FRICTION[piece.wall].median
    fittings = piece.couplings * np.mean(hose.COUPLING_LOSS)
    bends = friction * (
        piece.bends * hose.EQUIVALENT_BORES["swept bend"]
        + piece.elbows * hose.EQUIVALENT_BORES["square bend"]
    )
    return float(friction * piece.length / piece.bore + fittings + bends)


def _filter_loss(machine: Machine) -> tuple[float, float] | None:
    if machine.filter is None:
        return None
    return machine.filter.clean_loss, machine.filter.at_flow

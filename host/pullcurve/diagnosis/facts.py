"""What the rig says of the machine, as the diagnosis needs it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.expected_intake import UNKNOWN_SLIP, sheet_fit, stated_displacement
from pullcurve.physics import air, hose
from pullcurve.physics.blower import inlet_flow, slip_multiple
from pullcurve.physics.blower_rating import LAMINAR_DOUBT, SLIP_SHARE, RatingFit
from pullcurve.rig.machine import HoseSegment, Machine
from pullcurve.rig.models import Rig

Array = NDArray[np.float64]

MOUTH_LOSS = 0.5  # of a hose's open end, in its velocity heads (sharp edge, judgement)
PORT_VELOCITY_M_S = 50.0  # in a port whose bore nobody stated, at the rated flow


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
    rated_pressure_pa: float  # absolute, at the blower's inlet in that cell
    rated_pressure_share: float  # of the open air's pressure there
    rated_temperature_k: float
    basis: str  # what the rated flow is taken from, in words
    port_area_m2: float
    hose_loss: float | None  # of the hose that the rig describes, velocity heads on its last bore
    hose_wall: str  # of the piece whose loss is least known
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
    reference, temperature, pressure_share = air.STANDARD_PRESSURE, air.ROOM_TEMPERATURE, 1.0
    if sheet is not None:
        reference, temperature = sheet.reference_pressure, sheet.reference_temperature_k
        vacua = sheet.vacuum_pa[sheet.speed_rpm == sheet.speed_rpm.max()]
        pressure_share = float(1 - vacua.min() / reference)
    fit = sheet_fit(blower)
    if fit is not None and sheet is not None:
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
        stated = stated_displacement(blower)
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
        rated_flow = displacement * rated_rpm / 60
        basis = "displacement times rated speed, without slip"
    area = (
        np.pi / 4 * machine.port_bore**2
        if machine.port_bore is not None
        else rated_flow / PORT_VELOCITY_M_S
    )
    return MachineFacts(
        displacement_m3=displacement,
        slip_speed_rpm=slip_speed,
        laminar_share=share,
        sheet_spread=np.asarray(np.linalg.cholesky(covariance + np.diag([1e-8, 1e-6, 1e-8]))),
        fit=fit,
        rated_rpm=rated_rpm,
        rated_flow_m3_s=rated_flow,
        rated_pressure_pa=reference * pressure_share,
        rated_pressure_share=pressure_share,
        rated_temperature_k=temperature,
        basis=basis,
        port_area_m2=float(area),
        hose_loss=_hose_loss(machine.hose) if machine.hose else None,
        hose_wall=_wall(machine.hose),
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


def _wall(pieces: Sequence[HoseSegment]) -> str:
    walls = {piece.wall for piece in pieces}
    return next((wall for wall in ("unknown", "corrugated") if wall in walls), "smooth")


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

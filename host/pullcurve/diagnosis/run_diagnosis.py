"""What is said of a run's machine, or that nothing can be said."""

from typing import Final

import numpy as np

from pullcurve.diagnosis.diagnose import Diagnosis
from pullcurve.diagnosis.healthy import healthy_band, hose_end_flow, wear_alone
from pullcurve.diagnosis.priors import CAUSE_OF
from pullcurve.diagnosis.result import (
    Candidate,
    CarryingPlace,
    HealthyPoint,
    NoDiagnosis,
    Place,
    RunDiagnosis,
    SpeedsAtOdds,
    SpoilCarried,
)
from pullcurve.diagnosis.verdict import SPEEDS_AT_ODDS
from pullcurve.examine import Run
from pullcurve.measure.note_placing import as_typed
from pullcurve.physics import air
from pullcurve.physics.spoils import SPOILS, carrying
from pullcurve.results import Interval
from pullcurve.rounding import minutes
from pullcurve.stream.records import rows_of

NOT_ASKED: Final = "No diagnosis was asked for."
FAR_BELOW: Final = 0.7  # of the healthy flow: less than this asks what it would take


def run_diagnosis(run: Run, found: Diagnosis | str, baseline: str) -> RunDiagnosis | NoDiagnosis:
    """Say what a run says of its machine.

    found: what `diagnose` gave. baseline: name of the earlier run that it was given.
    """
    if isinstance(found, str):
        return NoDiagnosis(why_none=found)
    verdict, machine = found.verdict, run.rig.machine
    facts, speeds = found.evidence.facts, found.evidence.speeds
    rated_engine = facts.rated_rpm / facts.belt_ratio if facts.belt_ratio else None
    engine = speeds.engine if rated_engine is not None else None
    vetoed = bool(verdict.vetoed_by)
    spoil, why_none = (None, "") if vetoed else _spoil(run, found)
    far_below = found.ledger.metered.volume.value < FAR_BELOW * found.ledger.healthy.volume.value
    return RunDiagnosis(
        label=label_of(found),
        decided=verdict.decided,
        probability=None if vetoed else verdict.probability,
        certain=verdict.label,
        candidates=() if vetoed else tuple(_candidate(found, c) for c in verdict.candidates),
        vetoed_by=verdict.vetoed_by,
        speeds_at_odds=_at_odds(found),
        doubted=_doubted(run, found),
        causes=() if vetoed else verdict.causes,
        deciding_reading=found.deciding,
        ledger=None if vetoed else found.ledger,
        healthy_band=() if vetoed else _band(found),
        wear_alone=(
            wear_alone(found.evidence, found.posterior) if far_below and not vetoed else None
        ),
        engine_speed_rpm=None if engine is None or rated_engine is None else engine * rated_engine,
        rated_engine_speed_rpm=rated_engine,
        brochure_flow_m3_s=machine.brochure_flow,
        spoil=spoil,
        spoil_why_none=why_none,
        baseline=baseline,
    )


def label_of(found: Diagnosis) -> str:
    """Of a verdict: healthy, one cause, a pair joined by +, undecided, or vetoed."""
    if found.verdict.vetoed_by:
        return "vetoed"
    if not found.verdict.decided:
        return "undecided"
    return "+".join(found.verdict.label) or "healthy"


def _at_odds(found: Diagnosis) -> SpeedsAtOdds | None:
    kind = next((kind for kind in sorted(SPEEDS_AT_ODDS) if kind in found.verdict.vetoed_by), None)
    if kind is None:
        return None
    speeds, facts = found.evidence.speeds, found.evidence.facts
    ratio, rated = facts.belt_ratio, facts.rated_rpm
    rated_engine = None if ratio is None else rated / ratio
    return SpeedsAtOdds(
        kind=kind,
        engine_typed=speeds.typed,
        engine_rpm=speeds.engine and rated_engine and speeds.engine * rated_engine,
        rated_engine_rpm=rated_engine,
        blower_rpm=speeds.blower and speeds.blower * rated,
        rated_blower_rpm=rated,
        belt_ratio=ratio,
    )


def _doubted(run: Run, found: Diagnosis) -> tuple[str, ...]:
    """The notes that are doubted, as they were typed and where."""
    notes = run.notes.iloc[list(found.doubted.notes) if found.doubted else []]
    return tuple(
        as_typed(note) + ("" if note.at else f" (at {minutes(note.time_s)})")
        for note in rows_of(notes)
    )


def _candidate(found: Diagnosis, causes: tuple[str, ...]) -> Candidate:
    """With the likeliest place of each of its causes, of all that this set leaves open."""
    places: dict[str, dict[str, float]] = {}
    whole = 0.0
    believed = found.posterior
    for hypothesis, p in zip(believed.hypotheses, believed.probability, strict=True):
        if hypothesis.causes != frozenset(causes):
            continue
        whole += float(p)
        for fault in hypothesis.faults:
            cause = CAUSE_OF[fault]
            if fault != cause:
                of_cause = places.setdefault(cause, {})
                place = fault.rpartition("_")[2]
                of_cause[place] = of_cause.get(place, 0.0) + float(p)
    likeliest = {cause: max(of, key=lambda place: of[place]) for cause, of in places.items()}
    return Candidate(causes=causes, probability=min(1.0, whole), places=likeliest)


def _band(found: Diagnosis) -> tuple[HealthyPoint, ...]:
    evidence, standard = found.evidence, air.STANDARD_CONDITIONS.density()
    return tuple(
        HealthyPoint(
            point=evidence.number(i),
            speed_rpm=float(evidence.setting.shaft_rpm[i]),
            standard_flow_m3_s=flow.value / standard,
            standard_flow_low_m3_s=flow.low / standard,
            standard_flow_high_m3_s=flow.high / standard,
        )
        for i, flow in enumerate(healthy_band(evidence, found.posterior))
    )


def _spoil(run: Run, found: Diagnosis) -> tuple[SpoilCarried | None, str]:
    """Velocity against what the spoil needs, or why nothing is said of it."""
    machine, setting, top = run.rig.machine, found.evidence.setting, found.evidence.top
    if machine.spoil is None or not machine.hose:
        return None, ""
    name = machine.spoil.strip().lower()
    if name not in SPOILS:
        return None, (
            f"The rig names the spoil {machine.spoil!r}, which is no kind known here, so "
            f"nothing is said of what the flow carries. Known are: {', '.join(SPOILS)}."
        )
    flow = hose_end_flow(found.evidence, found.posterior)
    if flow is None:
        return None, ""
    mass, hose_was_on = flow
    measured = hose_was_on and run.rig.meter.position == "hose_end"
    density = setting.ambient_pressure[top] / (setting.gas_constant[top] * setting.temperature[top])
    flows = np.array([mass.value, mass.low, mass.high]) / density
    ends: dict[Place, float] = {"hose_end": machine.hose[0].bore}
    widest = max(piece.bore for piece in machine.hose)
    if widest > machine.hose[0].bore:
        ends["widest_bore"] = widest
    places = []
    for place, bore in ends.items():
        carried = carrying(
            flows,
            bore,
            SPOILS[name],
            density=float(density),
            viscosity=float(air.viscosity(setting.temperature[top])),
        )
        value, low, high = (float(v) for v in carried.velocity)
        least, most = float(np.max(carried.needed.low)), float(np.max(carried.needed.high))
        places.append(
            CarryingPlace(
                place=place,
                bore_m=bore,
                velocity_m_s=Interval(value, low, high),
                needed_low_m_s=least,
                needed_high_m_s=most,
                needed_flow_low_m3_s=float(np.max(carried.needed_flow.low)),
                needed_flow_high_m3_s=float(np.max(carried.needed_flow.high)),
                largest_stone_low_m=float(carried.largest_stone.low[0]),
                largest_stone_high_m=float(carried.largest_stone.high[0]),
                answer="carries" if low >= most else "falls_short" if high < least else "doubtful",
            )
        )
    return SpoilCarried(
        spoil=name,
        basis="measured" if measured else "modelled",
        flow_m3_s=Interval(*flows.tolist()),
        places=tuple(places),
        source=SPOILS[name].source,
        caution=SPOILS[name].caution,
    ), ""

"""The diagnosis of a run as a part of its result."""

from typing import Final

import numpy as np

from pullcurve.compare.comparison import one_and_the_same
from pullcurve.diagnosis.diagnose import Diagnosis, diagnose
from pullcurve.diagnosis.healthy import healthy_band, hose_end_flow, wear_alone
from pullcurve.diagnosis.ledger import Step
from pullcurve.diagnosis.priors import CAUSE_OF
from pullcurve.diagnosis.verdict import SPEEDS_AT_ODDS
from pullcurve.diagnosis.verdict import Interval as Range
from pullcurve.errors import ReportError
from pullcurve.examine import Run
from pullcurve.measure.note_placing import as_typed
from pullcurve.physics import air
from pullcurve.physics.spoils import SPOILS, carrying
from pullcurve.quantities import ZERO_CELSIUS
from pullcurve.report import diagnosis_result as told
from pullcurve.report.compare_tables import PLACES
from pullcurve.report.rounding import minutes
from pullcurve.stream.records import rows_of

_SAME_BLOWER: Final = 0.01  # between two displacements as they were typed
FAR_BELOW: Final = 0.7  # of the healthy flow: less than this asks what it would take
_UNITS: Final = {"speed": "rpm", "pressure": "Pa", "temperature_difference": "K", "ratio": "1"}


def check_baseline(run: Run, earlier: Run) -> None:
    """Raises ReportError where the earlier run is none by which this one could be judged: itself,
    of another blower or another place of the meter, or one that no state of a machine explains.
    """
    name, other = earlier.log.path, run.log.path
    if one_and_the_same(run, earlier):
        raise ReportError(
            f"{name} and {other} hold one and the same run, which cannot be its own baseline; name "
            "an earlier one, or leave --baseline out"
        )
    now, then = run.rig.machine.blower, earlier.rig.machine.blower
    turns = (now.displacement, then.displacement)
    apart = None not in turns and abs((turns[0] or 1) / (turns[1] or 1) - 1) > _SAME_BLOWER
    sheets = (now.rating, then.rating)
    if apart or (None not in sheets and sheets[0] != sheets[1]):
        raise ReportError(
            f"{name}: its rig names another blower than that of {other}; a baseline is an earlier "
            "run of the same machine"
        )
    if run.rig.meter.position != earlier.rig.meter.position:
        raise ReportError(
            f"{name}: its meter stood {PLACES[earlier.rig.meter.position]}, that of {other} "
            f"{PLACES[run.rig.meter.position]}; a baseline is a sweep with the meter at the same "
            "place (pullcurve compare takes both)"
        )
    found = diagnose(earlier)
    if not isinstance(found, str) and found.verdict.vetoed_by:
        raise ReportError(
            f"{name}: there is no verdict on its machine, so it is no baseline: what it holds is "
            "a cut, or has a fault of its measurement or a wrong note, which its own report names; "
            "mend that, or name a sweep without spoil, of the machine in good order"
        )


def run_diagnosis(
    run: Run, found: Diagnosis | str, baseline: str
) -> told.RunDiagnosis | told.NoDiagnosis:
    """found: what `diagnose` gave. baseline: name of the earlier run that it was given."""
    if isinstance(found, str):
        return told.NoDiagnosis(why_none=found)
    verdict, machine = found.verdict, run.rig.machine
    facts, speeds = found.evidence.facts, found.evidence.speeds
    rated_engine = facts.rated_rpm / facts.belt_ratio if facts.belt_ratio else None
    engine = speeds.engine if rated_engine is not None else None
    vetoed = bool(verdict.vetoed_by)
    spoil, why_none = (None, "") if vetoed else _spoil(run, found)
    far_below = found.ledger.metered.volume.value < FAR_BELOW * found.ledger.healthy.volume.value
    return told.RunDiagnosis(
        label=label_of(found),
        decided=verdict.decided,
        probability=None if vetoed else min(1.0, verdict.probability),
        certain=verdict.label,
        candidates=() if vetoed else tuple(_candidate(found, c) for c in verdict.candidates),
        vetoed_by=verdict.vetoed_by,
        speeds_at_odds=_at_odds(found),
        doubted=_doubted(run, found),
        causes=() if vetoed else _causes(found),
        deciding_reading=_deciding(found),
        ledger=None if vetoed else _ledger(run, found),
        healthy_band=() if vetoed else _band(run, found),
        wear_alone=_wear_alone(found) if far_below and not vetoed else None,
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


def _at_odds(found: Diagnosis) -> told.SpeedsAtOdds | None:
    kind = next((kind for kind in found.verdict.vetoed_by if kind in SPEEDS_AT_ODDS), None)
    if kind is None:
        return None
    speeds, facts = found.evidence.speeds, found.evidence.facts
    ratio, rated = facts.belt_ratio, facts.rated_rpm
    rated_engine = None if ratio is None else rated / ratio
    return told.SpeedsAtOdds.model_validate(
        {
            "kind": kind,
            "engine_typed": speeds.typed,
            "engine_rpm": speeds.engine and rated_engine and speeds.engine * rated_engine,
            "rated_engine_rpm": rated_engine,
            "blower_rpm": speeds.blower and speeds.blower * rated,
            "rated_blower_rpm": rated,
            "belt_ratio": ratio,
        }
    )


def _doubted(run: Run, found: Diagnosis) -> tuple[str, ...]:
    """The notes that are doubted, as they were typed and where."""
    notes = run.notes.iloc[list(found.doubted.notes) if found.doubted else []]
    return tuple(
        as_typed(note) + ("" if note.at else f" (at {minutes(note.time_s)})")
        for note in rows_of(notes)
    )


def interval_of(interval: Range) -> told.Interval:
    return told.Interval(value=interval.value, low=interval.low, high=interval.high)


def _causes(found: Diagnosis) -> tuple[told.Cause, ...]:
    return tuple(
        told.Cause(
            name=cause.name,
            probability=min(1.0, cause.probability),
            size=cause.size.value if cause.size else None,
            low=cause.size.low if cause.size else None,
            high=cause.size.high if cause.size else None,
            places={place: min(1.0, p) for place, p in cause.places.items()},
        )
        for cause in found.verdict.causes
    )


def _candidate(found: Diagnosis, causes: tuple[str, ...]) -> told.Candidate:
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
    return told.Candidate(causes=causes, probability=min(1.0, whole), places=likeliest)


def _deciding(found: Diagnosis) -> told.DecidingReading | None:
    reading = found.deciding
    if reading is None:
        return None
    return told.DecidingReading.model_validate(
        {
            "name": reading.name,
            "unit": _UNITS[reading.kind],
            "under_first": reading.first,
            "under_second": reading.second,
            "difference": abs(reading.first - reading.second),
            "spread": reading.spread,
            "decides": reading.decides,
        }
    )


def _ledger(run: Run, found: Diagnosis) -> told.FlowLedger:
    ledger, setting, top = found.ledger, found.evidence.setting, found.evidence.top
    believed = found.posterior
    temperature = setting.temperature[top] * believed.x["warming"][:, 0]
    return told.FlowLedger(
        point=_numbers(run, found)[top],
        speed_rpm=float(setting.shaft_rpm[top]),
        inlet_pressure_pa=float(np.mean(believed.state.inlet_pressure[:, top])),
        inlet_temperature_c=float(np.mean(temperature)) - ZERO_CELSIUS,
        rated=_step(ledger.rated),
        steps=tuple(_step(step) for step in ledger.steps),
        healthy=_step(ledger.healthy),
        metered=_step(ledger.metered),
        shortfall=_step(ledger.shortfall),
        lost=_step(ledger.lost),
        ahead_of_meter=_step(ledger.ahead_of_meter),
        relieved=tuple(_step(step) for step in ledger.relieved),
        rated_from=_rated(run, found),
    )


def _step(step: Step) -> told.LedgerStep:
    return told.LedgerStep(
        name=step.name,
        value_m3_s=step.volume.value,
        low_m3_s=step.volume.low,
        high_m3_s=step.volume.high,
        value_kg_s=step.mass.value,
        low_kg_s=step.mass.low,
        high_kg_s=step.mass.high,
    )


def _rated(run: Run, found: Diagnosis) -> told.RatedFlow:
    """The rated flow as standard flow, in the sheet's air and in that of the site."""
    facts, sheet = found.evidence.facts, run.rig.machine.blower.rating
    reference, temperature, share = air.STANDARD_PRESSURE, air.ROOM_TEMPERATURE, 1.0
    if sheet is not None:
        reference, temperature = sheet.reference_pressure, sheet.reference_temperature_k
        vacua = sheet.vacuum_pa[sheet.speed_rpm == sheet.speed_rpm.max()]
        share = float(1 - vacua.min() / reference)
    top = found.evidence.top
    here = float(found.evidence.setting.ambient_pressure[top])
    warmth = float(found.evidence.setting.temperature[top])
    humidity = 0.0 if run.around is None else float(np.mean(run.around.humidity.value))
    standard = air.STANDARD_CONDITIONS.density()
    vapour = air.vapour_fraction(here, warmth, humidity)
    at_sheet = float(air.density(reference * share, temperature, 0.0)) / standard
    at_site = float(air.density(here * share, warmth, vapour)) / standard
    return told.RatedFlow(
        source=facts.basis,
        speed_rpm=facts.rated_rpm,
        flow_m3_s=facts.rated_flow_m3_s,
        sheet_pressure_pa=reference * share,
        sheet_temperature_c=temperature - ZERO_CELSIUS,
        standard_flow_there_m3_s=facts.rated_flow_m3_s * at_sheet,
        standard_flow_here_m3_s=facts.rated_flow_m3_s * at_site,
    )


def _numbers(run: Run, found: Diagnosis) -> list[int]:
    """The number of the settled point of each judged point of the evidence, by sweep and speed."""
    evidence = found.evidence
    judged = np.flatnonzero(evidence.judged)
    of = {(row.sweep, row.speed_rpm): int(row.point) for row in rows_of(run.points)}
    speed, sweep = evidence.setting.shaft_rpm, evidence.sweep
    return [of[sweep[i], speed[i]] for i in judged]


def _band(run: Run, found: Diagnosis) -> tuple[told.HealthyPoint, ...]:
    standard = air.STANDARD_CONDITIONS.density()
    return tuple(
        told.HealthyPoint(
            point=number,
            speed_rpm=float(found.evidence.setting.shaft_rpm[i]),
            standard_flow_m3_s=flow.value / standard,
            standard_flow_low_m3_s=flow.low / standard,
            standard_flow_high_m3_s=flow.high / standard,
        )
        for i, (number, flow) in enumerate(
            zip(
                _numbers(run, found),
                healthy_band(found.evidence, found.posterior),
                strict=True,
            )
        )
    )


def _wear_alone(found: Diagnosis) -> told.WearAlone:
    wear = wear_alone(found.evidence, found.posterior)
    return told.WearAlone(
        slip_ratio=interval_of(wear.slip_ratio), blanked_vacuum_pa=interval_of(wear.blanked_vacuum)
    )


def _spoil(run: Run, found: Diagnosis) -> tuple[told.SpoilCarried | None, str]:
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
    ends = {"hose_end": machine.hose[0].bore}
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
        answer = "carries" if low >= most else "falls_short" if high < least else "doubtful"
        places.append(
            {
                "place": place,
                "bore_m": bore,
                "velocity_m_s": {"value": value, "low": low, "high": high},
                "needed_low_m_s": least,
                "needed_high_m_s": most,
                "needed_flow_low_m3_s": float(np.max(carried.needed_flow.low)),
                "needed_flow_high_m3_s": float(np.max(carried.needed_flow.high)),
                "largest_stone_low_m": float(carried.largest_stone.low[0]),
                "largest_stone_high_m": float(carried.largest_stone.high[0]),
                "answer": answer,
            }
        )
    said = {
        "spoil": name,
        "basis": "measured" if measured else "modelled",
        "flow_m3_s": dict(zip(("value", "low", "high"), flows.tolist(), strict=True)),
        "places": places,
        "source": SPOILS[name].source,
        "caution": SPOILS[name].caution,
    }
    return told.SpoilCarried.model_validate(said), ""

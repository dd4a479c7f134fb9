"""A run's diagnosis: ledger, verdict, and the reading that would decide what is left open."""

from dataclasses import dataclass, replace
from typing import Final

from pullcurve.checks.catalogue import Kind
from pullcurve.diagnosis.causes import Posterior
from pullcurve.diagnosis.doubted import Doubted, doubted, explained
from pullcurve.diagnosis.evidence import Evidence, gather
from pullcurve.diagnosis.facts import machine_facts
from pullcurve.diagnosis.ledger import ledger
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.readings import deciding_reading
from pullcurve.diagnosis.result import DecidingReading, FlowLedger
from pullcurve.diagnosis.speeds import Odds, at_odds
from pullcurve.diagnosis.verdict import Verdict, verdict
from pullcurve.examine import Run

# What is vetoed where speeds are at odds, the engine's typed or not.
_ODD: Final[dict[tuple[Odds, bool], Kind]] = {
    ("engine", True): Kind.TYPED_ENGINE_SPEED,
    ("each_other", True): Kind.TYPED_ENGINE_SPEED,
    ("engine", False): Kind.RATED_SPEED,
    ("each_other", False): Kind.BELT_RATIO,
    **{(odds, typed): Kind.RATED_SPEED for odds in ("blower", "both") for typed in (True, False)},
}


@dataclass(frozen=True)
class Diagnosis:
    """What a run says of its machine. Where its speeds are at odds the verdict is vetoed, and
    what is believed knows of no speed but the path's."""

    evidence: Evidence
    posterior: Posterior
    ledger: FlowLedger
    verdict: Verdict
    deciding: DecidingReading | None
    doubted: Doubted | None = None


def diagnose(run: Run, earlier: Run | None = None) -> Diagnosis | str:
    """The diagnosis of a run, or a sentence that says what is missing for one.

    earlier: a run of the same machine when it was healthy, its baseline.
    """
    facts = machine_facts(run.rig)
    if isinstance(facts, str):
        return facts
    evidence = gather(run, facts, earlier)
    if isinstance(evidence, str):
        return evidence
    found = diagnosis_of(evidence, frozenset(trouble.kind for trouble in run.troubles))
    if found.verdict.vetoed_by != (Kind.NO_FIT,):
        return found
    first = doubted(run, facts, earlier)
    if first is None:
        return found
    kind = Kind.BASELINE if first.baseline else Kind.TYPED_READING
    return replace(found, doubted=first, verdict=replace(found.verdict, vetoed_by=(kind,)))


def diagnosis_of(evidence: Evidence, troubles: frozenset[str]) -> Diagnosis:
    """The diagnosis of a run's evidence, the run's troubles known."""
    speeds = evidence.speeds
    odd = at_odds(speeds, priors())
    if odd:
        unknown = replace(speeds, engine=None, blower=None)
        evidence, believed = explained(replace(evidence, speeds=unknown))
        evidence = replace(evidence, speeds=speeds)
        troubles = troubles | {_ODD[odd, bool(speeds.typed)]}
    else:
        evidence, believed = explained(evidence)
    found = verdict(evidence, believed, troubles)
    deciding = None
    if not found.decided and not found.vetoed_by and len(found.candidates) > 1:
        answers = [frozenset(causes) for causes in found.candidates]
        best = deciding_reading(evidence, believed, answers)
        if best is not None:
            # The two that it tells apart are said first.
            deciding, *pair = best
            rest = [i for i in range(len(answers)) if i not in pair]
            found = replace(found, candidates=tuple(found.candidates[i] for i in [*pair, *rest]))
    return Diagnosis(evidence, believed, ledger(evidence, believed), found, deciding)

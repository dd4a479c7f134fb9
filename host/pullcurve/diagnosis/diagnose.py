"""A run's diagnosis: ledger, verdict, and the reading that would decide what is left open."""

from dataclasses import dataclass, replace

from pullcurve.diagnosis.causes import Posterior, posterior
from pullcurve.diagnosis.evidence import Evidence, gather, unsaid_plates
from pullcurve.diagnosis.facts import machine_facts
from pullcurve.diagnosis.ledger import Ledger, ledger
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.readings import DecidingReading, deciding_reading
from pullcurve.diagnosis.verdict import MOST_MISFIT, Verdict, verdict
from pullcurve.reduction.run import Run


@dataclass(frozen=True)
class Diagnosis:
    """What a run says of its machine."""

    evidence: Evidence
    posterior: Posterior
    ledger: Ledger
    verdict: Verdict
    deciding: DecidingReading | None


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
    return diagnosis_of(evidence, frozenset(trouble.kind for trouble in run.troubles))


def diagnosis_of(evidence: Evidence, troubles: frozenset[str]) -> Diagnosis:
    """The diagnosis of a run's evidence, the run's troubles known."""
    believed = posterior(evidence, priors())
    if believed.misfit > MOST_MISFIT and len(set(evidence.sweep[evidence.setting.judged])) > 1:
        # Somebody may have put a plate on and said nothing of it.
        evidence = unsaid_plates(evidence)
        believed = posterior(evidence, priors())
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

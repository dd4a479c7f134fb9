"""Which typed readings, or whether the baseline, keep a run's readings from fitting together."""

from dataclasses import dataclass, replace
from typing import Final

from pullcurve.diagnosis.causes import Posterior, posterior
from pullcurve.diagnosis.evidence import Evidence, gather, unsaid_plates
from pullcurve.diagnosis.facts import MachineFacts
from pullcurve.diagnosis.priors import priors
from pullcurve.diagnosis.verdict import MOST_MISFIT
from pullcurve.examine import Run

_ON_THE_PATH: Final = ("vacuum", "plate", "hose")  # notes that the fit of the air's path takes


@dataclass(frozen=True)
class Doubted:
    """What is to be checked first: without it the rest fits. `notes`: rows of the run's notes."""

    baseline: bool = False
    notes: tuple[int, ...] = ()


def explained(evidence: Evidence) -> tuple[Evidence, Posterior]:
    """The evidence and what is believed by it: as it was said, or else with plates of which
    nobody said anything."""
    believed = posterior(evidence, priors())
    if believed.misfit > MOST_MISFIT and len(set(evidence.sweep[evidence.judged])) > 1:
        evidence = unsaid_plates(evidence)
        believed = posterior(evidence, priors())
    return evidence, believed


def doubted(run: Run, facts: MachineFacts, earlier: Run | None) -> Doubted | None:
    """Of a run that nothing explains: the baseline, or the one note, without which the rest
    fits best; failing that all notes together. None where the rest fits no better."""
    there = [i for i, what in enumerate(run.notes["what"]) if what in _ON_THE_PATH]
    alone = [Doubted(notes=(i,)) for i in there]
    if earlier is not None:
        alone.insert(0, Doubted(baseline=True))
    misfits = [_misfit_without(each, run, facts, earlier) for each in alone]
    if misfits and min(misfits) <= MOST_MISFIT:
        return alone[misfits.index(min(misfits))]
    every = Doubted(notes=tuple(there))
    if len(there) > 1 and _misfit_without(every, run, facts, earlier) <= MOST_MISFIT:
        return every
    return None


def _misfit_without(left_out: Doubted, run: Run, facts: MachineFacts, earlier: Run | None) -> float:
    notes = run.notes.drop(run.notes.index[list(left_out.notes)])
    rest = gather(replace(run, notes=notes), facts, None if left_out.baseline else earlier)
    return float("inf") if isinstance(rest, str) else explained(rest)[1].misfit

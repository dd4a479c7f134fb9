"""What the diagnosis said of a machine of the study, against the truth."""

import time
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from diagnosis_machines import Subject
from diagnosis_truth import Truth
from pullcurve.diagnosis.causes import ON_SPEED, Posterior
from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.inference import Problem, fit
from pullcurve.diagnosis.priors import CAUSE_OF, CAUSES, priors
from pullcurve.diagnosis.result import DecidingReading, FlowLedger
from pullcurve.diagnosis.speeds import speed_posterior
from pullcurve.diagnosis.verdict import Verdict
from pullcurve.results import Interval

Causes = tuple[str, ...]
TOLD: Final = 5.0  # natural log of the odds at which error-free readings tell two answers apart

# The readings that would tell a twin from the truth, known from the physics alone.
WOULD_TELL: Final = {
    frozenset({"worn_clearances", "leak"}): {
        *("discharge_temperature", "meter_in_clean_pipe", "plate_sweep"),
        *("seal_tank_and_hose", "seal_filter", "seal_blower"),
    },
    frozenset({"worn_clearances", "slipping_belt"}): {"blower_speed", "plate_sweep"},
    frozenset({"leak", "slipping_belt"}): {
        *("blower_speed", "meter_in_clean_pipe", "discharge_temperature", "plate_sweep"),
        *("seal_tank_and_hose", "seal_filter", "seal_blower"),
    },
    frozenset({"low_speed", "slipping_belt"}): {"engine_speed"},
}


@dataclass
class Outcome:
    """One machine's: truth and verdict, and what of the stated figures was true."""

    number: int
    causes: Causes
    faults: Causes
    groups: Causes  # of evidence that it belongs to
    told_from: Causes  # answers that error-free readings leave open beside the truth
    truth: Truth
    decided: bool = False
    label: Causes = ()
    candidates: tuple[Causes, ...] = ()
    vetoed: Causes = ()
    trouble: str = ""  # of the measurement
    refused: str = ""
    probabilities: dict[Causes, float] = field(default_factory=dict)
    sizes: list[tuple[str, bool]] = field(default_factory=list)
    steps: list[tuple[str, bool]] = field(default_factory=list)
    by_sheet: list[tuple[str, bool]] = field(default_factory=list)
    half_width: float = np.nan  # of the shortfall, over the metered flow
    place: tuple[str, str] | None = None  # of a leak that is named alone: true, stated
    deciding: str = ""
    deciding_right: bool = False
    misfit: float = np.nan
    seconds: float = np.nan
    notes: list[str] = field(default_factory=list)

    @property
    def result(self) -> str:
        false = set(self.label) - set(self.causes)
        if self.vetoed:
            return "vetoed"
        if self.decided:
            if self.label == self.causes:
                return "right"
            if false:
                return "FALSE"
            return "partly" if self.label else "healthy"
        said = "undecided" if self.causes in self.candidates else "undecided, truth missed"
        return f"{said}, FALSE" if false else said

    @property
    def false_cause(self) -> bool:
        return not self.vetoed and bool(set(self.label) - set(self.causes))


def left_open(evidence: Evidence, subject: Subject) -> Causes:
    """Answers that readings without error would leave beside the truth.

    evidence: such readings. The healthy machine and each single cause, for a pair each pair
    too, are fitted to them by the diagnosis' own model and priors; an answer is open while its
    log evidence, prior included, is within TOLD of the true one's. The verdict has no part in
    it.
    """
    on_path = bool(evidence.setting.belt_between.any())
    on_speed = ("low_speed",) if on_path else ON_SPEED
    table = priors()
    most = max(len(subject.causes), 1)
    answers = [h for h in table.hypotheses(tuple(table.faults)) if len(h.faults) <= most]
    sets = [tuple(f for f in h.faults if f not in on_speed) for h in answers]
    unique = list(dict.fromkeys(sets))
    fits = fit(Problem(evidence, table, unique))
    speeds = speed_posterior(evidence.speeds, table, frozenset(on_speed), 0).log_evidence
    log: dict[str, float] = {}
    for hypothesis, on_the_path in zip(answers, sets, strict=True):
        cause = "+".join(c for c in CAUSES if c in hypothesis.causes) or "healthy"
        value = float(
            np.log(hypothesis.prior)
            + fits.log_evidence[unique.index(on_the_path)]
            + speeds[frozenset(f for f in hypothesis.faults if f in on_speed)]
        )
        log[cause] = max(value, log.get(cause, -np.inf))
    true = "+".join(subject.causes) or "healthy"
    return tuple(name for name, value in log.items() if name != true and value > log[true] - TOLD)


def fill(
    outcome: Outcome,
    verdict: Verdict,
    posterior: Posterior,
    ledger: FlowLedger,
    deciding: DecidingReading | None,
) -> None:
    truth = outcome.truth
    outcome.decided, outcome.label = verdict.decided, verdict.label
    outcome.candidates, outcome.vetoed = verdict.candidates, verdict.vetoed_by
    outcome.misfit = posterior.misfit
    order = dict.fromkeys(CAUSE_OF.values())
    outcome.probabilities = {
        tuple(c for c in order if c in causes): p for causes, p in posterior.of_causes().items()
    }
    for cause in verdict.causes:
        if cause.name in verdict.label and cause.name in truth.sizes and cause.size:
            size = Interval(cause.size, cause.low, cause.high)
            right = _inside(size, truth.sizes[cause.name])
            outcome.sizes.append((cause.name, right))
            if not right:
                outcome.notes.append(f"{cause.name} {truth.sizes[cause.name]:.3f} {size}")
        if cause.name == "leak" and verdict.label == ("leak",) == outcome.causes:
            outcome.place = (truth.place, max(cause.places, key=lambda p: cause.places[p]))
    for step in ledger.steps:
        outcome.steps.append((step.name, _inside(step.volume, truth.steps[step.name])))
        by_sheet = truth.by_sheet.get(step.name, truth.steps[step.name])
        outcome.by_sheet.append((step.name, _inside(step.volume, by_sheet)))
        if not outcome.steps[-1][1]:
            outcome.notes.append(f"step {step.name} {truth.steps[step.name]:.4f} {step.volume}")
    outcome.steps.append(("healthy", _inside(ledger.healthy.volume, truth.healthy)))
    shortfall = ledger.rated.volume.value - truth.metered
    outcome.steps.append(("shortfall", _inside(ledger.shortfall.volume, shortfall)))
    width = ledger.shortfall.volume.high - ledger.shortfall.volume.low
    outcome.half_width = width / 2 / truth.metered
    if deciding is not None and len(verdict.candidates) > 1:
        outcome.deciding = deciding.name
        pair = frozenset("+".join(c) or "healthy" for c in verdict.candidates[:2])
        outcome.deciding_right = deciding.name in WOULD_TELL.get(pair, {deciding.name})


def _inside(interval: Interval, value: float) -> bool:
    return interval.low <= value <= interval.high


def groups_of(subject: Subject) -> Causes:
    """The kinds of evidence by which the table is split."""
    vacuum = "blower_air" in subject.sensors or subject.position == "clean_pipe"
    return (
        f"meter: {subject.position}",
        f"plate: {subject.plate}",
        f"tach: {subject.tach}",
        "blower vacuum" if vacuum else "no blower vacuum",
        *(["discharge temperature"] if "discharge_temperature" in subject.sensors else []),
        *(["tank vacuum"] if "tank_air" in subject.sensors else []),
        *(["gauge"] if subject.gauge else []),
        *(["earlier run"] if subject.earlier else []),
    )


def now_s() -> float:
    """Processor time: a busy machine does not count."""
    return time.process_time()

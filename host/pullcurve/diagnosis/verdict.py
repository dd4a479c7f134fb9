"""The verdict: what is wrong with the machine, how large it is, and how sure that is.

A cause is named when it is there in nearly all that the data leave open. Where they leave more
than one answer, the verdict is undecided and lists them: no more than it takes to hold the
truth. Troubles of the meter veto a verdict on the machine.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.checks.catalogue import VETOES, Kind
from pullcurve.diagnosis.causes import Posterior, at_top
from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.priors import CAUSE_OF, CAUSES
from pullcurve.diagnosis.result import Cause, OddSpeed
from pullcurve.physics.path import AirPath, operating_point
from pullcurve.results import Interval

Array = NDArray[np.float64]

NAMED_AT: Final = 0.82  # probability of a cause to be named
ALONE_AT: Final = 0.50  # of the named ones to be all there is, for the verdict to be decided
HEALTHY_AT: Final = 0.60
COVERED: Final = 0.93  # by the candidates of an undecided verdict
WORTH_LISTING: Final = 0.15  # of the likeliest candidate's probability
WIDER: Final = 1.15  # than the samples' interval: of a size (judgement)
MIN_SAMPLES: Final = 20  # with a cause, of which its size is told (judgement)
MOST_MISFIT: Final = 4.0  # chi square over readings: beyond it no explanation fits

# Which reading of a speed contradicts the others.
SPEEDS_AT_ODDS: Final[frozenset[OddSpeed]] = frozenset(
    {Kind.TYPED_ENGINE_SPEED, Kind.BELT_RATIO, Kind.RATED_SPEED}
)


@dataclass(frozen=True)
class Verdict:
    """`label`: the causes that are named; empty with `decided` for a healthy machine.

    Undecided, `label` holds what is certain all the same, and `candidates` every set of causes
    that the data leave open; () is a healthy machine. The likeliest come first, and of those
    near to it the two that the deciding reading tells apart.
    """

    decided: bool
    label: tuple[str, ...]
    candidates: tuple[tuple[str, ...], ...]
    causes: tuple[Cause, ...]
    vetoed_by: tuple[str, ...]
    probability: float  # of the label, or of the likeliest candidate


def verdict(evidence: Evidence, posterior: Posterior, troubles: frozenset[str]) -> Verdict:
    """The verdict on a run's machine."""
    sets = posterior.of_causes()
    vetoes = tuple(sorted(troubles & VETOES))
    if posterior.misfit > MOST_MISFIT:
        vetoes = (*vetoes, Kind.NO_FIT)
    causes = tuple(_cause(name, evidence, posterior) for name in CAUSES)
    named = frozenset(cause.name for cause in causes if cause.probability >= NAMED_AT)
    exactly = sets.get(named, 0.0)
    within = sum(p for s, p in sets.items() if named <= s)
    decided = not vetoes and exactly >= (ALONE_AT * within if named else HEALTHY_AT)
    candidates, covered = [], 0.0
    least = WORTH_LISTING * next(iter(sets.values()))
    for causes_there, p in sets.items():
        if p < least:
            break
        candidates.append(_ordered(causes_there))
        covered += p
        if covered >= COVERED:
            break
    return Verdict(
        decided=decided,
        label=() if vetoes else _ordered(named),
        candidates=(_ordered(named),) if decided else tuple(candidates),
        causes=causes,
        vetoed_by=vetoes,
        probability=min(1.0, exactly if decided else next(iter(sets.values()))),
    )


def _ordered(causes: frozenset[str]) -> tuple[str, ...]:
    return tuple(name for name in CAUSES if name in causes)


def _cause(name: str, evidence: Evidence, posterior: Posterior) -> Cause:
    there = posterior.with_cause(name)
    places = {
        fault.rpartition("_")[2]: min(
            1.0,
            sum(
                float(p)
                for h, p in zip(posterior.hypotheses, posterior.probability, strict=True)
                if fault in h.faults
            ),
        )
        for fault, cause in CAUSE_OF.items()
        if cause == name and fault != name
    }
    probability = min(1.0, posterior.of_cause(name))
    if there.sum() < MIN_SAMPLES:
        return Cause(name, probability, None, None, None, places)
    size = interval(sizes(name, evidence, posterior)[there], WIDER)
    return Cause(name, probability, size.value, size.low, size.high, places)


def sizes(name: str, evidence: Evidence, posterior: Posterior) -> Array:
    """The size of a cause in every sample, at the fastest hold of the first sweep.

    low_speed: 1 - engine speed / rated; slipping_belt: 1 - blower speed / (engine speed x
    ratio); worn_clearances: slip beyond healthy / blower speed; leak: its mass flow / the
    blower's; restriction: what the blower's mass flow would gain were it put right.
    """
    state, top = posterior.state, evidence.top
    if name == "low_speed":
        return posterior.low_speed
    if name == "slipping_belt":
        return posterior.belt
    if name == "worn_clearances":
        beyond = state.slip_rpm - state.healthy_slip_rpm
        return np.asarray(beyond[:, top] / state.speed_rpm[:, top])
    if name == "leak":
        leaks = state.leak_a + state.leak_b + state.leak_c
        return np.asarray(leaks[:, top] / state.blower_flow[:, top])
    return restriction_gain(evidence, posterior)


def restriction_gain(evidence: Evidence, posterior: Posterior) -> Array:
    """Gain of the blower's mass flow at the fastest hold with hose, filter and pipe in order."""
    setting, x, start = at_top(evidence, posterior)
    mended = {name: x.get(f"healthy_{name}", value) for name, value in x.items()}
    right = operating_point(AirPath.of(mended), setting, start).blower_flow[:, 0]
    return np.asarray(right / posterior.state.blower_flow[:, evidence.top] - 1)


def interval(samples: Array, wider: float = 1.0) -> Interval:
    """Mean and the ends of the central 95 %. `wider`: by how much they are set farther out, for
    what no law of the path knows of a real machine."""
    mean = float(np.mean(samples))
    low, high = np.quantile(samples, [0.025, 0.975])
    return Interval(mean, mean - wider * (mean - float(low)), mean + wider * (float(high) - mean))

"""All the evidence of a run at once: how likely each set of faults is, and samples of the
machine under all of them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.inference import Problem, fit, sample
from pullcurve.diagnosis.priors import Hypothesis, Priors
from pullcurve.diagnosis.speeds import ON_SPEED, speed_posterior
from pullcurve.physics.path import Setting, State

Array = NDArray[np.float64]

SEED = 0  # one and the same, so that a run gives the same answer every time


@dataclass(frozen=True)
class Posterior:
    """What is believed of the machine after its run. The samples are equally likely."""

    hypotheses: list[Hypothesis]
    probability: Array
    sampled: NDArray[np.int64]  # each sample's hypothesis
    x: Mapping[str, Array]
    state: State
    low_speed: Array  # of each sample
    belt: Array
    misfit: float  # least chi square over the number of readings

    def of_causes(self) -> dict[frozenset[str], float]:
        """Probability of each set of causes, the likeliest first."""
        found: dict[frozenset[str], float] = {}
        for hypothesis, p in zip(self.hypotheses, self.probability, strict=True):
            found[hypothesis.causes] = found.get(hypothesis.causes, 0.0) + float(p)
        return dict(sorted(found.items(), key=lambda item: -item[1]))

    def of_cause(self, cause: str) -> float:
        """Probability that a cause is there, alone or with another one."""
        return sum(p for causes, p in self.of_causes().items() if cause in causes)

    def with_cause(self, cause: str) -> NDArray[np.bool_]:
        """The samples in which it is there."""
        there = np.array([cause in hypothesis.causes for hypothesis in self.hypotheses])
        return np.asarray(there[self.sampled])


def at_top(evidence: Evidence, posterior: Posterior) -> tuple[Setting, dict[str, Array], Array]:
    """What `operating_point` takes, of the samples at the fastest hold of the first sweep."""
    there = np.arange(len(evidence.judged)) == evidence.top
    x = {
        name: value[:, there] if value.shape[1] > 1 else value
        for name, value in posterior.x.items()
    }
    start = (posterior.state.inlet_pressure / evidence.setting.ambient_pressure)[:, there]
    return evidence.setting.chosen(there), x, start


def posterior(evidence: Evidence, priors: Priors) -> Posterior:
    """The causes of a run, by their evidence.

    The speeds tell governor and belt, the path tells the rest; the evidence of a set of faults
    is the product of the two. A belt is on the path where only the engine's shaft is watched.
    """
    belt_on_path = bool(evidence.setting.belt_between[evidence.judged].any())
    on_speed = frozenset(("low_speed",)) if belt_on_path else ON_SPEED
    hypotheses = priors.hypotheses(tuple(priors.faults))
    parts = [tuple(f for f in h.faults if f not in on_speed) for h in hypotheses]
    sets = list(dict.fromkeys(parts))
    problem = Problem(evidence, priors, sets)
    fits = fit(problem)
    of_speeds = speed_posterior(evidence.speeds, priors, on_speed, SEED)
    speed_part = [frozenset(f for f in h.faults if f in on_speed) for h in hypotheses]
    path_part = np.array([sets.index(part) for part in parts])
    log = (
        np.log([h.prior for h in hypotheses])
        + fits.log_evidence[path_part]
        + np.array([of_speeds.log_evidence[part] for part in speed_part])
    )
    probability = np.exp(log - special.logsumexp(log))
    of_sets = np.bincount(path_part, probability, minlength=len(sets)).astype(np.float64)
    machines = sample(problem, fits, of_sets, SEED)
    # Each sample of the path gets one of the hypotheses that share its faults there.
    generator = np.random.default_rng(SEED + 1)
    sampled = np.empty(len(machines.faults), dtype=np.int64)
    for number in np.unique(machines.faults):
        own = np.flatnonzero(path_part == number)
        rows = np.flatnonzero(machines.faults == number)
        share = probability[own] / probability[own].sum()
        sampled[rows] = generator.choice(own, len(rows), p=share)
    low = np.empty(len(sampled))
    belt = np.empty(len(sampled))
    for part in dict.fromkeys(speed_part):  # in an order that is the same every time
        rows = np.flatnonzero([speed_part[h] == part for h in sampled])
        drawn = generator.integers(0, len(of_speeds.belt[part]), len(rows))
        low[rows], belt[rows] = of_speeds.low_speed[part][drawn], of_speeds.belt[part][drawn]
    if belt_on_path:
        top = evidence.top
        belt = 1 - machines.state.speed_rpm[:, top] / evidence.setting.shaft_rpm[top]
    return Posterior(
        hypotheses,
        probability,
        sampled,
        machines.x,
        machines.state,
        low,
        belt,
        float(machines.misfit.min()),
    )

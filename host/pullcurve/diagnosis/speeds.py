"""Governor and belt, from the speeds alone.

low speed g and belt slip e: engine = rated (1 - g), blower = engine * ratio * (1 - e), all at
the fastest hold. With the engine's shaft alone the belt is left to the path, where its slip
shows as missing flow.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pullcurve.diagnosis.priors import Priors

Array = NDArray[np.float64]

DRAWS = 4000
RATIO_U = 0.002  # of a belt ratio as typed, relative (judgement: 0.3 % at 95 % and rounding)
RATED_U = 0.001  # of a rated speed as a sheet states it


@dataclass(frozen=True)
class Speeds:
    """Speeds at the fastest hold over the rated ones, None where they are not known:
    `engine` of the engine, `blower` of the blower; `*_u` relative standard uncertainties.

    Both rated speeds come from the blower's by the belt ratio.
    """

    engine: float | None
    engine_u: float
    blower: float | None
    blower_u: float


@dataclass(frozen=True)
class SpeedPosterior:
    """Of each set of faults among low_speed and slipping_belt the log evidence, and equally
    likely draws of g and e."""

    log_evidence: Mapping[frozenset[str], float]
    low_speed: Mapping[frozenset[str], Array]
    belt: Mapping[frozenset[str], Array]


def speed_posterior(
    speeds: Speeds, priors: Priors, faults: frozenset[str], seed: int
) -> SpeedPosterior:
    """Evidence and draws for every subset of `faults`; importance sampling from the prior."""
    generator = np.random.default_rng(seed)
    evidence, low, belt = {}, {}, {}
    ordered = sorted(faults)
    for chosen in range(2 ** len(ordered)):
        present = frozenset(name for i, name in enumerate(ordered) if chosen >> i & 1)
        z = _stratified(generator)
        of_engine = priors.faults["low_speed"].size if "low_speed" in present else None
        of_belt = priors.faults["slipping_belt"].size if "slipping_belt" in present else None
        g = (of_engine or priors.scatter["engine"]).value(z[0])
        e = (of_belt or priors.scatter["belt"]).value(z[1])
        # The ratio comes between the rated blower speed and the engine's.
        ratio = RATIO_U * z[2]
        log = np.zeros(DRAWS)
        if speeds.engine is not None:
            u = np.hypot(speeds.engine_u, RATED_U)
            log += _log_normal(speeds.engine, (1 - g) * (1 + ratio), u)
        if speeds.blower is not None:
            u = np.hypot(speeds.blower_u, RATED_U)
            log += _log_normal(speeds.blower, (1 - g) * (1 - e), u)
        evidence[present] = float(special.logsumexp(log) - np.log(DRAWS))
        weight = np.exp(log - log.max())
        chosen_draws = generator.choice(DRAWS, DRAWS, p=weight / weight.sum())
        low[present], belt[present] = g[chosen_draws], e[chosen_draws]
    return SpeedPosterior(evidence, low, belt)


def _stratified(generator: np.random.Generator) -> Array:
    """Three rows of standard normal draws, each spread evenly over its quantiles."""
    even = (np.arange(DRAWS) + generator.uniform(size=(3, DRAWS))) / DRAWS
    return np.asarray(special.ndtri(generator.permuted(even, axis=1)))


def _log_normal(value: float, mean: Array, u: float) -> Array:
    return np.asarray(-0.5 * ((value - mean) / u) ** 2 - np.log(u) - np.log(2 * np.pi) / 2)

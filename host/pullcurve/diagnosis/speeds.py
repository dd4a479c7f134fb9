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
    """Evidence and draws for every subset of `faults`.

    The speeds are sharp and the priors wide, so what could have been measured is drawn about
    what was, and weighted by the prior density of the g and e that it leads to.
    """
    generator = np.random.default_rng(seed)
    # Rated speed, ratio, engine, blower; and a belt where nothing tells it.
    normal = _stratified(generator, 5)
    ratio = 1 + RATIO_U * normal[1]
    evidence, low, belt = {}, {}, {}
    ordered = sorted(faults)
    for chosen in range(2 ** len(ordered)):
        present = frozenset(name for i, name in enumerate(ordered) if chosen >> i & 1)
        of_g = priors.scatter["engine"]
        if "low_speed" in present:
            of_g = priors.faults["low_speed"].size
        of_e = priors.scatter["belt"]
        if "slipping_belt" in present:
            of_e = priors.faults["slipping_belt"].size
        e = of_e.value(normal[4])
        g, weight = of_g.value(normal[2]), np.ones(DRAWS)
        rated = 1 + RATED_U * normal[0]
        if speeds.blower is not None:
            blower = speeds.blower * rated * (1 + speeds.blower_u * normal[3])
        if speeds.engine is not None:
            g = 1 - speeds.engine * rated * (1 + speeds.engine_u * normal[2]) / ratio
            weight = of_g.density(g)
            if speeds.blower is not None:
                e = 1 - blower / (1 - g)
                weight = weight * of_e.density(e)
        elif speeds.blower is not None:
            g = 1 - blower / (1 - e)
            weight = of_g.density(g)
        total = float(weight.sum())
        with np.errstate(divide="ignore"):
            evidence[present] = float(np.log(total / DRAWS))
        share = weight / total if total > 0 else np.full(DRAWS, 1 / DRAWS)
        drawn = generator.choice(DRAWS, DRAWS, p=share)
        low[present], belt[present] = g[drawn], e[drawn]
    return SpeedPosterior(evidence, low, belt)


def _stratified(generator: np.random.Generator, rows: int) -> Array:
    """Rows of standard normal draws, each spread evenly over its quantiles."""
    even = (np.arange(DRAWS) + generator.uniform(size=(rows, DRAWS))) / DRAWS
    return np.asarray(special.ndtri(generator.permuted(even, axis=1)))

"""Governor and belt, from the speeds alone.

low speed g and belt slip e: engine = rated (1 - g), blower = engine * ratio * (1 - e), all at
the fastest hold. With the engine's shaft alone the belt is left to the path, where its slip
shows as missing flow.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pullcurve.diagnosis.priors import Priors

Array = NDArray[np.float64]

DRAWS = 4000
SLIPS, ENGINES = 600, 64  # cells along the belt's slip, and at each along the engine's speed
REACH = 8.0  # standard uncertainties on either side that they cover
RATIO_U = 0.002  # of a belt ratio as typed, relative (judgement: 0.3 % at 95 % and rounding)
RATED_U = 0.001  # of a rated speed as a sheet states it
STILL = 1e-3  # a speed over its rated one that has a logarithm yet
AT_ODDS: Final = 4.0  # standard uncertainties: no chance, even where the doubt is judged

ON_SPEED: Final = frozenset(("low_speed", "slipping_belt"))
# Which speed cannot be: each of the two alone against the rated one, or one against the other.
Odds = Literal["", "engine", "blower", "each_other", "both"]


@dataclass(frozen=True)
class Speeds:
    """Speeds at the fastest hold over the rated ones, None where they are not known:
    `engine` of the engine, `blower` of the blower; `*_u` relative standard uncertainties.

    Both rated speeds come from the blower's by the belt ratio. `typed`: the engine's as a person
    noted it, empty where a pickup gave it.
    """

    engine: float | None
    engine_u: float
    blower: float | None
    blower_u: float
    typed: str = ""


@dataclass(frozen=True)
class SpeedPosterior:
    """Of each set of faults among low_speed and slipping_belt the log evidence, and equally
    likely draws of g and e. `misfit`: least chi square of the speeds under any set."""

    log_evidence: Mapping[frozenset[str], float]
    low_speed: Mapping[frozenset[str], Array]
    belt: Mapping[frozenset[str], Array]
    misfit: float


class _Cells(NamedTuple):
    """Along one axis, of the same shape: (slips, engines)."""

    middle: Array
    width: Array


@dataclass(frozen=True)
class _Share:
    """What is believed of g or e: a density between two ends, over ln(1 - share)."""

    low: float
    high: float
    density: Callable[[Array], Array]

    @property
    def ends(self) -> tuple[float, float]:
        return float(np.log1p(-self.high)), float(np.log1p(-self.low))

    def log(self, cells: _Cells) -> Array:
        """Logarithm of what the cells hold of it."""
        share = -np.expm1(cells.middle)
        return np.asarray(np.log(self.density(share) * (1 - share) * cells.width))


def speed_posterior(
    speeds: Speeds, priors: Priors, faults: frozenset[str], seed: int
) -> SpeedPosterior:
    """Evidence and draws for every subset of `faults`.

    The speeds are sharp and the priors wide with hard ends, so the two shares are laid out in
    cells about what was measured; each weighs its prior times the likelihood, in logarithms.
    """
    generator = np.random.default_rng(seed)
    evidence, low, belt, misfits = {}, {}, {}, []
    ordered = sorted(faults)
    for chosen in range(2 ** len(ordered)):
        present = frozenset(name for i, name in enumerate(ordered) if chosen >> i & 1)
        x, y, log, misfit = _cells(speeds, *_believed(priors, present))
        misfits.append(misfit)
        evidence[present] = float(special.logsumexp(log))
        share = special.softmax(log).ravel() if np.isfinite(evidence[present]) else None
        drawn = generator.choice(log.size, DRAWS, p=share)
        within = generator.uniform(-0.5, 0.5, (2, DRAWS))
        low[present], belt[present] = (
            -np.expm1(axis.middle.flat[drawn] + axis.width.flat[drawn] * where)
            for axis, where in zip((x, y), within, strict=True)
        )
    return SpeedPosterior(evidence, low, belt, min(misfits))


def at_odds(speeds: Speeds, priors: Priors) -> Odds:
    """Which of the speeds no engine and no belt explains; empty where all is well."""

    def fits(some: Speeds) -> bool:
        return speed_posterior(some, priors, ON_SPEED, 0).misfit <= AT_ODDS**2

    if fits(speeds):
        return ""
    engine = fits(replace(speeds, blower=None))
    blower = fits(replace(speeds, engine=None))
    if engine and blower:
        return "each_other"
    return "blower" if engine else "engine" if blower else "both"


def _believed(priors: Priors, present: frozenset[str]) -> tuple[_Share, _Share]:
    """The priors of g and e. A sound engine may be set above its rated speed by more than it
    is ever below it: that is no fault that takes air."""
    engine, fast = priors.scatter["engine"], priors.scatter["engine_fast"]
    odds = priors.odds["engine_fast"]

    def sound(g: Array) -> Array:
        return (1 - odds) * engine.density(g) + odds * fast.density(g)

    of_g = _Share(fast.first, engine.second, sound)
    if "low_speed" in present:
        law = priors.faults["low_speed"].size
        of_g = _Share(law.first, law.second, law.density)
    slip = priors.faults["slipping_belt"].size if "slipping_belt" in present else None
    law = slip or priors.scatter["belt"]
    return of_g, _Share(law.first, law.second, law.density)


def _cells(speeds: Speeds, of_g: _Share, of_e: _Share) -> tuple[_Cells, _Cells, Array, float]:
    """Cells over x = ln(1 - g) and y = ln(1 - e), the logarithm of what each weighs, and the
    least chi square among those that the priors allow.

    Of both speeds y is the quotient's, in which the rated speed cancels, and x is the engine's,
    moved by what y says of the errors that both share; the blower's alone gives x + y.
    """
    engine, blower = (
        None if speed is None else float(np.log(max(speed, STILL)))
        for speed in (speeds.engine, speeds.blower)
    )
    (x_low, x_high), (y_low, y_high) = of_g.ends, of_e.ends
    x_at, x_u, y_at, y_u = 0.0, np.inf, 0.0, np.inf
    shared = 0.0  # how far x moves with y
    if blower is not None and engine is None:
        x_at, x_u, shared = blower, float(np.hypot(RATED_U, speeds.blower_u)), 1.0
        y_low = max(y_low, blower - x_high - REACH * x_u)
        y_high = min(y_high, blower - x_low + REACH * x_u)
    elif engine is not None:
        of_engine = float(np.hypot(speeds.engine_u, RATIO_U))
        if blower is not None:
            y_at, y_u = blower - engine, float(np.hypot(of_engine, speeds.blower_u))
            y_low, y_high = max(y_low, y_at - REACH * y_u), min(y_high, y_at + REACH * y_u)
            shared = (of_engine / y_u) ** 2
        x_at, x_u = engine, float(np.hypot(RATED_U, of_engine * np.sqrt(1 - shared)))
    y = _between(np.array([[y_low]]), np.array([[y_high]]), _shares(SLIPS)[:, None])
    at = x_at - shared * (y.middle - y_at)
    x = _between(
        np.maximum(x_low, at - REACH * x_u), np.minimum(x_high, at + REACH * x_u), _shares(ENGINES)
    )
    y = _Cells(*(np.broadcast_to(part, x.middle.shape) for part in y))
    chi2 = ((y.middle - y_at) / y_u) ** 2 + ((x.middle - at) / x_u) ** 2
    with np.errstate(divide="ignore"):
        log = of_g.log(x) + of_e.log(y) - chi2 / 2
    return x, y, log, float(np.min(chi2, where=np.isfinite(log), initial=np.inf))


def _shares(number: int) -> Array:
    return (np.arange(number) + 0.5) / number


def _between(low: Array, high: Array, shares: Array) -> _Cells:
    """Cells between two ends; they have no width where the ends are the wrong way round."""
    width = np.maximum(high - low, 0.0) / shares.size
    middle = low + width * shares.size * shares
    return _Cells(middle, np.broadcast_to(width, middle.shape))

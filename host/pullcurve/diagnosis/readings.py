"""Which further reading would tell answers apart, and by how much it would differ.

What each answer leaves open of the machine predicts each reading that could be taken. A
reading decides where the two predictions lie farther apart than their own spread and the
reading's uncertainty allow.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.causes import Posterior, at_top
from pullcurve.diagnosis.evidence import DISCHARGE_SHARED_K, TACH_U, Evidence
from pullcurve.diagnosis.result import DecidingReading
from pullcurve.physics.blower import beyond_limits
from pullcurve.physics.path import AirPath, State, operating_point

Array = NDArray[np.float64]
Unit = Literal["rpm", "Pa", "K", "1"]
Change = Callable[[Mapping[str, Array]], Array]

PLATE_HEADS: Final = 25.0  # of a plate worth trying, on the port's bore: a hole of about half
SENSOR_PA: Final = 60.0  # a compared absolute sensor, standard uncertainty
SAME_METER: Final = 0.005  # of a flow against another one of the same meter
DECIDES: Final = 2.0  # distance of two predictions over their spread
LEAST_SAMPLES: Final = 30
NEAR: Final = 0.5  # of the likeliest answer's probability
MAX_OVERLOAD: Final = 0.05  # probability of passing a blower's limits with the plate (judgement)


def deciding_reading(
    evidence: Evidence, posterior: Posterior, answers: Sequence[frozenset[str]]
) -> tuple[DecidingReading, int, int] | None:
    """The reading that tells most among `answers`, sets of causes, the likeliest first; and
    the two of them that it tells best, by their numbers. None where nothing would.

    What it tells is counted over all pairs of answers that are at least half as likely as the
    likeliest: their probabilities times the square of what does not overlap, for a pair that is
    half told is not told.
    """
    of_sets = posterior.of_causes()
    likely = [a for a in answers if of_sets.get(a, 0.0) >= NEAR * of_sets.get(answers[0], 0.0)]
    likely = list(answers[: max(2, len(likely))])
    causes = [hypothesis.causes for hypothesis in posterior.hypotheses]
    samples = [np.array([c == each for c in causes])[posterior.sampled] for each in likely]
    pairs = [
        (i, j)
        for i, j in combinations(range(len(likely)), 2)
        if min(samples[i].sum(), samples[j].sum()) >= LEAST_SAMPLES
    ]
    best = None
    most = 0.0
    for name, unit, values, u in _predictions(evidence, posterior):
        told = {
            (i, j): of_sets[likely[i]]
            * of_sets[likely[j]]
            * np.expm1(_overlap(values[samples[i]], values[samples[j]], u)) ** 2
            for i, j in pairs
        }
        if sum(told.values()) > most:
            most = sum(told.values())
            i, j = max(told, key=lambda pair: told[pair])
            a, b = values[samples[i]], values[samples[j]]
            best = (_reading(name, unit, a, b, u), i, j)
    return best


def _reading(name: str, unit: Unit, a: Array, b: Array, u: float) -> DecidingReading:
    first, second = float(a.mean()), float(b.mean())
    spread = float(np.sqrt(a.var() + b.var() + u**2))
    return DecidingReading(
        name=name,
        unit=unit,
        under_first=first,
        under_second=second,
        difference=abs(first - second),
        spread=spread,
        decides=abs(first - second) / spread >= DECIDES,
    )


def _overlap(a: Array, b: Array, u: float) -> float:
    """Logarithm of how far two predictions, taken as normal, overlap (Bhattacharyya's
    coefficient, from memory). One that is sharp and one that is wide overlap little even where
    their means are near: a belt that slips may slip by anything, a sound one does not."""
    first, second = a.var() + u**2 / 2, b.var() + u**2 / 2
    apart = (a.mean() - b.mean()) ** 2 / (4 * (first + second))
    return -float(apart + np.log((first + second) / (2 * np.sqrt(first * second))) / 2)


def _predictions(
    evidence: Evidence, posterior: Posterior
) -> Iterator[tuple[str, Unit, Array, float]]:
    """Every reading that was not taken yet: its name, unit, value in each sample, and its
    standard uncertainty."""
    setting, top, state = evidence.setting, evidence.top, posterior.state
    taken = {reading.quantity for reading in evidence.readings}
    p0 = setting.ambient_pressure[top]
    rated = evidence.facts.rated_rpm
    if evidence.speeds.engine is None:
        engine = (1 - posterior.low_speed) * rated / (evidence.facts.belt_ratio or 1.0)
        yield "engine_speed", "rpm", engine, TACH_U * float(engine.mean())
    if evidence.speeds.blower is None:
        blower = state.speed_rpm[:, top]
        yield "blower_speed", "rpm", blower, TACH_U * float(blower.mean())
    if "inlet_vacuum" not in taken:
        yield "blower_vacuum", "Pa", p0 - state.inlet_pressure[:, top], SENSOR_PA
    if "tank_vacuum" not in taken:
        yield "tank_vacuum", "Pa", p0 - state.tank_pressure[:, top], SENSOR_PA
    plated = _with_plate(evidence, posterior)
    bearable = _overload(evidence, plated) <= MAX_OVERLOAD
    if not evidence.plate_terms and bearable:
        ratio = np.log(plated.metered_flow[:, 0] / state.metered_flow[:, top])
        yield "plate_sweep", "1", np.exp(ratio), SAME_METER
    if "discharge_rise" not in taken:
        yield (
            "discharge_temperature",
            "K",
            plated.discharge_rise[:, 0] if bearable else state.discharge_rise[:, top],
            DISCHARGE_SHARED_K,
        )
    if not setting.in_pipe[top]:
        ratio = state.pipe_flow[:, top] / state.metered_flow[:, top]
        yield "meter_in_clean_pipe", "1", ratio, SAME_METER
    yield from _sealed(evidence, posterior)


def _with_plate(evidence: Evidence, posterior: Posterior) -> State:
    """The top point with a plate on the port."""
    more = PLATE_HEADS / evidence.facts.port_area_m2**2
    return _changed(evidence, posterior, {"intake_term": lambda x: x["intake_term"] + more})


def _overload(evidence: Evidence, state: State) -> float:
    """Probability that the top point goes beyond the blower's limits of heat, pressure ratio or
    difference: nobody is asked to run it there."""
    hot = evidence.setting.temperature[evidence.top] + state.discharge_rise
    beyond = beyond_limits(state.inlet_pressure, state.outlet_pressure, hot)
    return float(np.mean(np.any(beyond, axis=0)))


def _sealed(evidence: Evidence, posterior: Posterior) -> Iterator[tuple[str, Unit, Array, float]]:
    """Flow at the meter with the joints of a place sealed, over that without."""
    now = posterior.state.metered_flow[:, evidence.top]
    for place, name in (("a", "seal_tank_and_hose"), ("b", "seal_filter"), ("c", "seal_blower")):
        sealed = _changed(evidence, posterior, {f"leak_{place}": lambda x: 0 * x["leak_a"]})
        yield name, "1", sealed.metered_flow[:, 0] / now, SAME_METER


def _changed(evidence: Evidence, posterior: Posterior, changes: dict[str, Change]) -> State:
    setting, x, start = at_top(evidence, posterior)
    changed = x | {name: change(x) for name, change in changes.items()}
    return operating_point(AirPath.of(changed), setting, start)

"""Which further reading would tell two answers apart, and by how much it would differ.

What each answer leaves open of the machine predicts each reading that could be taken. A
reading decides where the two predictions lie farther apart than their own spread and the
reading's uncertainty allow.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.causes import Posterior
from pullcurve.diagnosis.evidence import DISCHARGE_SHARED_K, TACH_U, Evidence
from pullcurve.diagnosis.path_model import State, solve
from pullcurve.quantities import Kind

Array = NDArray[np.float64]
Change = Callable[[Mapping[str, Array]], Array]

PLATE_HEADS: Final = 25.0  # of a plate worth trying, on the port's bore: a hole of about half
SENSOR_PA: Final = 60.0  # a compared absolute sensor, standard uncertainty
SAME_METER: Final = 0.005  # of a flow against another one of the same meter
DECIDES: Final = 2.0  # distance of two predictions over their spread
LEAST_SAMPLES: Final = 30


@dataclass(frozen=True)
class DecidingReading:
    """A reading that would tell the first answer from the second.

    `first` and `second` are what it would be under each, in SI, and `spread` the standard
    uncertainty of their difference. `distance` is the difference over it.
    """

    name: str
    kind: Kind
    first: float
    second: float
    spread: float

    @property
    def distance(self) -> float:
        return abs(self.first - self.second) / self.spread

    @property
    def decides(self) -> bool:
        return self.distance >= DECIDES


def deciding_reading(
    evidence: Evidence,
    posterior: Posterior,
    first: frozenset[str],
    second: frozenset[str],
) -> DecidingReading | None:
    """The reading that tells two sets of causes apart best; None where nothing would."""
    of = np.array([h.causes == first for h in posterior.hypotheses])[posterior.sampled]
    other = np.array([h.causes == second for h in posterior.hypotheses])[posterior.sampled]
    if min(of.sum(), other.sum()) < LEAST_SAMPLES:
        return None
    found = [
        DecidingReading(
            name,
            kind,
            float(values[of].mean()),
            float(values[other].mean()),
            float(np.sqrt(values[of].var() + values[other].var() + u**2)),
        )
        for name, kind, values, u in _predictions(evidence, posterior)
    ]
    return max(found, key=lambda reading: reading.distance, default=None)


def _predictions(
    evidence: Evidence, posterior: Posterior
) -> Iterator[tuple[str, Kind, Array, float]]:
    """Every reading that was not taken yet: its name, kind, value in each sample, and its
    standard uncertainty."""
    setting, top, state = evidence.setting, evidence.top, posterior.state
    taken = {reading.quantity for reading in evidence.readings}
    p0 = setting.ambient_pressure[top]
    rated = evidence.facts.rated_rpm
    if evidence.speeds.engine is None:
        engine = (1 - posterior.low_speed) * rated / (evidence.facts.belt_ratio or 1.0)
        yield "engine_speed", "speed", engine, TACH_U * float(engine.mean())
    if evidence.speeds.blower is None:
        blower = state.speed_rpm[:, top]
        yield "blower_speed", "speed", blower, TACH_U * float(blower.mean())
    if "inlet_vacuum" not in taken:
        yield "blower_vacuum", "pressure", p0 - state.inlet_pressure[:, top], SENSOR_PA
    if "tank_vacuum" not in taken:
        yield "tank_vacuum", "pressure", p0 - state.tank_pressure[:, top], SENSOR_PA
    plated = _with_plate(evidence, posterior)
    if not evidence.plate_terms:
        ratio = np.log(plated.metered_flow[:, 0] / state.metered_flow[:, top])
        yield "plate_sweep", "ratio", np.exp(ratio), SAME_METER
    if "discharge_rise" not in taken:
        yield (
            "discharge_temperature",
            "temperature_difference",
            plated.discharge_rise[:, 0],
            DISCHARGE_SHARED_K,
        )
    if not setting.in_pipe[top]:
        ratio = state.pipe_flow[:, top] / state.metered_flow[:, top]
        yield "meter_in_clean_pipe", "ratio", ratio, SAME_METER
    yield from _sealed(evidence, posterior)


def _with_plate(evidence: Evidence, posterior: Posterior) -> State:
    """The top point with a plate on the port."""
    more = PLATE_HEADS / evidence.facts.port_area_m2**2
    return _changed(evidence, posterior, {"intake_term": lambda x: x["intake_term"] + more})


def _sealed(evidence: Evidence, posterior: Posterior) -> Iterator[tuple[str, Kind, Array, float]]:
    """Flow at the meter with the joints of a place sealed, over that without."""
    now = posterior.state.metered_flow[:, evidence.top]
    for place, name in (("a", "seal_tank_and_hose"), ("b", "seal_filter"), ("c", "seal_blower")):
        sealed = _changed(evidence, posterior, {f"leak_{place}": lambda x: 0 * x["leak_a"]})
        yield name, "ratio", sealed.metered_flow[:, 0] / now, SAME_METER


def _changed(evidence: Evidence, posterior: Posterior, changes: dict[str, Change]) -> State:
    at_top = np.arange(len(evidence.setting.judged)) == evidence.top
    x = {
        name: value[:, at_top] if value.shape[1] > 1 else value
        for name, value in posterior.x.items()
    }
    start = (posterior.state.inlet_pressure / evidence.setting.ambient_pressure)[:, at_top]
    changed = x | {name: change(x) for name, change in changes.items()}
    return solve(evidence.setting.chosen(at_top), changed, start)

"""Two or more runs of one machine: what changed, by how much, and whether that is more than
the measurement's doubt.

Runs are compared at equal speed of the blower, between settled points only. Flow over speed is
taken as straight from point to point, which a curve that bends by a few per cent allows. What
two runs share of their uncertainty cancels in their difference: with one and the same meter
that is most of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.errors import LogError
from pullcurve.physics import air
from pullcurve.reduction.run import Run
from pullcurve.rig.meter import Meter
from pullcurve.uncertainty import Result, covariance_between_runs

Array = NDArray[np.float64]

ALIKE: Final = 0.01  # of a speed: points nearer to each other are one
BENDS: Final = 0.002  # of the flow between two points, standard uncertainty (judgement)
COVERAGE: Final = 2.0

# `open_air` is the flow at the state of the open air: thin air takes nothing from it, so what
# is left of a difference is the machine's.
Quantity = Literal["mass_flow_kg_s", "standard_flow_m3_s", "flow_inlet_m3_s", "flow_open_air_m3_s"]
QUANTITIES: Final[tuple[Quantity, ...]] = (
    "mass_flow_kg_s",
    "standard_flow_m3_s",
    "flow_inlet_m3_s",
    "flow_open_air_m3_s",
)


class Change(NamedTuple):
    """Of a quantity from one run to another: relative, with its 95 % half-width, and what the
    half-width would be if nothing cancelled."""

    relative: float
    u95: float
    u95_apart: float

    @property
    def certain(self) -> bool:
        """Whether it is more than its uncertainty."""
        return abs(self.relative) > self.u95


@dataclass(frozen=True)
class Pair:
    """A later run against the first.

    `table` has a row a common speed: `speed_rpm`, and of each quantity the value in both runs
    (`_first`, `_later`), their `_difference`, its half-width `_u95`, and `_u95_apart` as if
    nothing cancelled. `change` is the mean over these speeds.
    """

    first: Run
    later: Run
    same_meter: bool
    why_not_the_same: str
    table: pd.DataFrame
    change: dict[Quantity, Change]
    lowest_rpm: float
    highest_rpm: float


def compare_runs(runs: Sequence[Run]) -> list[Pair]:
    """Each run after the first against the first. Raises LogError where two have no speed in
    common."""
    return [_pair(runs[0], later) for later in runs[1:]]


def _pair(first: Run, later: Run) -> Pair:
    one, other = _Curve(first), _Curve(later)
    low = max(one.speed.min(), other.speed.min()) * (1 - ALIKE)
    high = min(one.speed.max(), other.speed.max()) * (1 + ALIKE)
    if low >= high:
        raise LogError(
            f"{first.log.path.name} has settled points from {one.speed.min():.0f} to "
            f"{one.speed.max():.0f} rpm, {later.log.path.name} from {other.speed.min():.0f} to "
            f"{other.speed.max():.0f} rpm: no speed is common to both; hold one speed in both runs"
        )
    speeds = _apart(np.concatenate([one.speed, other.speed]), low, high)
    same, why = _same_meter(first, later)
    columns: dict[str, Array] = {"speed_rpm": speeds}
    change: dict[Quantity, Change] = {}
    mine, theirs = one.weights(speeds), other.weights(speeds)
    for quantity in QUANTITIES:
        before, after = one.result(quantity), other.result(quantity)
        u: Array = mine @ before.value
        v: Array = theirs @ after.value
        bends = np.diag((BENDS * u) ** 2 * (one.between(speeds) + other.between(speeds)))
        apart = mine @ before.covariance() @ mine.T + theirs @ after.covariance() @ theirs.T + bends
        shared = np.zeros_like(apart)
        if same:
            shared = mine @ covariance_between_runs(before, after) @ theirs.T
        covariance = apart - shared - shared.T
        columns |= {
            f"{quantity}_first": u,
            f"{quantity}_later": v,
            f"{quantity}_difference": v - u,
            f"{quantity}_u95": COVERAGE * np.sqrt(np.maximum(np.diag(covariance), 0.0)),
            f"{quantity}_u95_apart": COVERAGE * np.sqrt(np.diag(apart)),
        }
        mean: Array = 1 / u / len(u)
        change[quantity] = Change(
            float(mean @ (v - u)),
            float(COVERAGE * np.sqrt(max(mean @ covariance @ mean, 0.0))),
            float(COVERAGE * np.sqrt(mean @ apart @ mean)),
        )
    return Pair(
        first, later, same, why, pd.DataFrame(columns), change, float(speeds[0]), float(speeds[-1])
    )


class _Curve:
    """Flow against speed of one run, as weights on its stated points."""

    def __init__(self, run: Run) -> None:
        self._run = run
        good = np.flatnonzero((run.points["withheld"] == "").to_numpy())
        if run.flows is None or not len(good):
            raise LogError(f"{run.log.path}: it has no settled point with a flow to compare")
        self._flows = run.flows
        speed = run.points["speed_rpm"].to_numpy(float)
        order = good[np.argsort(speed[good])]
        self._all = speed
        self._groups = np.split(
            order, 1 + np.flatnonzero(np.diff(speed[order]) > ALIKE * speed[order][1:])
        )
        self.speed = np.array([speed[group].mean() for group in self._groups])

    def weights(self, speeds: Array) -> Array:
        """What each settled point counts for the flow at each speed: (speeds, points)."""
        found = np.zeros((len(speeds), len(self._all)))
        for row, speed in enumerate(speeds):
            at = float(np.clip(np.interp(speed, self.speed, np.arange(len(self.speed))), 0, None))
            below = int(at)
            for number, share in ((below, 1 - (at - below)), (below + 1, at - below)):
                if share > 0:
                    group = self._groups[number]
                    found[row, group] += share / len(group) * speed / self._all[group]
        return found

    def between(self, speeds: Array) -> Array:
        """1 where a speed lies between points, 0 where a point is."""
        near = np.abs(speeds[:, None] / self.speed - 1).min(axis=1)
        return np.asarray(near > ALIKE, dtype=np.float64)

    def result(self, quantity: Quantity) -> Result:
        flows = self._flows
        if quantity == "standard_flow_m3_s":
            return flows.standard
        if quantity == "flow_inlet_m3_s":
            return flows.inlet.result
        if quantity == "mass_flow_kg_s":
            return flows.mass
        return _over(flows.mass, self._open_air())

    def _open_air(self) -> Array:
        points = self._run.points
        pressure, temperature = points["ambient_pressure_pa"], points["ambient_temperature_k"]
        vapour = air.vapour_fraction(
            pressure.to_numpy(), temperature.to_numpy(), points["ambient_humidity"].to_numpy()
        )
        return air.density(pressure.to_numpy(), temperature.to_numpy(), vapour)


def _over(result: Result, density: Array) -> Result:
    return Result(result.inputs, result.value / density, result.contributions / density)


def _apart(speeds: Array, low: float, high: float) -> Array:
    """The speeds within two bounds, those nearer than ALIKE as one."""
    inside = np.sort(speeds[(speeds >= low) & (speeds <= high)])
    groups = np.split(inside, 1 + np.flatnonzero(np.diff(inside) > ALIKE * inside[1:]))
    return np.array([group.mean() for group in groups])


def _same_meter(first: Run, later: Run) -> tuple[bool, str]:
    """Whether one and the same meter was used, and what speaks against it."""
    for field in fields_of(first.rig.meter):
        if field == "position":
            continue
        one, other = getattr(first.rig.meter, field), getattr(later.rig.meter, field)
        if one != other:
            return False, f"the rigs give another {field.replace('_', ' ')}"
    sensors = [run.records.header.sensor("meter_dp") for run in (first, later)]
    if sensors[0] is None or sensors[1] is None:
        return False, "a header names no differential-pressure sensor"
    if sensors[0].part != sensors[1].part or sensors[0].channels != sensors[1].channels:
        return False, "the logs name another differential-pressure sensor"
    return True, ""


def fields_of(meter: Meter) -> list[str]:
    return list(type(meter).model_fields)

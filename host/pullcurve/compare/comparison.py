"""Two or more runs of one machine: what changed, by how much, and whether that is more than
the measurement's doubt.

Runs are compared at equal speed of the blower, within the speeds that both have held and not
beyond. Between the points of a run its flow over speed is taken as straight against the square
of the speed, as the vacuum of a path makes it. What two runs share of their uncertainty cancels
in their difference: with one and the same meter that is most of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, Literal, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.compare.run_curve import ALIKE, RunCurve, clusters
from pullcurve.errors import LogError
from pullcurve.examine import Run
from pullcurve.measure.measurement import BELT_SLIP
from pullcurve.measure.swirl import NONE_THERE
from pullcurve.physics import air
from pullcurve.physics.primary_elements import SHORT_PIPE_UNCERTAINTY
from pullcurve.uncertainty import Reach, Result, propagate

Array = NDArray[np.float64]

COVERAGE: Final = 2.0
# A tube that went from an open end into the clean pipe meets other air ahead of it: what the
# standards add for that, as a standard uncertainty (judgement).
MOVED: Final = SHORT_PIPE_UNCERTAINTY / 2
# What makes a tube the same one; its place and the loss of its open end may change.
OF_THE_TUBE: Final = (
    *("kind", "taps", "pipe_bore", "throat_bore"),
    *("discharge_coefficient", "discharge_coefficient_source"),
)

# `open_air` is the flow in the state of the open air: a blower takes in volume, so thin air
# takes nothing from it, and what is left of a difference is the machine's.
Quantity = Literal["mass_flow", "standard_flow", "flow_inlet", "flow_open_air"]
QUANTITIES: Final[dict[Quantity, str]] = {
    "mass_flow": "kg_s",
    "standard_flow": "m3_s",
    "flow_inlet": "m3_s",
    "flow_open_air": "m3_s",
}


def columns_of(quantity: Quantity) -> dict[str, str]:
    """What `Pair.table` says of a quantity, and the name of its column."""
    unit = QUANTITIES[quantity]
    return {
        "first": f"{quantity}_first_{unit}",
        "later": f"{quantity}_later_{unit}",
        "difference": f"{quantity}_difference_{unit}",
        "u95": f"{quantity}_difference_u95_{unit}",
        "u95_apart": f"{quantity}_difference_u95_apart_{unit}",
        "relative": f"{quantity}_relative",
        "relative_u95": f"{quantity}_relative_u95",
        "relative_u95_apart": f"{quantity}_relative_u95_apart",
    }


class Change(NamedTuple):
    """Of a quantity from one run to another, over that of the first run: with its 95 %
    half-width, and what the half-width would be if nothing cancelled."""

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

    `table` has a row a common speed: `speed_rpm`, `held_by` (both, first, later: who has a
    settled point there), and the columns of `columns_of` each quantity: its value in both runs,
    the difference with its half-width, which is `apart` if nothing cancelled, and the same over
    the first run's value. `change` is the mean of the relative differences over these speeds.

    `same_meter`: whether one meter's errors are taken as shared, for the reason `why`. `moved`:
    it stood at another place. `left_out`: points that are not compared, in words.
    """

    first: Run
    later: Run
    same_meter: bool
    why: str
    moved: bool
    table: pd.DataFrame
    change: dict[Quantity, Change]
    curves: tuple[RunCurve, RunCurve]

    @property
    def left_out(self) -> tuple[str, ...]:
        return (*self.curves[0].left_out, *self.curves[1].left_out)

    @property
    def air(self) -> float:
        """What the day's air makes of the change of standard flow: density of the open air in
        the later run over that in the first, less 1."""
        standard, volume = self.change["standard_flow"], self.change["flow_open_air"]
        return (1 + standard.relative) / (1 + volume.relative) - 1


def compare_runs(runs: Sequence[Run]) -> list[Pair]:
    """Each run after the first against the first. Raises LogError where two are one and the
    same, or have no speed in common."""
    if len(runs) < 2:
        raise LogError("a comparison takes two runs or more")
    for one, other in combinations(runs, 2):
        if one_and_the_same(one, other):
            raise LogError(
                f"{one.log.path} and {other.log.path} hold one and the same run, so there is "
                "nothing to compare; name two runs"
            )
    first = RunCurve(runs[0])
    return [_pair(first, RunCurve(later)) for later in runs[1:]]


def one_and_the_same(one: Run, other: Run) -> bool:
    """Whether two logs hold one run: true for a copy, even one with notes added."""

    def identity(run: Run) -> tuple[object, ...]:
        received = run.log.received
        return run.records.header.board_id, received[0], received[-1], len(received)

    return identity(one) == identity(other)


def _pair(one: RunCurve, other: RunCurve) -> Pair:
    speeds = _common_speeds(one, other)
    same, why = same_meter(one.run, other.run)
    places = one.run.rig.meter.position, other.run.rig.meter.position
    mine, theirs = one.weights(speeds), other.weights(speeds)
    columns: dict[str, Array | list[str]] = {
        "speed_rpm": speeds,
        "held_by": _held_by(one, other, speeds),
    }
    change: dict[Quantity, Change] = {}
    for quantity in QUANTITIES:
        before, after = _result(one.run, quantity), _result(other.run, quantity)
        u: Array = mine @ before.value
        v: Array = theirs @ after.value
        of_first = mine @ before.covariance() @ mine.T + _extra(one, other, speeds, u)
        of_later = theirs @ after.covariance() @ theirs.T + _extra(other, one, speeds, v)
        if "clean_pipe" in places and places[0] != places[1]:
            of_later += np.outer(MOVED * v, MOVED * v)
        both = np.zeros_like(of_first)
        if same:
            alone = _not_shared(one.run, other.run)
            both = mine @ _common(before, after, alone) @ theirs.T
        # r = v/u - 1, so dr = dv/u - v du/u^2.
        du, dv = np.diag(v / u**2), np.diag(1 / u)
        apart = du @ of_first @ du + dv @ of_later @ dv
        cross = dv @ both.T @ du
        relative, together = v / u - 1, apart - cross - cross.T
        values = {
            "first": u,
            "later": v,
            "difference": v - u,
            "u95": _half_width(of_first + of_later - both - both.T),
            "u95_apart": _half_width(of_first + of_later),
            "relative": relative,
            "relative_u95": _half_width(together),
            "relative_u95_apart": _half_width(apart),
        }
        columns |= {column: values[part] for part, column in columns_of(quantity).items()}
        change[quantity] = Change(
            float(relative.mean()),
            float(COVERAGE * np.sqrt(max(together.mean(), 0.0))),
            float(COVERAGE * np.sqrt(apart.mean())),
        )
    moved = places[0] != places[1]
    table = pd.DataFrame(columns)
    return Pair(one.run, other.run, same, why, moved, table, change, (one, other))


def _half_width(covariance: Array) -> Array:
    return np.asarray(COVERAGE * np.sqrt(np.maximum(np.diag(covariance), 0.0)))


def _common_speeds(one: RunCurve, other: RunCurve) -> Array:
    """The speeds that either run has held within what both have held; those alike as one."""
    low = max(one.speed[0], other.speed[0])
    high = min(one.speed[-1], other.speed[-1])
    if high < low <= (1 + ALIKE) * high:
        return np.array([(low + high) / 2])
    if low > high:
        raise LogError(
            f"{one.run.log.path.name} has settled points from {one.speed[0]:.0f} to "
            f"{one.speed[-1]:.0f} rpm, {other.run.log.path.name} from {other.speed[0]:.0f} to "
            f"{other.speed[-1]:.0f} rpm: no speed is common to both, and nothing is told beyond "
            "what was held; hold one speed in both runs"
        )
    every = np.sort(np.concatenate([one.speed, other.speed]))
    inside = every[(every >= low) & (every <= high)]
    return np.array([inside[group].mean() for group in clusters(inside)])


def _held_by(one: RunCurve, other: RunCurve, speeds: Array) -> list[str]:
    def near(curve: RunCurve) -> NDArray[np.bool_]:
        return np.asarray(np.abs(speeds[:, None] / curve.speed - 1).min(axis=1) <= ALIKE)

    pairs = zip(near(one), near(other), strict=True)
    return ["both" if a and b else "first" if a else "later" for a, b in pairs]


def _extra(curve: RunCurve, other: RunCurve, speeds: Array, flow: Array) -> Array:
    """What comes to a run's covariance at equal speed: interpolation, and the speeds' doubt.

    Where both runs watch the engine's shaft they are compared at equal speed of the engine, and
    what the belt slips is the machine's. Where only one does, or the pulleys are others, it is
    doubt.
    """
    relative = curve.doubt(speeds)
    ratios = {each.run.rig.machine.belt_ratio for each in (curve, other)}
    if curve.from_engine and not (other.from_engine and len(ratios) == 1):
        relative = relative + BELT_SLIP**2 / 3
    return np.asarray(np.outer(flow, flow) * relative)


def _result(run: Run, quantity: Quantity) -> Result:
    flows = run.flows
    if flows is None:  # a curve has points with flows
        raise ValueError("a run without flows has no curve")
    if quantity == "standard_flow":
        return flows.standard
    if quantity == "flow_inlet":
        return flows.inlet.result
    return flows.mass if quantity == "mass_flow" else _in_open_air(flows.mass)


def _in_open_air(mass: Result) -> Result:
    """Mass flow over the density of the open air, whose errors act on both."""

    def density(x: Mapping[str, Array]) -> Array:
        pressure, temperature = x["station pressure"], x["air temperature"]
        vapour = air.vapour_fraction(pressure, temperature, np.clip(x["humidity"], 0, 1))
        return air.density(pressure, temperature, vapour) * x["density formula"]

    names = ("station pressure", "air temperature", "humidity", "density formula")
    of_air = propagate(density, [entry for entry in mass.inputs if entry.name in names])
    parts = mass.contributions.copy()
    for row, entry in enumerate(mass.inputs):
        if entry.name in names:
            parts[row] -= mass.value / of_air.value * of_air.contribution(entry.name)
    return Result(mass.inputs, mass.value / of_air.value, parts / of_air.value)


def _common(first: Result, later: Result, alone: tuple[str, ...]) -> Array:
    """Covariance of the points of one run with those of the other, by what their meter shares.

    Where a run knows the meter less well than the other, for a reason of its own such as too
    short a pipe ahead, only what both have is shared. alone: inputs that are not.
    """
    others = {entry.name: entry for entry in later.inputs if entry.shared == Reach.METER}
    found = np.zeros((len(first.value), len(later.value)))
    for entry in first.inputs:
        other = others.get(entry.name)
        if entry.shared != Reach.METER or other is None or entry.name in alone:
            continue
        u = entry.standard_uncertainty, other.standard_uncertainty
        share = min(u) / max(u) if np.ndim(u[0]) == np.ndim(u[1]) == 0 and max(u) > 0 else 1.0
        found += share * np.outer(first.contribution(entry.name), later.contribution(entry.name))
    return found


def _not_shared(first: Run, later: Run) -> tuple[str, ...]:
    """Inputs of the meter that are others in the other run: the end of its tube changed, or the
    flow that comes into it may swirl in another way, at another place or where eddies show."""
    one, other = first.rig.meter, later.rig.meter
    alone = () if one.inlet_loss == other.inlet_loss else ("inlet loss",)
    eddies = any(_straightness_u(run) > NONE_THERE / COVERAGE for run in (first, later))
    return (*alone, "straight flow") if eddies or one.position != other.position else alone


def _straightness_u(run: Run) -> float:
    inputs = () if run.flows is None else run.flows.mass.inputs
    return sum(float(np.max(e.standard_uncertainty)) for e in inputs if e.name == "straight flow")


def same_meter(first: Run, later: Run) -> tuple[bool, str]:
    """Whether one and the same meter was used, and what that is taken from."""
    for field in OF_THE_TUBE:
        if getattr(first.rig.meter, field) != getattr(later.rig.meter, field):
            return False, f"the rigs give the meter another {field.replace('_', ' ')}"
    headers = [run.records.header for run in (first, later)]
    sensors = [header.sensor("meter_dp") for header in headers]
    if sensors[0] is None or sensors[1] is None:
        return False, "a log names no differential-pressure sensor"
    if sensors[0].part != sensors[1].part or sensors[0].channels != sensors[1].channels:
        return False, "the logs name another differential-pressure sensor"
    if headers[0].board_id != headers[1].board_id:
        return False, "the logs come from two boards, so the pressure sensor was another one"
    return True, "the rigs describe one tube, and both logs come from one board with one sensor"

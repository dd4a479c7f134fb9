"""Two or more runs of one machine: what changed, by how much, and whether that is more than
the measurement's doubt.

Runs are compared at equal speed of the blower, within the speeds that both have held and not
beyond. Between the points of a run its flow over speed is taken as straight against the square
of the speed, as the vacuum of a path makes it. What two runs share of their uncertainty cancels
in their difference: with one and the same meter that is most of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.compare.cause_changes import cause_changes, diagnose_both
from pullcurve.compare.hose_cost import hose_cost
from pullcurve.compare.result import (
    COVERAGE,
    QUANTITIES,
    Change,
    CommonSpeed,
    Compared,
    ComparedPoint,
    ComparedRun,
    Comparison,
    HeldBy,
    Pair,
    Quantity,
)
from pullcurve.compare.run_curve import ALIKE, RunCurve, clusters, same_meter
from pullcurve.diagnosis.diagnose import Diagnosis
from pullcurve.diagnosis.evidence import fittings
from pullcurve.diagnosis.run_diagnosis import NOT_ASKED, label_of
from pullcurve.errors import LogError
from pullcurve.examine import Run, one_and_the_same
from pullcurve.measure.inputs import FlowResult, Source
from pullcurve.measure.sweep_curve import BELT_SLIP
from pullcurve.measure.swirl import NONE_THERE
from pullcurve.physics import air
from pullcurve.physics.primary_elements import SHORT_PIPE_UNCERTAINTY
from pullcurve.run_log.provenance import provenance
from pullcurve.stream.records import rows_of
from pullcurve.uncertainty import Reach, Result, propagate
from pullcurve.version import __version__

Array = NDArray[np.float64]

# A tube that went from an open end into the clean pipe meets other air ahead of it: what the
# standards add for that, as a standard uncertainty (judgement).
MOVED: Final = SHORT_PIPE_UNCERTAINTY / 2


def compare_runs(runs: Sequence[Run]) -> list[Pair]:
    """Compare each run after the first against the first, without diagnosing either.

    Raises
    ------
    LogError
        Where two are one and the same, or have no speed in common.
    """
    first, *others = _curves(runs)
    return [_pair(number, first, later) for number, later in enumerate(others, 2)]


def comparison_of(runs: Sequence[Run]) -> Comparison:
    """Say everything that is said of these runs, their diagnoses included.

    Raises
    ------
    LogError
        As `compare_runs`.
    """
    curves = _curves(runs)
    found: dict[int, Diagnosis | str] = {}
    pairs = []
    for number, later in enumerate(curves[1:], 2):
        pair = _pair(number, curves[0], later)
        found[1], found[number], healthy = diagnose_both(runs[0], later.run, found.get(1))
        changes = cause_changes(found[1], found[number])
        if isinstance(changes, str):
            pairs.append(replace(pair, why_no_causes=changes, baseline=healthy))
        else:
            pairs.append(replace(pair, cause_changes=changes, why_no_causes="", baseline=healthy))
    return Comparison(
        reference_conditions=air.STANDARD_CONDITIONS.name,
        runs=tuple(_compared(curve, found[number]) for number, curve in enumerate(curves, 1)),
        pairs=tuple(pairs),
        pullcurve=__version__,
    )


def _curves(runs: Sequence[Run]) -> list[RunCurve]:
    if len(runs) < 2:
        raise LogError("a comparison takes two runs or more")
    for one, other in combinations(runs, 2):
        if one_and_the_same(one, other):
            raise LogError(
                f"{one.log.path} and {other.log.path} hold one and the same run, so there is "
                "nothing to compare; name two runs"
            )
    return [RunCurve(run) for run in runs]


def _compared(curve: RunCurve, found: Diagnosis | str) -> ComparedRun:
    run = curve.run
    points, origin = run.points, provenance(run.log, run.records, run.rig)
    stated = points[points["withheld"] == ""].sort_values("speed_rpm")
    rows = set(curve.rows.tolist())
    hose_on, plate = fittings(run, curve.rows[-1:])
    return ComparedRun(
        log_name=origin.log_name,
        log_sha256=origin.log_sha256,
        rig_name=origin.rig_name,
        started=origin.started,
        board_id=origin.board_id,
        position=run.rig.meter.position,
        hose=bool(hose_on[0]),
        plate=plate[0] or "",
        one_state=isinstance(found, str) or "no_fit" not in found.verdict.vetoed_by,
        ambient_pressure_pa=float(points["ambient_pressure_pa"].mean()),
        ambient_temperature_k=float(points["ambient_temperature_k"].mean()),
        ambient_humidity=float(points["ambient_humidity"].mean()),
        verdict="" if isinstance(found, str) else label_of(found),
        why_no_verdict=found if isinstance(found, str) else "",
        troubles=tuple(dict.fromkeys(trouble.kind for trouble in run.troubles)),
        points=tuple(
            ComparedPoint(
                point=row.point,
                speed_rpm=row.speed_rpm,
                standard_flow_m3_s=row.standard_flow_m3_s,
                standard_flow_u95_m3_s=row.standard_flow_u95_m3_s,
                compared=row.Index in rows,
            )
            for row in rows_of(stated)
        ),
    )


def _pair(number: int, one: RunCurve, other: RunCurve) -> Pair:
    speeds = _common_speeds(one, other)
    same, why = same_meter(one.run, other.run)
    places = one.run.rig.meter.position, other.run.rig.meter.position
    mine, theirs = one.weights(speeds), other.weights(speeds)
    compared: dict[Quantity, list[Compared]] = {}
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
        values = (
            *(u, v, v - u),
            _half_width(of_first + of_later - both - both.T),
            _half_width(of_first + of_later),
            *(relative, _half_width(together), _half_width(apart)),
        )
        compared[quantity] = [Compared(*row) for row in np.transpose(values).tolist()]
        change[quantity] = Change.of(
            float(relative.mean()),
            float(COVERAGE * np.sqrt(max(together.mean(), 0.0))),
            float(COVERAGE * np.sqrt(apart.mean())),
        )
    common = [
        CommonSpeed(float(speed), held_by, *of_each)
        for speed, held_by, *of_each in zip(
            speeds, _held_by(one, other, speeds), *compared.values(), strict=True
        )
    ]
    standard, volume = change["standard_flow"], change["flow_open_air"]
    return Pair(
        later=number,
        same_meter=same,
        same_meter_because=why,
        moved=places[0] != places[1],
        speeds=tuple(common),
        **change,
        # A blower takes in volume: what standard flow changes more than that is the day's air.
        air=(1 + standard.relative) / (1 + volume.relative) - 1,
        left_out=(*one.left_out, *other.left_out),
        cause_changes=(),
        why_no_causes=NOT_ASKED,
        baseline=False,
        hose=hose_cost(one, other, common[-1]),
    )


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


def _held_by(one: RunCurve, other: RunCurve, speeds: Array) -> list[HeldBy]:
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


def _result(run: Run, quantity: Quantity) -> FlowResult:
    flows = run.flows
    if flows is None:  # a curve has points with flows
        raise ValueError("a run without flows has no curve")
    if quantity == "standard_flow":
        return flows.standard
    if quantity == "flow_inlet":
        return flows.inlet.result
    return flows.mass if quantity == "mass_flow" else _in_open_air(flows.mass)


def _in_open_air(mass: FlowResult) -> FlowResult:
    """Mass flow over the density of the open air, whose errors act on both."""

    def density(x: Mapping[Source, Array]) -> Array:
        pressure, temperature = x[Source.STATION_PRESSURE], x[Source.AIR_TEMPERATURE]
        vapour = air.vapour_fraction(pressure, temperature, np.clip(x[Source.HUMIDITY], 0, 1))
        return air.density(pressure, temperature, vapour) * x[Source.DENSITY_FORMULA]

    names = (
        *(Source.STATION_PRESSURE, Source.AIR_TEMPERATURE),
        *(Source.HUMIDITY, Source.DENSITY_FORMULA),
    )
    of_air = propagate(density, [entry for entry in mass.inputs if entry.name in names])
    parts = mass.contributions.copy()
    for row, entry in enumerate(mass.inputs):
        if entry.name in names:
            parts[row] -= mass.value / of_air.value * of_air.contribution(entry.name)
    return Result(mass.inputs, mass.value / of_air.value, parts / of_air.value)


def _common(first: FlowResult, later: FlowResult, alone: tuple[Source, ...]) -> Array:
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


def _not_shared(first: Run, later: Run) -> tuple[Source, ...]:
    """Inputs of the meter that are others in the other run: the end of its tube changed, or the
    flow that comes into it may swirl in another way, at another place or where eddies show."""
    one, other = first.rig.meter, later.rig.meter
    alone = () if one.inlet_loss == other.inlet_loss else (Source.INLET_LOSS,)
    eddies = any(_swirl_u(run) > NONE_THERE / COVERAGE for run in (first, later))
    return (*alone, Source.SWIRL) if eddies or one.position != other.position else alone


def _swirl_u(run: Run) -> float:
    inputs = () if run.flows is None else run.flows.mass.inputs
    return sum(float(np.max(e.standard_uncertainty)) for e in inputs if e.name == Source.SWIRL)

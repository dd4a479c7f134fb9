"""The result of a comparison, made from reduced runs."""

from collections.abc import Sequence
from math import isnan
from typing import Any

from pullcurve import __version__
from pullcurve.compare import comparison as numbers
from pullcurve.compare.cause_changes import cause_changes, diagnose_both
from pullcurve.compare.hose_cost import hose_cost
from pullcurve.compare.run_curve import RunCurve
from pullcurve.diagnosis.diagnose import Diagnosis
from pullcurve.diagnosis.evidence import fittings
from pullcurve.examine import Run
from pullcurve.physics.air import STANDARD_CONDITIONS
from pullcurve.quantities import ZERO_CELSIUS
from pullcurve.report import compare_result as told
from pullcurve.report.diagnosis_from_run import interval_of, label_of
from pullcurve.report.facts_from_run import provenance
from pullcurve.stream.records import rows_of


def comparison_of(runs: Sequence[Run]) -> told.Comparison:
    """Everything that is said of these runs. Raises LogError as `compare_runs`."""
    pairs = numbers.compare_runs(runs)
    found: dict[int, Diagnosis | str] = {}
    made = []
    for number, pair in enumerate(pairs, 2):
        found[1], found[number], healthy = diagnose_both(runs[0], pair.later, found.get(1))
        made.append(_pair(number, pair, found[1], found[number], baseline=healthy))
    curves = [pairs[0].curves[0], *(pair.curves[1] for pair in pairs)]
    return told.Comparison(
        reference_conditions=STANDARD_CONDITIONS.name,
        runs=tuple(_run(curve, found[number]) for number, curve in enumerate(curves, 1)),
        pairs=tuple(made),
        pullcurve=__version__,
    )


def _run(curve: RunCurve, found: Diagnosis | str) -> told.ComparedRun:
    run = curve.run
    points, origin = run.points, provenance(run)
    stated = points[points["withheld"] == ""].sort_values("speed_rpm")
    rows = set(curve.rows.tolist())
    hose_on, plate = fittings(run, curve.rows[-1:])
    return told.ComparedRun(
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
        ambient_temperature_c=float(points["ambient_temperature_k"].mean()) - ZERO_CELSIUS,
        ambient_humidity=float(points["ambient_humidity"].mean()),
        verdict="" if isinstance(found, str) else label_of(found),
        why_no_verdict=found if isinstance(found, str) else "",
        troubles=tuple(dict.fromkeys(trouble.kind for trouble in run.troubles)),
        points=tuple(
            told.ComparedPoint(
                point=row.point,
                speed_rpm=row.speed_rpm,
                standard_flow_m3_s=row.standard_flow_m3_s,
                standard_flow_u95_m3_s=row.standard_flow_u95_m3_s,
                compared=row.Index in rows,
            )
            for row in rows_of(stated)
        ),
    )


def _pair(
    number: int,
    pair: numbers.Pair,
    first: Diagnosis | str,
    later: Diagnosis | str,
    *,
    baseline: bool,
) -> told.Pair:
    why = _why_no_causes(first, later)
    changes: tuple[told.CauseChange, ...] = ()
    if not why and isinstance(first, Diagnosis) and isinstance(later, Diagnosis):
        changes = tuple(
            told.CauseChange(
                name=change.name,
                first=interval_of(change.first),
                later=interval_of(change.later),
                difference=interval_of(change.difference),
                certain=change.certain,
            )
            for change in cause_changes(first, later)
        )
    change = {name: _change(each) for name, each in pair.change.items()}
    return told.Pair(
        later=number,
        same_meter=pair.same_meter,
        same_meter_because=pair.why,
        moved=pair.moved,
        speeds=tuple(_speed(row) for row in pair.table.to_dict("records")),
        mass_flow=change["mass_flow"],
        standard_flow=change["standard_flow"],
        flow_inlet=change["flow_inlet"],
        flow_open_air=change["flow_open_air"],
        air=pair.air,
        left_out=pair.left_out,
        cause_changes=changes,
        why_no_causes=why,
        baseline=baseline,
        hose=_hose(pair),
    )


def _why_no_causes(first: Diagnosis | str, later: Diagnosis | str) -> str:
    for which, found in (("first", first), ("later", later)):
        if isinstance(found, str):
            return f"The {which} run has no diagnosis. {found}"
        if found.verdict.vetoed_by:
            return (
                f"There is no verdict on the machine in the {which} run: its own report says what "
                "stands against one."
            )
    return ""


def _speed(row: dict[Any, Any]) -> told.CommonSpeed:
    quantities = {
        f"{name}_{unit}": {part: row[column] for part, column in numbers.columns_of(name).items()}
        for name, unit in numbers.QUANTITIES.items()
    }
    return told.CommonSpeed.model_validate(
        {"speed_rpm": row["speed_rpm"], "held_by": row["held_by"], **quantities}
    )


def _change(change: numbers.Change) -> told.Change:
    return told.Change(**change._asdict(), certain=change.certain)


def _hose(pair: numbers.Pair) -> told.HoseCost | None:
    cost = hose_cost(pair)
    if cost is None:
        return None
    return told.HoseCost(
        hose_run=cost.hose_run,
        speed_rpm=cost.speed_rpm,
        open_port_kg_s=cost.open_port,
        with_hose_kg_s=cost.with_hose,
        cost_kg_s=interval_of(cost.cost),
        vacuum_blower_open_port_pa=_known(cost.vacuum_blower[0]),
        vacuum_blower_with_hose_pa=_known(cost.vacuum_blower[1]),
        vacuum_tank_open_port_pa=_known(cost.vacuum_tank[0]),
        vacuum_tank_with_hose_pa=_known(cost.vacuum_tank[1]),
        taken_kg_s=cost.taken and interval_of(cost.taken),
        leak_kg_s=cost.leak and interval_of(cost.leak),
        leak_share=cost.leak_share and interval_of(cost.leak_share),
        missing=cost.missing,
    )


def _known(value: float) -> float | None:
    return None if isnan(value) else value

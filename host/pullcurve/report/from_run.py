"""The result of a run, made from its reduced tables."""

from typing import Any, Final

import numpy as np

from pullcurve.checks.catalogue import CATALOGUE, Kind
from pullcurve.diagnosis.diagnose import Diagnosis
from pullcurve.diagnosis.unused_notes import unused_notes
from pullcurve.examine import Run
from pullcurve.measure.flow import Flows, Volume
from pullcurve.physics.air import STANDARD_CONDITIONS
from pullcurve.quantities import SI, ZERO_CELSIUS
from pullcurve.report.diagnosis_from_run import run_diagnosis
from pullcurve.report.facts_from_run import (
    meter_facts,
    provenance,
    sensor_facts,
    site_facts,
    speed_facts,
)
from pullcurve.report.finding_words import result_remark, result_trouble, speed_doubt
from pullcurve.report.quality_from_run import data_quality
from pullcurve.report.result import (
    Contribution,
    Flow,
    MeteredQuantity,
    Note,
    Quantity,
    RejectedStretch,
    RunResult,
    SettledPoint,
    SharedInputs,
    TimeStrip,
    Zero,
)
from pullcurve.report.rounding import percent
from pullcurve.report.sentences import headline
from pullcurve.stream.records import rows_of
from pullcurve.uncertainty import Reach, Result

STRIP_POINTS: Final = 600
_OF_FLOW: Final = (
    *("mass_flow_kg_s", "flow_tap", "flow_port", "flow_inlet", "standard_flow_m3_s"),
    *("reynolds_number", "discharge_coefficient", "expansibility"),
)
_GRAVEST_FIRST: Final = ("withheld", "widened", "none")
NOT_ASKED: Final = "No diagnosis was asked for."


def result_of(run: Run, found: Diagnosis | str = NOT_ASKED, baseline: str = "") -> RunResult:
    """Everything that is said of a run. It may have no settled point.

    found: what `diagnose` gave of it; baseline: name of the earlier run that it was given.
    """
    table = run.channels.table
    duration_s = float(table["time_s"].iloc[-1] + table["length_s"].iloc[-1] / 2)
    points = tuple(_point(i, row, run) for i, row in enumerate(rows_of(run.points)))
    troubles = tuple(
        result_trouble(trouble)
        for trouble in sorted(run.troubles, key=lambda each: _GRAVEST_FIRST.index(each.consequence))
    )
    doubt = speed_doubt(troubles, run.channels.blower_shaft_from)
    return RunResult(
        title=run.rig.name,
        headline=headline(points, run.rig.meter.position, STANDARD_CONDITIONS.name, SI, doubt),
        reference_conditions=STANDARD_CONDITIONS.name,
        duration_s=duration_s,
        diagnosis=run_diagnosis(run, found, baseline),
        points=points,
        rejected=tuple(
            RejectedStretch(
                start_s=stretch.start_s,
                end_s=stretch.end_s,
                speed_rpm=stretch.speed_rpm,
                reason=stretch.rejected,
            )
            for stretch in run.rejected
        ),
        zeros=tuple(
            Zero(
                start_s=row.start_s,
                end_s=row.end_s,
                zero_pa=Quantity(value=row.zero_pa, u95=2 * row.zero_u_pa),
            )
            for row in rows_of(run.zeros.table)
        ),
        zero_half_width_pa=run.zeros.half_width_pa(),
        troubles=troubles,
        remarks=tuple(result_remark(remark) for remark in (*run.remarks, *unused_notes(run))),
        notes=tuple(
            Note(
                time_s=None if np.isnan(row.time_s) else row.time_s,
                what=row.what,
                value=row.value,
                place=row.place,
                at=row.at,
            )
            for row in rows_of(run.notes)
        ),
        quality=data_quality(run, duration_s),
        meter=meter_facts(run),
        speed=speed_facts(run),
        sensors=sensor_facts(run),
        site=site_facts(run),
        strip=_strip(run),
        provenance=provenance(run),
    )


def _point(i: int, row: Any, run: Run) -> SettledPoint:
    withheld = CATALOGUE[Kind(row.withheld)].withheld if row.withheld else None
    if withheld is None and run.flows is not None:
        flows = _flows(i, row, run.flows)
    else:
        flows = dict.fromkeys(_OF_FLOW) | {"budget": ()}
    return SettledPoint(
        point=row.point,
        sweep=row.sweep,
        hold=row.hold,
        start_s=row.start_s,
        end_s=row.end_s,
        withheld=withheld,
        speed_rpm=Quantity(value=row.speed_rpm, u95=row.speed_u95_rpm),
        differential_pressure_pa=Quantity(
            value=row.differential_pressure_pa, u95=row.differential_pressure_u95_pa
        ),
        vacuum_blower_pa=_known(row.vacuum_blower_pa, row.vacuum_blower_u95_pa),
        vacuum_tank_pa=_known(row.vacuum_tank_pa, row.vacuum_tank_u95_pa),
        discharge_temperature_c=(
            None
            if np.isnan(row.discharge_temperature_k)
            else row.discharge_temperature_k - ZERO_CELSIUS
        ),
        pulsation_ratio=row.pulsation_ratio,
        pulsation_error=Quantity(value=row.pulsation_error, u95=row.pulsation_error_u95),
        remarks=_remarks(row),
        **flows,
    )


def _remarks(row: Any) -> tuple[str, ...]:
    if not row.clipped_share or row.withheld:
        return ()
    return (f"{percent(row.clipped_share)} of its blocks touch the end of the sensor's range",)


def _flows(i: int, row: Any, flows: Flows) -> dict[str, Any]:
    """What is stated of point i because of its flow."""
    return {
        "mass_flow_kg_s": _metered(flows.mass, i),
        "flow_tap": _volume(flows.tap, i, row.tap_temperature_k),
        "flow_port": _volume(flows.port, i, row.ambient_temperature_k),
        "flow_inlet": _volume(flows.inlet, i, row.ambient_temperature_k),
        "standard_flow_m3_s": _metered(flows.standard, i),
        "budget": _budget(flows.standard, i),
        "reynolds_number": row.reynolds_number,
        "discharge_coefficient": flows.state.coefficient[i],
        "expansibility": flows.state.expansibility[i],
    }


def _metered(result: Result, i: int) -> MeteredQuantity:
    return MeteredQuantity(
        value=result.value[i],
        u95=result.expanded_uncertainty()[i],
        shared_inputs=_shared_inputs(result, i),
    )


def _volume(volume: Volume, i: int, temperature_k: float) -> Flow:
    return Flow(
        value_m3_s=volume.result.value[i],
        u95_m3_s=volume.result.expanded_uncertainty()[i],
        basis=volume.basis,
        pressure_pa=volume.pressure[i],
        temperature_c=temperature_k - ZERO_CELSIUS,
        shared_inputs=_shared_inputs(volume.result, i),
    )


def _shared_inputs(result: Result, i: int) -> SharedInputs:
    def of(reach: Reach) -> dict[str, float]:
        return {
            entry.name: float(part)
            for entry, part in zip(result.inputs, result.contributions[:, i], strict=True)
            if entry.shared == reach and part != 0
        }

    return SharedInputs(run=of(Reach.RUN), meter=of(Reach.METER))


def _budget(result: Result, i: int) -> tuple[Contribution, ...]:
    parts = result.contributions[:, i]
    combined = result.standard_uncertainty[i]
    if combined == 0:
        return ()
    factor = result.expanded_uncertainty()[i] / combined
    found = [
        Contribution(
            source=entry.name,
            share=(part / combined) ** 2,
            u95_m3_s=factor * abs(part),
            shared=entry.shared.value,
        )
        for entry, part in zip(result.inputs, parts, strict=True)
        if part != 0
    ]
    return tuple(sorted(found, key=lambda part: -part.share))


def _known(value: float, u95: float) -> Quantity | None:
    return None if np.isnan(value) else Quantity(value=value, u95=u95)


def _strip(run: Run) -> TimeStrip:
    table = run.channels.table
    group = np.arange(len(table)) // max(1, -(-len(table) // STRIP_POINTS))
    columns = ["time_s", "speed_rpm", "zeroed_dp_pa"]
    thinned = table[columns].groupby(group).mean()

    def numbers(column: str) -> tuple[float | None, ...]:
        return tuple(None if np.isnan(value) else float(value) for value in thinned[column])

    return TimeStrip(
        time_s=tuple(float(value) for value in thinned["time_s"]),
        speed_rpm=numbers("speed_rpm"),
        differential_pressure_pa=numbers("zeroed_dp_pa"),
    )

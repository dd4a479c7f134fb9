"""The result of a run, made from its reduced tables."""

from typing import Final

import numpy as np

from pullcurve.checks.data_quality import data_quality
from pullcurve.diagnosis.diagnose import Diagnosis
from pullcurve.diagnosis.run_diagnosis import NOT_ASKED, run_diagnosis
from pullcurve.diagnosis.unused_notes import unused_notes
from pullcurve.examine import Run
from pullcurve.measure.facts import meter_facts, sensor_facts, site_facts, speed_facts
from pullcurve.measure.note_placing import notes_of
from pullcurve.measure.points import points_of, rejected_of, zeros_of
from pullcurve.physics.air import STANDARD_CONDITIONS
from pullcurve.quantities import SI
from pullcurve.report.finding_words import result_remark, result_trouble, speed_doubt
from pullcurve.report.result import RunResult, TimeStrip
from pullcurve.report.sentences import headline
from pullcurve.run_log.provenance import provenance

STRIP_POINTS: Final = 600
_GRAVEST_FIRST: Final = ("withheld", "widened", "none")


def result_of(run: Run, found: Diagnosis | str = NOT_ASKED, baseline: str = "") -> RunResult:
    """Everything that is said of a run. It may have no settled point.

    found: what `diagnose` gave of it; baseline: name of the earlier run that it was given.
    """
    table = run.channels.table
    duration_s = float(table["time_s"].iloc[-1] + table["length_s"].iloc[-1] / 2)
    points = points_of(run.points, run.flows)
    told = tuple(
        result_trouble(trouble)
        for trouble in sorted(run.troubles, key=lambda each: _GRAVEST_FIRST.index(each.consequence))
    )
    doubt = speed_doubt(told, run.channels.blower_shaft_from)
    return RunResult(
        title=run.rig.name,
        headline=headline(points, run.rig.meter.position, STANDARD_CONDITIONS.name, SI, doubt),
        reference_conditions=STANDARD_CONDITIONS.name,
        duration_s=duration_s,
        diagnosis=run_diagnosis(run, found, baseline),
        points=points,
        rejected=rejected_of(run.rejected),
        zeros=zeros_of(run.zeros.table),
        zero_half_width_pa=run.zeros.half_width_pa(),
        troubles=told,
        remarks=tuple(result_remark(remark) for remark in (*run.remarks, *unused_notes(run))),
        notes=notes_of(run.notes),
        quality=data_quality(run.log, run.records, table, duration_s),
        meter=meter_facts(run.rig.meter),
        speed=speed_facts(run.channels),
        sensors=sensor_facts(run.records.header),
        site=site_facts(run.rig.site, run.around, run.channels),
        strip=_strip(run),
        provenance=provenance(run.log, run.records, run.rig),
    )


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

"""A run, examined: what every report, page and comparison starts from.

The only place that withholds a flow or widens an interval because of what the checks found.
"""

from dataclasses import dataclass, fields
from pathlib import Path

import pandas as pd

from pullcurve.checks import board, meter, pickup, swirl
from pullcurve.checks.catalogue import Finding, Kind
from pullcurve.errors import LogError
from pullcurve.measure.clipping import CLIPPED_SHARE
from pullcurve.measure.measurement import Measurement, measure
from pullcurve.measure.settled_points import Stretch
from pullcurve.rig.loading import load_rig, parse_rig
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import Log, read_log
from pullcurve.sources.replay import Replay
from pullcurve.stream.records import RunRecords, assembled

MARKS_MARGIN = 1.02  # over the farthest number of marks that fits (judgement)
_CHECKS = (
    board.log,
    meter.typed_pressure,
    meter.sensor,
    pickup.rated_speed,
    board.notes,
    pickup.pickups,
    meter.zero,
    board.warmed,
    swirl.unstated,
    meter.flow_and_limits,
    swirl.straightener,
    board.board_and_link,
    board.events,
)


@dataclass(frozen=True)
class Run(Measurement):
    """A measurement with what was found of it. In `points`, `withheld` is the kind of the finding
    for which no flow is stated, empty where one is."""

    findings: tuple[Finding, ...]

    @property
    def troubles(self) -> tuple[Finding, ...]:
        """What spoils the measurement, or might have."""
        return tuple(each for each in self.findings if each.grade == "trouble")

    @property
    def remarks(self) -> tuple[Finding, ...]:
        """What is worth knowing and no trouble, warnings first."""
        return tuple(
            each for grade in ("warning", "note") for each in self.findings if each.grade == grade
        )


def read_run(path: str | Path, rig: str | Path | Rig | None = None) -> Run:
    """Read and reduce a run log.

    rig: the rig, or its file, in place of the one that the log carries. Raises LogError or
    RigError with a sentence that says what is wrong and what to do.
    """
    log = read_log(Path(path))
    used = rig if isinstance(rig, Rig) else rig_of(log, rig)
    with Replay(log) as source:
        records = assembled(source, str(path))
    return reduce_run(log, records, used)


def rig_of(log: Log, path: str | Path | None) -> Rig:
    """The rig in a file, or without one the rig that the log carries."""
    if path is not None:
        return load_rig(path)
    text = log.rig_text()
    if text is None:
        raise LogError(
            f"{log.path}: no rig is written in it, so nothing says what the meter's bores are; "
            "name the rig's file with --rig"
        )
    return parse_rig(text, f"the rig in {log.path.name}")


def one_and_the_same(one: Run, other: Run) -> bool:
    """Whether two logs hold one run: true for a copy, even one with notes added."""

    def identity(run: Run) -> tuple[object, ...]:
        received = run.log.received
        return run.records.header.board_id, received[0], received[-1], len(received)

    return identity(one) == identity(other)


def reduce_run(
    log: Log, records: RunRecords, rig: Rig, stretches: list[Stretch] | None = None
) -> Run:
    """From records to settled points with flow and uncertainty, and what spoils them.

    stretches: what counts as settled, in place of what is found here.
    """
    return examine(measure(log, records, rig, stretches))


def findings_of(measured: Measurement) -> tuple[Finding, ...]:
    """What the checks find, in the order in which it is told."""
    return tuple(finding for check in _CHECKS for finding in check(measured))


def examine(measured: Measurement) -> Run:
    """The run of a measurement: every finding, and the points without what they spoil."""
    found = findings_of(measured)
    parts = {each.name: getattr(measured, each.name) for each in fields(measured)}
    return Run(**parts | {"points": _judged(measured, found), "findings": found})


def _judged(measured: Measurement, found: tuple[Finding, ...]) -> pd.DataFrame:
    """The points, those withheld or widened that a finding spoils."""
    points = measured.points
    if points.empty:
        return points
    points = points.assign(withheld="")
    spoiling = {finding.kind for finding in found if finding.consequence == "withheld"}
    if Kind.TUBES_REVERSED in spoiling:
        points["withheld"] = Kind.TUBES_REVERSED.value
    if Kind.SENSOR_CLIPPED in spoiling:
        clipped = points["clipped_share"] > CLIPPED_SHARE
        points.loc[clipped, "withheld"] = Kind.SENSOR_CLIPPED.value
    if measured.flows is not None:
        points.loc[~measured.flows.state.converged, "withheld"] = Kind.NO_SOLUTION.value
    shaft = measured.channels.blower_shaft_from.replace("_", " ")
    for finding in found:
        if finding.kind is Kind.WRONG_MARKS and finding.subject == shaft:
            off = MARKS_MARGIN * finding.number("off")
            points["speed_u95_rpm"] += off * points["speed_rpm"]
    return points

"""What spoils a speed: wrong marks, missed ones, and a pickup that falls silent.

Thresholds are judgements.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pullcurve.checks.wrong_marks import marks_doubt
from pullcurve.measure.shaft_speed import Marks
from pullcurve.measure.troubles import STOPPED, Trouble
from pullcurve.stream.records import rows_of

if TYPE_CHECKING:
    from pullcurve.examine import Run

Array = NDArray[np.float64]

MISSED_SHARE = 0.015  # of the marks: more than dirt and chance
DOUBTFUL = 0.001  # of a speed: its uncertainty where two numbers of marks compete
FLOWING = 0.5  # of the differential pressure beside a gap in the edges
LEAST_GAP_S, MISSED_GAP_S = 0.6, 2.0  # the latter where single marks are missed anyway
RUN_DOWN_S, LONG_S = 8.0, 4.0  # of a shaft, and of pressure without edges after it
STEADY_SHARE = 0.8  # of the speed two seconds on: the shaft neither starts nor stops


def pickup_troubles(run: "Run") -> Iterator[Trouble]:
    """Those of each shaft's pickup in turn."""
    for shaft, marks in run.channels.marks.items():
        name = shaft.replace("_", " ")
        yield from _wrong_marks(run, shaft, name)
        missed = list(_marks_missed(run, name, marks))
        yield from missed
        yield from _dropouts(run, name, marks, MISSED_GAP_S if missed else LEAST_GAP_S)


def _wrong_marks(run: "Run", shaft: str, name: str) -> Iterator[Trouble]:
    doubt = marks_doubt(run, shaft)
    if doubt is not None:
        yield Trouble(
            "wrong_marks",
            name,
            doubt.evidence,
            STOPPED + f"count the marks on the {name}, and put their number into the rig as "
            "marks_per_turn.",
            "widened",
        )


def _marks_missed(run: "Run", name: str, marks: Marks) -> Iterator[Trouble]:
    share = marks.missed / max(marks.passed, 1)
    if share > MISSED_SHARE:
        speeds = [marks.between(row.start_s, row.end_s) for row in rows_of(run.points)]
        doubtful = any(u > DOUBTFUL * rpm for rpm, u in speeds)
        yield Trouble(
            "mark_missed",
            name,
            f"The pickup missed {marks.missed} of {marks.passed} marks ({100 * share:.0f} %). They "
            "were put back from the marks around them"
            + (
                "; where another number fits nearly as well, the speed's interval holds both."
                if doubtful
                else "."
            ),
            STOPPED + "clean or renew the marks, and set the pickup so that it sees each of them.",
            "widened" if doubtful else "none",
        )


def _dropouts(run: "Run", name: str, marks: Marks, least_s: float) -> Iterator[Trouble]:
    """Times without edges in which air moved as before."""
    table = run.channels.table
    time_s = table["time_s"].to_numpy()
    zeroed = (table["differential_pressure_pa"] - table["zero_pa"]).to_numpy()
    floor = 3 * run.zeros.half_width_pa() + 0.002 * run.channels.span_pa
    edges = [(s, e) for s, e in marks.gaps() if e - s > RUN_DOWN_S or _turns_on(marks, s, e)]
    if len(marks.time_s):
        first, last = float(marks.time_s[0]), float(marks.time_s[-1])
        near, far = marks.at(np.array([first + 0.4, first + 2.5]), 0.8)
        if near > STEADY_SHARE * far:
            edges.append((float(time_s[0]), first))
        near, far = marks.at(np.array([last - 0.4, last - 2.5]), 0.8)
        if near > STEADY_SHARE * far:
            edges.append((last, float(time_s[-1])))
    # A second pickup's last record ends before the run does.
    silent = [
        (s, e) for s, e in edges if e - s >= least_s and _flows_through(time_s, zeroed, s, e, floor)
    ]
    if silent:
        seconds = sum(end - start for start, end in silent)
        yield Trouble(
            "pickup_dropout",
            name,
            f"For {seconds:.1f} s in all the pickup saw no mark while air moved "
            f"as before (first at {silent[0][0]:.0f} s).",
            STOPPED + "check the pickup's plug and wire, its distance to the marks, and that no "
            "sun falls on it.",
            "none",
            silent[0][0],
            silent[-1][1],
        )
    elif not len(marks.time_s) and float(zeroed.max()) > floor:
        yield Trouble(
            "pickup_dropout",
            name,
            "The pickup saw no mark in the whole run.",
            STOPPED + "check that the pickup faces the mark, then its wiring.",
            "withheld",
        )


def _turns_on(marks: Marks, start: float, end: float) -> bool:
    """Whether the shaft turns as fast after a gap as before it: it did not stop in between."""
    before, after = marks.at(np.array([start - 0.3, end + 0.3]), 0.8)
    return bool(min(before, after) > 0.6 * max(before, after) > 0)


def _flows_through(time_s: Array, zeroed: Array, start: float, end: float, floor: float) -> bool:
    """Whether the differential pressure stays up between two times as it is beside them."""
    inside = zeroed[(time_s > start + 0.1) & (time_s < end - 0.1)]
    block_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    if len(inside) * block_s < 0.7 * (end - start - 0.2):
        return False  # the records are missing, not the edges
    sides = (
        zeroed[(time_s > start - 2) & (time_s < start)],
        zeroed[(time_s > end) & (time_s < end + 2)],
    )
    usual = max((float(np.nanmedian(side)) for side in sides if len(side) > 3), default=0.0)
    if not len(inside) or usual <= floor:
        return False
    if float(np.nanmin(inside)) > FLOWING * usual:
        return True
    # Or for long after the shaft would have run down, whatever comes then.
    later = zeroed[(time_s > start + RUN_DOWN_S) & (time_s < end)]
    return float((later > max(0.1 * usual, 2 * floor)).sum()) * block_s > LONG_S

"""What the reader of a run must know beside its numbers: what was seen, and what to do."""

from collections.abc import Iterator
from typing import Literal, NamedTuple

import pandas as pd

from pullcurve.physics.venturi import LEAST_PRESSURE_RATIO
from pullcurve.reduction.run import Run
from record_format import STATUS_NAMES

NEGATIVE = -0.02  # of the span: below this, the tubes are the wrong way round
LOST_SHARE = 0.01  # of the records, from which on it is a warning


class Remark(NamedTuple):
    weight: Literal["note", "warning"]
    subject: str
    text: str
    action: str


def remarks(run: Run) -> list[Remark]:
    """All remarks on a run, warnings first."""
    found = [
        *_points(run),
        *_zero(run),
        *_differential_pressure(run),
        *_meter(run),
        *_pickups(run),
        *_board(run),
        *_link(run),
    ]
    return sorted(found, key=lambda remark: remark.weight != "warning")


def _points(run: Run) -> Iterator[Remark]:
    if run.points.empty:
        yield Remark(
            "warning",
            "settled points",
            "At no time did speed and flow hold still for long enough, so no flow can be stated.",
            "Hold the throttle still for 30 s at each of five or six speeds, then go to the next.",
        )
    for stretch in run.rejected:
        yield Remark(
            "note",
            "settled points",
            f"From {stretch.start_s:.0f} s to {stretch.end_s:.0f} s the blower turned at "
            f"{stretch.speed_rpm:.0f} rpm, which does not count: {stretch.rejected}.",
            "",
        )


def _zero(run: Run) -> Iterator[Remark]:
    if run.zeros.table.empty:
        yield Remark(
            "warning",
            "zero",
            "No stretch with the engine off was found, so the zero of the differential pressure is "
            "known from the sensor's data sheet only, and slow points are uncertain.",
            "Let the logger run for 10 s with the engine off before and after a sweep.",
        )


def _differential_pressure(run: Run) -> Iterator[Remark]:
    table = run.channels.table
    zeroed = table["differential_pressure_pa"] - table["zero_pa"]
    turning = table["speed_rpm"] > 0
    if turning.any() and zeroed[turning].median() < NEGATIVE * run.channels.span_pa:
        yield Remark(
            "warning",
            "differential pressure",
            "The differential pressure is negative while the blower turns: the two tubes of the "
            "sensor are the wrong way round.",
            "Stop the engine. Put the upstream tap's tube on the port marked +, the throat's on "
            "the other, and run again.",
        )
    clipped = int(table["clipped"].sum())
    if clipped:
        in_points = int(run.points["clipped"].sum()) if len(run.points) else 0
        yield Remark(
            "warning" if in_points else "note",
            "differential pressure",
            f"{clipped} samples stood at the end of the sensor's range, {in_points} of them "
            "within settled points. Their true value lies beyond, so the flow there reads low.",
            "Use a sensor of a wider range, or a tube with a wider throat.",
        )


def _meter(run: Run) -> Iterator[Remark]:
    if run.flows is None:
        return
    if not run.flows.state.converged.all():
        yield Remark(
            "warning",
            "meter",
            "At some points the flow equation has no solution: the differential pressure is more "
            "than this meter can have.",
            "Check the bores in the rig and the sensor's range in board.json.",
        )
    least = float(run.flows.state.pressure_ratio.min())
    if least < LEAST_PRESSURE_RATIO:
        yield Remark(
            "warning",
            "meter",
            f"The pressure in the throat fell to {least:.2f} of that ahead of it; the standard's "
            f"expansibility holds down to {LEAST_PRESSURE_RATIO} (ISO 5167-4).",
            "Use a tube with a wider throat.",
        )
    reynolds = float(run.flows.state.reynolds.min())
    if reynolds < 2e5:
        yield Remark(
            "note",
            "meter",
            f"At the slowest point the pipe's Reynolds number is {reynolds:.2g}; standard Venturi "
            "tubes are stated from 2e5 on. The flow allows for a coefficient that falls below.",
            "",
        )


def _pickups(run: Run) -> Iterator[Remark]:
    for shaft, marks in run.channels.marks.items():
        name = shaft.replace("_", " ")
        if marks.missed + marks.doubled:
            yield Remark(
                "note",
                "speed",
                f"The {name}'s pickup missed {marks.missed} marks and saw {marks.doubled} twice, "
                "which was put right from the marks around them.",
                "Clean the marks and the pickup's window, with the engine stopped and locked out.",
            )
        if not len(marks.time_s):
            yield Remark(
                "warning",
                "speed",
                f"The {name}'s pickup saw no mark in the whole run.",
                "With the engine stopped and locked out, check that the pickup faces the mark, "
                "then its wiring.",
            )


def _board(run: Run) -> Iterator[Remark]:
    boots = run.records.blocks["boot"].nunique()
    if boots > 1:
        yield Remark(
            "warning",
            "board",
            f"The board started {boots} times during the run; what it measured before and after "
            "is joined by the host's clock.",
            "Check the board's supply: the plug, the cable, the battery.",
        )
    for code, rows in run.records.events.groupby("code"):
        remark = _event(str(code), rows)
        if remark is not None:
            yield remark


def _event(code: str, rows: pd.DataFrame) -> Remark | None:
    count = int(rows["value"].sum())
    times = ", ".join(f"{time:.0f} s" for time in rows["time_s"].head(5))
    subjects = " and ".join(sorted(set(rows["subject"])))
    if code == "sensor_lost":
        statuses = " and ".join(
            STATUS_NAMES[value].replace("_", " ")
            for value in sorted(set(rows["value"]))
            if 0 <= value < len(STATUS_NAMES)
        )
        return Remark(
            "warning",
            "sensors",
            f"The sensor for {subjects} stopped answering at {times} ({statuses}).",
            "Check its plug and its wires; vibration loosens both.",
        )
    if code == "config":
        return Remark("warning", "board", f"The board says: {rows['text'].iloc[-1]}.", "")
    if code == "dropped":
        return Remark(
            "warning",
            "link",
            f"The board dropped {count} records, the oldest first, because nobody read them.",
            "Keep the recorder running, and close other programs on the same port.",
        )
    if code == "late":
        return Remark(
            "note", "board", f"The board was late for {count} samples, which were left out.", ""
        )
    if code == "pickup_dead":
        return Remark(
            "note", "speed", f"The pickup of the {subjects} had to be set up again at {times}.", ""
        )
    return None


def _link(run: Run) -> Iterator[Remark]:
    records = run.records
    if records.lost:
        share = records.lost / (records.lost + records.received)
        yield Remark(
            "warning" if share > LOST_SHARE else "note",
            "link",
            f"{records.lost} of {records.lost + records.received} records are missing.",
            "Use a shorter cable, away from the ignition." if share > LOST_SHARE else "",
        )
    damaged = sum(records.damaged.values()) + sum(run.log.damaged.values())
    if damaged:
        yield Remark(
            "note", "link", f"{damaged} lines of the log are damaged and were left out.", ""
        )

"""What is worth knowing of a run and no trouble."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

from pullcurve.checks.meter_limits import findings
from pullcurve.measure.swirl import UNSTATED, is_unstated

if TYPE_CHECKING:
    from pullcurve.examine import Run


FAST: Final = 0.012  # above its rated speed: more than a sound governor is off (judgement)


class Remark(NamedTuple):
    weight: Literal["note", "warning"]
    subject: str
    text: str
    action: str


def remarks(run: "Run") -> list[Remark]:
    """All remarks on a run, warnings first."""
    found = [*_log(run), *_points(run), *_speed(run), *_notes(run), *_meter(run), *_board(run)]
    return sorted(found, key=lambda remark: remark.weight != "warning")


def _log(run: "Run") -> Iterator[Remark]:
    if run.log.breaks_off:
        yield Remark(
            "warning",
            "log",
            "The log ends within a line: it was cut off there, as by a power failure, a full disk "
            "or a copy that was not finished. What came up to there counts; what came later is not "
            "in it, and a higher speed than the fastest hold here may have followed.",
            "Copy the log again from where it was recorded. If it ends there too, take its fastest "
            "hold for full throttle only if it was.",
        )


def _points(run: "Run") -> Iterator[Remark]:
    if run.points.empty:
        yield Remark(
            "warning",
            "settled points",
            "At no time did speed and flow hold still for long enough, so no flow can be stated.",
            "Hold the throttle still for 30 s at each of five or six speeds, then go to the next.",
        )


def _speed(run: "Run") -> Iterator[Remark]:
    rated = run.rig.machine.rated_speed_rpm
    fastest = run.points["speed_rpm"].max()
    if rated is not None and fastest > (1 + FAST) * rated:
        yield Remark(
            "warning",
            "speed",
            f"The blower turned at {fastest:.0f} rpm, {100 * (fastest / rated - 1):.1f} % above "
            f"the rated speed of {rated:.0f} rpm that the rig names.",
            "Check rated_speed and the marks in the rig; if both are right, have the governor set "
            "to the maker's figure, never above the blower's or the engine's limit.",
        )


def _notes(run: "Run") -> Iterator[Remark]:
    lost = run.notes.loc[run.notes["time_s"].isna(), "at"].unique()
    for at in lost:
        yield Remark(
            "note", "notes", f"A note is placed at {at}, which this run does not have.", ""
        )


def _meter(run: "Run") -> Iterator[Remark]:
    if run.flows is None:
        return
    if is_unstated(run.rig.meter):
        yield Remark(
            "note",
            "meter",
            "The rig tells neither of a straightener nor of straight pipe ahead of the meter: "
            f"{100 * UNSTATED:.1f} % is allowed for that, as ISO 5167 does where pipe is short. "
            "A steady swirl would cost more, and shows in no reading.",
            "Say straightener = true or false in the rig, and straight_length.",
        )
    for finding in findings(run.rig.meter, run.flows.state):
        if finding.consequence == "none" or finding.quantity == "Reynolds number":
            yield Remark("note", "meter", finding.sentence, "")


def _board(run: "Run") -> Iterator[Remark]:
    events = run.records.events
    for text in events.loc[events["code"] == "config", "text"].unique():
        yield Remark("warning", "board", f"The board says: {text}.", "Mend its board.json.")
    late = int(events.loc[events["code"] == "late", "value"].sum())
    if late:
        yield Remark(
            "note",
            "board",
            f"Sampling slots that passed unused because the board was late: {late}.",
            "",
        )
    dead = events[events["code"] == "pickup_dead"]
    if len(dead):
        yield Remark(
            "note",
            "speed",
            f"Times that a pickup's interrupt had to be set up again: {len(dead)}.",
            "",
        )
    damaged = sum(run.records.damaged.values()) + sum(run.log.damaged.values())
    said = []
    if run.records.lost:
        said.append(f"Records that are missing: {run.records.lost}.")
    if damaged:
        said.append(f"Damaged lines of the log, left out: {damaged}.")
    if said:
        yield Remark("note", "link", " ".join(said), "")

"""What a person noted and nothing was reckoned with, and why."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from pullcurve.checks.catalogue import Finding, Kind, found
from pullcurve.diagnosis.evidence import GAUGE_AT, meant, within
from pullcurve.examine import Run
from pullcurve.measure.note_placing import as_typed
from pullcurve.quantities import to_si
from pullcurve.rig.machine import HoseSegment
from pullcurve.stream.records import rows_of

_ALIKE: Final = 0.02  # between a hose as it was noted and as the rig has it


def unused_notes(run: Run) -> Iterator[Finding]:
    """The notes of a run that change nothing in what is said of it, or a part of which does not.
    Free words never do."""
    last_s = float(run.channels.table["time_s"].iloc[-1])
    notes = list(rows_of(run.notes))
    for i, note in enumerate(notes):
        if np.isnan(note.time_s):
            continue  # its place names no hold of this run, which is a remark by itself
        why = _outside(note, last_s)
        if not why and note.what != "words":
            why = _why_not(note, notes[i + 1 :], run)
        if why:
            yield found(Kind.NOTE_UNUSED, said=as_typed(note), why=why)


def _outside(note: Any, last_s: float) -> str:
    if not note.at or 0 <= note.time_s <= last_s:
        return ""
    return f"the run has no such time: it lasts {last_s:.0f} s"


def _why_not(note: Any, later: list[Any], run: Run) -> str:
    points = run.points
    if points.empty or note.what in ("hose", "plate"):
        return _of_hose(note, run) if note.what == "hose" else _of_plate(note, points)
    hold = next((row for row in rows_of(points) if within(note, row)), None)
    if hold is None:
        return "it lies in no hold: a reading counts where speed and flow held still"
    if hold.withheld:
        return "no flow is stated for its hold"
    if any((o.what, o.place) == (note.what, note.place) and within(o, hold) for o in later):
        return "a later one on the same hold counts"
    return _of_gauge(note) if note.what == "vacuum" else _of_engine(hold, points, run)


def _of_plate(note: Any, points: pd.DataFrame) -> str:
    if note.what != "plate" or points.empty:
        return ""
    middle = ((points["start_s"] + points["end_s"]) / 2).to_numpy()
    return "" if meant(note, points, middle).any() else "no hold lies behind it"


def _of_gauge(note: Any) -> str:
    if note.place in GAUGE_AT:
        return ""
    return f"a gauge counts at {', '.join(GAUGE_AT)}; at the {note.place} it tells nothing here"


def _of_engine(hold: Any, points: pd.DataFrame, run: Run) -> str:
    if "engine_shaft" in run.channels.marks:
        return "the engine's own pickup counts"
    if run.rig.machine.belt_ratio is None:
        return "without belt_ratio in the rig nothing ties it to the blower"
    first = points[(points["withheld"] == "") & (points["sweep"] == points["sweep"].iloc[0])]
    top = None if first.empty else points.loc[first["speed_rpm"].idxmax()]
    if top is not None and (hold.sweep, hold.hold) != (top["sweep"], top["hold"]):
        return (
            f"the engine's speed counts at the fastest hold alone, sweep {top['sweep']}, hold "
            f"{top['hold']}"
        )
    return ""


def _of_hose(note: Any, run: Run) -> str:
    value, position = note.value.strip().lower(), run.rig.meter.position
    off = value == "off"
    if position == "port" and not off:
        return "the rig has the meter on the port, where no hose is on"
    if position == "hose_end" and off:
        return "the rig has the meter at the hose's end, so the hose is on"
    return "" if value in ("on", "off") else _of_length(value, run.rig.machine.hose)


def _of_length(value: str, pieces: Sequence[HoseSegment]) -> str:
    """Why length and bore as they were noted do not count."""
    if not pieces:
        return "length and bore count only in the rig, which names no hose: [[machine.hose]]"
    length, _, bore = value.partition(" of ")
    try:
        noted = to_si(length, "length"), to_si(bore, "length")
    except ValueError:
        return ""
    rigs = sum(piece.length for piece in pieces), pieces[-1].bore
    if np.allclose(noted, rigs, rtol=_ALIKE):
        return ""
    return (
        f"its length and bore are taken from the rig, {rigs[0]:.3g} m of {1000 * rigs[1]:.3g} mm; "
        "only that a hose was on counts"
    )

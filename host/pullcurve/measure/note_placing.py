"""What a person said of a run, placed in its time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Annotated, Any

import numpy as np
import pandas as pd

from pullcurve.quantities import Kind, to_si
from pullcurve.results import doc
from pullcurve.run_log.note_times import Hold, parse_time, seconds_into
from pullcurve.run_log.notes import joined
from pullcurve.run_log.reading import HostRecord
from pullcurve.stream.records import rows_of

QUANTITIES: dict[str, Kind] = {"engine_speed": "speed", "vacuum": "pressure"}
COLUMNS = ["time_s", "what", "value", "value_si", "place", "at"]


@dataclass(frozen=True)
class Note:
    """What a person said during the run or afterwards."""

    time_s: float | None
    what: str
    value: str
    place: str
    at: Annotated[str, doc("as it was typed: empty for the moment of typing")]


def no_notes(_points: pd.DataFrame) -> pd.DataFrame:
    """Nobody noted anything."""
    return pd.DataFrame(columns=COLUMNS)


def place_notes(
    records: Sequence[HostRecord],
    points: pd.DataFrame,
    first_host_s: float,
) -> pd.DataFrame:
    """A row a note: `time_s` (NaN when its place names no hold of this run), `what`, `value`
    as typed, `value_si` (NaN for words), `place` and `at`.

    records: the log's, whose first one was written in the run's own zone. points: the settled
    points, with `sweep`, `hold`, `start_s`, `end_s`. first_host_s: the host's time of the first
    block's start, in seconds since 1970.
    """
    zone = records[0].host_time.tzinfo if records else None
    rows = [
        (
            _time_s(note.at, points, first_host_s, zone)
            if note.at
            else note.host_time.timestamp() - first_host_s,
            note.what,
            note.value,
            _value_si(note.what, note.value),
            note.place,
            note.at,
        )
        for note in joined(records)
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def as_typed(note: Any) -> str:
    """A row of `place_notes` as it was typed: what, where its gauge sits, and when, where that
    was said."""
    place = f" at {note.place}" if note.place else ""
    at = f" ({note.at})" if note.at else ""
    return f"{note.what.replace('_', ' ')} {note.value}{place}{at}"


def _value_si(what: str, value: str) -> float:
    try:
        return to_si(value, QUANTITIES[what])
    except (KeyError, ValueError):
        return np.nan


def _time_s(at: str, points: pd.DataFrame, first_host_s: float, zone: tzinfo | None) -> float:
    try:
        when = parse_time(at)
    except ValueError:
        return np.nan
    if isinstance(when, Hold):
        chosen = points[points["sweep"] == when.sweep] if len(points) else points
        if when.hold is not None and len(chosen):
            chosen = chosen[chosen["hold"] == when.hold]
        if chosen.empty:
            return np.nan
        return float((chosen["start_s"].iloc[0] + chosen["end_s"].iloc[-1]) / 2)
    return seconds_into(when, datetime.fromtimestamp(first_host_s, zone))


def notes_of(notes: pd.DataFrame) -> tuple[Note, ...]:
    """Tell the notes, as `place_notes` placed them."""
    return tuple(
        Note(
            time_s=None if np.isnan(row.time_s) else row.time_s,
            what=row.what,
            value=row.value,
            place=row.place,
            at=row.at,
        )
        for row in rows_of(notes)
    )

"""What a person said of a run, placed in its time."""

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from pullcurve.quantities import Kind, to_si
from pullcurve.run_log.reading import HostRecord

QUANTITIES: dict[str, Kind] = {"engine_speed": "speed", "vacuum": "pressure"}

_PLACED = re.compile(r"sweep\s+(\d+)\s*,?\s*(?:hold\s+(\d+))?|(\d+(?:\.\d+)?)\s*s", re.IGNORECASE)


def at_is_understood(at: str) -> bool:
    """Whether a place in time can be read: 'sweep 2, hold 3', '125 s', or empty for now."""
    return not at or _PLACED.fullmatch(at.strip()) is not None


def place_notes(
    records: Sequence[HostRecord],
    points: pd.DataFrame,
    first_host_s: float,
) -> pd.DataFrame:
    """A row a note: `time_s` (NaN when its place names no hold of this run), `what`, `value`
    as typed, `value_si` (NaN for words), `place` and `at`.

    points: the settled points, with `sweep`, `hold`, `start_s`, `end_s`. first_host_s: the
    host's time of the first block's start, in seconds since 1970.
    """
    rows = []
    for item in records:
        if item.record.kind != "note":
            continue
        note = {name: str(value) for name, value in item.named().items()}
        kind = QUANTITIES.get(note["what"])
        value_si = np.nan
        if kind is not None:
            try:
                value_si = to_si(note["value"], kind)
            except ValueError:
                value_si = np.nan
        written_s = item.host_time.timestamp() - first_host_s
        rows.append(
            (
                _time_s(note["at"], written_s, points),
                note["what"],
                note["value"],
                value_si,
                note["place"],
                note["at"],
            )
        )
    return pd.DataFrame(rows, columns=["time_s", "what", "value", "value_si", "place", "at"])


def _time_s(at: str, written_s: float, points: pd.DataFrame) -> float:
    if not at:
        return written_s
    match = _PLACED.fullmatch(at.strip())
    if match is None:
        return np.nan
    if match[3]:
        return float(match[3])
    chosen = points[points["sweep"] == int(match[1])]
    if match[2]:
        chosen = chosen[chosen["hold"] == int(match[2])]
    if chosen.empty:
        return np.nan
    return float((chosen["start_s"].iloc[0] + chosen["end_s"].iloc[-1]) / 2)

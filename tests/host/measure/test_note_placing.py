"""A note stands at the time that a person meant."""

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pullcurve.measure.note_placing import place_notes
from pullcurve.run_log.notes import understand
from pullcurve.run_log.reading import HostRecord, read_log
from pullcurve.run_log.writing import LogWriter

ZONE = timezone(timedelta(hours=-4))
POINTS = pd.DataFrame(
    {
        "sweep": [1, 1, 2],
        "hold": [1, 2, 1],
        "start_s": [20.0, 60.0, 200.0],
        "end_s": [50.0, 90.0, 230.0],
    }
)


def noted(tmp_path: Path, began: datetime, at: str, written: datetime) -> list[HostRecord]:
    path = tmp_path / "run.runlog"
    with LogWriter(path, now=began) as writer:
        writer.note(written, understand("vacuum 2 kPa at tank"), at)
    return read_log(path).host_records


@pytest.mark.parametrize(
    ("at", "time_s"),
    [
        ("", 1000.0),
        ("125 s", 125.0),
        ("2 min 5 s", 125.0),
        ("sweep 1, hold 2", 75.0),
        ("sweep 2", 215.0),
        ("sweep 1, hold 3", np.nan),
        ("sweep 4", np.nan),
        ("some day", np.nan),
        ("23:59", 30.0),
        ("23:58", -30.0),
        ("0:00:10", 100.0),
    ],
)
def test_a_note_stands_where_it_was_said_to_hold(tmp_path: Path, at: str, time_s: float) -> None:
    began = datetime(2025, 9, 16, 23, 58, 30, tzinfo=ZONE)
    # Written in another zone, as when a laptop has come home.
    written = (began + timedelta(seconds=1000)).astimezone(UTC)
    records = noted(tmp_path, began, at, written)
    for points in (POINTS, POINTS.iloc[:0], pd.DataFrame()):
        placed = place_notes(records, points, began.timestamp())
        expected = time_s if len(points) or "sweep" not in at else np.nan
        np.testing.assert_equal(placed["time_s"].tolist(), [expected])
    assert placed["value_si"].tolist() == [2000.0]
    assert placed["value"].tolist() == ["2 kPa"]


def test_a_run_without_notes_has_none() -> None:
    assert place_notes([], POINTS, 0.0).empty

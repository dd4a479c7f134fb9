"""Logs of record format 1 give what they gave when they were written."""

import json
from pathlib import Path

import pandas as pd
import pytest

from pullcurve.cut.shift import read_cut
from pullcurve.examine import read_run

FROZEN = Path(__file__).parents[1] / "reference_data/format_1"


def test_a_sweep_of_format_1_gives_its_points() -> None:
    frozen = pd.read_csv(FROZEN / "sweep_points.csv", comment="#")
    run = read_run(FROZEN / "sweep.runlog")
    assert (run.records.lost, sum(run.records.damaged.values())) == (0, 0)
    assert len(frozen) == 3
    pd.testing.assert_frame_equal(
        run.points[list(frozen)].reset_index(drop=True), frozen, rtol=1e-6, check_dtype=False
    )


def test_a_cut_of_format_1_gives_its_alarms() -> None:
    (frozen,) = json.loads((FROZEN / "cut_alarms.json").read_text(encoding="utf-8"))["alarms"]
    (alarm,) = read_cut(FROZEN / "cut.runlog").events
    assert alarm.kind == frozen["kind"] == "clog"
    assert [alarm.start_s, alarm.spoken_s, alarm.end_s, alarm.size] == pytest.approx(
        [frozen["start_s"], frozen["told_s"], frozen["end_s"], frozen["size"]], rel=1e-6
    )

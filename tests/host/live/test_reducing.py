"""A log that grows is reduced at a cost that stays, and to what the whole log says."""

from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from pullcurve.examine import read_run
from pullcurve.live import reducing
from pullcurve.live.reducing import NewestHour, Reducer
from pullcurve.live.window import MARGIN_S, ZERO_KEPT_S

ROOT = Path(__file__).parents[3]
SWEEP = ROOT / "sample_logs/full_sensors.runlog"
PIECE = 10_007  # bytes: the ends of pieces lie anywhere in a line
KEPT_S = 90.0
FLOW, SPEED = "standard_flow_m3_s", "speed_rpm"


def grown(path: Path) -> NewestHour:
    """A log that has grown to the whole of SWEEP, and was reduced now and then."""
    newest = NewestHour(path, read_run(SWEEP).rig)
    content = SWEEP.read_bytes()
    with path.open("wb") as file:
        for number, start in enumerate(range(0, len(content), PIECE)):
            file.write(content[start : start + PIECE])
            file.flush()
            if number % 12 == 11:
                newest.reduce()
    return newest


def test_a_growing_log_says_what_the_whole_one_says(tmp_path: Path) -> None:
    newest = grown(tmp_path / "x.runlog")
    run, whole = newest.reduce(), read_run(SWEEP)
    assert newest.whole
    assert run.points.equals(whole.points)
    assert run.troubles == whole.troubles
    assert run.notes.equals(whole.notes)


def test_what_is_old_is_let_go_of_but_for_the_zero(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reducing, "KEPT_S", KEPT_S)
    monkeypatch.setattr(reducing, "PIECE", 3 * PIECE)  # of which each is reduced
    newest = grown(tmp_path / "x.runlog")
    newest.reduce()
    run, whole = newest.reduce(), read_run(SWEEP)
    assert not newest.whole
    assert len(run.records.blocks) < 10.5 * (KEPT_S + ZERO_KEPT_S + 2 * MARGIN_S)
    assert {trouble.kind for trouble in run.troubles} <= {t.kind for t in whole.troubles}
    later = whole.points[whole.points["start_s"] > whole.points["end_s"].max() - KEPT_S + 5]
    assert 1 < len(later) < len(whole.points)
    ours = run.points.iloc[-len(later) :]
    assert np.allclose(ours[SPEED], later[SPEED], rtol=5e-4)
    assert np.allclose(ours[FLOW], later[FLOW], rtol=2e-3)


def test_a_side_process_that_was_killed_is_replaced() -> None:
    reducer = Reducer(read_run(SWEEP).rig)
    before = reducer.reduce(SWEEP).result(60)
    for killed in list(reducer._pool._processes.values()):
        killed.kill()
        killed.join()
    with suppress(BrokenProcessPool):  # as long as the pool has not seen it
        reducer.reduce(SWEEP).result(60)
    after = reducer.reduce(SWEEP).result(60)
    assert after.points == before.points != ()
    reducer.close()

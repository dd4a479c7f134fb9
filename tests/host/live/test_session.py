"""What a session says when a part of it fails, and when its run is begun again meanwhile."""

import json
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from datetime import UTC, datetime
from pathlib import Path
from threading import Event
from typing import Any, Self

import pytest

from host.live.served import served
from pullcurve.cut.watch import Watch
from pullcurve.live import session
from pullcurve.live.estimator import Latest, Now
from pullcurve.live.noticeboard import Noticeboard
from pullcurve.live.reducing import Point, Reduced, Reducer
from pullcurve.live.session import Session
from pullcurve.rig.loading import load_rig
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import read_log
from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import Batch

ROOT = Path(__file__).parents[3]
SWEEP = ROOT / "sample_logs/rough_link.runlog"
CUT = ROOT / "sample_logs/cut.runlog"
NOON = datetime(2025, 9, 16, 12, 0, tzinfo=UTC)


def until(holds: Callable[[], bool], seconds: float = 30) -> None:
    end_s = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end_s
        time.sleep(0.02)


class Piece:
    """The first records of a run, then an open port where nothing comes."""

    name = "piece"

    def __init__(self, log: Path, records: int = 400, apart_s: float = 0.0) -> None:
        self._received = read_log(log).received[:records]
        self._apart_s = apart_s

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        for received in self._received:
            time.sleep(self._apart_s)
            yield received
        while True:
            time.sleep(0.01)
            yield Received(self._received[-1].host_time, b"")


def test_a_cut_watch_that_fails_once_is_told_at_once_and_until_a_new_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fed: list[Batch] = []
    take = Watch.take

    def failing(watch: Watch, batch: Batch) -> Any:
        fed.append(batch)
        if len(fed) == 200:
            raise ZeroDivisionError("float division by zero")
        return take(watch, batch)

    monkeypatch.setattr(Watch, "take", failing)
    rig = load_rig(ROOT / "hardware/rigs/clean_pipe.toml")
    with served(lambda: Piece(CUT), tmp_path / "x.runlog", rig) as watch:

        def told(topic: str) -> list[dict[str, Any]]:
            each = json.loads(watch.board.latest(topic) or "[]")
            return [one for one in each if "ZeroDivisionError" in str(one)]

        until(lambda: bool(told("alarms")))
        (check,) = told("checks")
        assert (check["name"], check["grade"]) == ("Cut watch", "spoilt")
        assert "error of its own" in check["words"]
        assert "Watch the gauges yourself" in check["action"]
        assert len(fed) > 200  # it goes on with what comes next
        watch.session.receiver.begin_again()
        until(lambda: not told("alarms") and not told("checks"))
    assert [type(fault) for fault in watch.session.receiver.display_faults] == [ZeroDivisionError]


@pytest.mark.parametrize("meanwhile", ["look", "take"])
def test_what_was_worked_out_of_the_old_run_does_not_stand_in_the_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, meanwhile: str
) -> None:
    """The run is begun again while its newest minute is looked at, or its reduction taken."""
    begun, later = Event(), list[str]()
    begin, post = Session._begin, Noticeboard.post
    stale = Reduced(points=(Point(1, 1, NOON, 1234.0, 0.1, 0.01, None),))

    def spied_begin(its: Session) -> None:
        begin(its)
        if its.receiver.log != log:
            begun.set()

    def spied_post(board: Noticeboard, topic: str, word: object) -> None:
        if begun.is_set():
            later.append(str(word))
        post(board, topic, word)

    def begin_again() -> bool:
        """Whether this is still the old run."""
        if begun.is_set():
            return False
        watch.session.receiver.begin_again()
        begun.wait(1)  # or as long as it is held up
        return True

    class Taken(Future[Reduced]):
        def done(self) -> bool:
            return True

        def result(self, _: float | None = None) -> Reduced:
            return stale if meanwhile == "take" and begin_again() else Reduced(fault="none yet")

    class StandIn:
        def __init__(self, _: Rig) -> None:
            pass

        def reduce(self, _: Path) -> Taken:
            return Taken()

        def close(self) -> None:
            pass

    def look(_: Latest) -> Now:
        is_old = meanwhile == "look" and begin_again()
        return Now("no flow", 0.0, "Of the old run." if is_old else "Of the new run.")

    log = tmp_path / "x.runlog"
    monkeypatch.setattr(Session, "_begin", spied_begin)
    monkeypatch.setattr(Noticeboard, "post", spied_post)
    monkeypatch.setattr(session, "Reducer", StandIn)
    monkeypatch.setattr(Latest, "look", look)
    with served(lambda: Piece(SWEEP), log, load_rig(ROOT / "hardware/rigs/port.toml")) as watch:
        until(lambda: any("Of the new run." in word for word in later))
    assert not [word for word in later if "Of the old run." in word or "1234" in word]


class Ending(Piece):
    """The first records of a run, and its end."""

    def __iter__(self) -> Iterator[Received]:
        return iter(self._received)


def test_a_reduction_that_fails_is_tried_again_and_stops_no_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It fails until the log has ended, and beyond."""
    asked, sentences = list[Path](), list[str]()
    post = Noticeboard.post

    def reduce(_: Reducer, log: Path) -> Future[Reduced]:
        asked.append(log)
        reduction: Future[Reduced] = Future()
        if len(asked) <= 3:
            reduction.set_exception(MemoryError("unable to allocate"))
        else:
            reduction.set_result(Reduced(points=(Point(1, 1, NOON, 1234.0, 0.1, 0.01, None),)))
        return reduction

    def spied_post(board: Noticeboard, topic: str, word: Any) -> None:
        if topic == "state":
            sentences.append(word["sentence"])
        post(board, topic, word)

    monkeypatch.setattr(Reducer, "reduce", reduce)
    monkeypatch.setattr(Noticeboard, "post", spied_post)
    monkeypatch.setattr(session, "REDUCE_EVERY_S", 0.5)
    rig = load_rig(ROOT / "hardware/rigs/port.toml")
    with served(lambda: Ending(SWEEP), tmp_path / "x.runlog", rig) as watch:
        until(lambda: "1234" in (watch.board.latest("curve") or ""))
    assert len(asked) == 4
    assert not [sentence for sentence in sentences if "cannot work this out" in sentence]


def test_a_first_log_that_can_no_longer_be_begun_ends_no_watch(tmp_path: Path) -> None:
    """Its folder has gone between the start of the watch and the coming of the board."""
    log, said = tmp_path / "stick/x.runlog", list[str]()
    rig = load_rig(ROOT / "hardware/rigs/port.toml")
    with served(lambda: Piece(SWEEP, 3000, 0.003), log, rig, complain=said.append) as watch:
        until(lambda: said)
        assert said[0].startswith("NOT RECORDED. x.runlog")
        log.parent.mkdir()
        until(lambda: len(said) > 1 and watch.session.receiver.elapsed_s > 5)
        assert not watch.session.receiver.fault
    assert said[1].startswith("the recording goes on")
    assert read_log(log).rig_text() == rig.text


def test_a_run_that_is_begun_again_where_no_log_can_be_goes_on_unrecorded(tmp_path: Path) -> None:
    """A folder that is away for a while stands in for a disk on which no file can be made."""
    stick, away = tmp_path / "stick", tmp_path / "away"
    stick.mkdir()
    rig, said = load_rig(ROOT / "hardware/rigs/port.toml"), list[str]()

    def source() -> Piece:
        return Piece(SWEEP, 3000, 0.003)

    with served(source, stick / "x.runlog", rig, complain=said.append) as watch:

        def unwritten() -> bool:
            return bool(json.loads(watch.board.latest("state") or "{}").get("unwritten"))

        until(lambda: watch.session.receiver.elapsed_s > 1)
        stick.rename(away)
        watch.session.receiver.begin_again()
        until(unwritten)
        assert said[0].startswith("NOT RECORDED. x-2.runlog")
        elapsed_s = watch.session.receiver.elapsed_s
        until(lambda: watch.session.receiver.elapsed_s > elapsed_s + 1)
        assert not watch.session.receiver.fault
        away.rename(stick)
        until(lambda: not unwritten())
        until(lambda: watch.session.receiver.elapsed_s > elapsed_s + 5)
    assert [hole[:14] for hole in watch.session.receiver.lacking] == ["what came from"]
    log = read_log(stick / "x-2.runlog")
    assert log.host_records[0].record.kind == "runlog"
    assert log.rig_text() == rig.text
    assert len(log.received) > 30
    assert not log.damaged

"""The live page in a real browser, from the bytes of a board to the words on a phone."""

import http.client
import json
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from threading import Event, Thread
from typing import Self

import pytest
from playwright.sync_api import Browser, Page

from host.live.browser import (
    DESKTOP,
    PHONE,
    browser,
    check_access,
    needs_chromium,
    opened,
    report_words,
    wait,
)
from host.live.served import Quiet, Served, served
from pullcurve.errors import LinkError
from pullcurve.examine import read_run
from pullcurve.live.session import Session
from pullcurve.quantities import US
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.notes import joined
from pullcurve.run_log.reading import read_log
from pullcurve.sources.opening import open_source
from pullcurve.sources.replay import Replay
from pullcurve.stream.received import Received

ROOT = Path(__file__).parents[2]
SWEEP = ROOT / "sample_logs/rough_link.runlog"
CUT = ROOT / "sample_logs/cut.runlog"
RIG = ROOT / "hardware/rigs/port.toml"

SOUND = {"name": "zero", "grade": "fine", "words": "measured", "action": ""}

pytestmark = needs_chromium


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as started:
        yield started


class Gated:
    """A source that begins when it is let go, waits at a moment that somebody wants to look at,
    and ends early where that is wanted."""

    def __init__(self, text: str, until_s: float = 1e9, look_s: float = 1e9) -> None:
        self._source = open_source(text)
        self._until, self._look = timedelta(seconds=until_s), timedelta(seconds=look_s)
        self.name = self._source.name
        self.go, self.seen = Event(), Event()

    def __enter__(self) -> Self:
        self._source.__enter__()
        return self

    def __exit__(self, *_fault: object) -> None:
        self._source.__exit__(None, None, None)

    def __iter__(self) -> Iterator[Received]:
        self.go.wait()
        began: datetime | None = None
        for received in self._source:
            began = began or received.host_time
            if received.host_time - began > self._until:
                return
            if received.host_time - began > self._look:
                self.seen.wait()
            yield received


class Piece:
    """The first seconds of a hold, again and again, at the pace of a board."""

    name = "piece"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        return iter(Replay(read_log(SWEEP), 4.0))


def sentence(page: Page) -> str:
    return page.inner_text("#sentence")


def test_a_run_is_shown_as_it_is_made(chromium: Browser, tmp_path: Path) -> None:
    log, source = tmp_path / "x.runlog", Gated(f"replay:{SWEEP}@20")
    with (
        served(lambda: source, log, load_rig(RIG)) as watch,
        opened(chromium, watch.address, PHONE) as phone,
        opened(chromium, watch.address, DESKTOP) as desk,
    ):
        source.go.set()
        wait(phone, lambda: "Engine off" in sentence(phone))
        assert phone.inner_text("#flow") == "0"
        for page in (phone, desk):
            wait(page, lambda page=page: sentence(page).startswith("Settled for"))
            assert 400 < float(page.inner_text("#flow")) < 900
            assert page.inner_text("#flow-unit") == "ft³/min"
        phone.fill("#note-text", "vacuum 10 inHg")
        phone.click("#note button")
        wait(phone, lambda: "place of its gauge" in phone.inner_text("#note-answer"))
        phone.fill("#note-text", "vacuum 10 inHg at tank")
        phone.click("#note button")
        wait(phone, lambda: "Noted: vacuum 10 inHg tank" in phone.inner_text("#note-answer"))
        check_access(desk)
        wait(phone, lambda: "has ended" in sentence(phone))
        wait(phone, lambda: phone.locator("#points tr").count() == 5)
        assert phone.locator("svg .point").count() == 5
        assert "stale" in (phone.get_attribute("body", "class") or "")
        check_access(phone)
        phone.click("#night")
        check_access(phone)
        phone.click("#make-report")
        top = read_run(SWEEP).points["standard_flow_m3_s"].max()
        told = f"{US.volume_flow.from_si(top):.0f}\N{NO-BREAK SPACE}±"
        assert told in report_words(phone)
        with phone.expect_download() as kept:
            phone.click("a[href='/runlog']")
        assert kept.value.suggested_filename == "x.runlog"
    notes = [item for item in read_log(log).host_records if item.record.kind == "note"]
    assert [item.named()["value"] for item in notes] == ["10 inHg"]
    assert b"".join(r.data for r in read_log(log).received) == b"".join(
        r.data for r in read_log(SWEEP).received
    )


def test_a_single_check_is_counted_as_one(
    chromium: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Session, "_beat", lambda *_, **__: None)
    with (
        served(Quiet, tmp_path / "x.runlog") as watch,
        opened(chromium, watch.address, PHONE) as page,
    ):
        for checks, words in (
            ([SOUND], "1 of 1 check is fine"),
            ([SOUND] * 2, "2 of 2 checks are"),
        ):
            watch.board.post("checks", checks)
            wait(page, lambda words=words: words in page.text_content("#fine-count"))


def test_the_page_finds_a_server_that_was_killed_and_started_again(
    chromium: Browser, tmp_path: Path
) -> None:
    rig = load_rig(RIG)
    with served(Piece, tmp_path / "a.runlog", rig) as before:
        port = before.port
        opening = opened(chromium, before.address, PHONE)
        page = opening.__enter__()
        wait(page, lambda: "Engine off" in sentence(page))
        # A phone that wakes up listens anew.
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        page.wait_for_timeout(500)
        wait(page, lambda: not page.evaluate("document.body.classList.contains('stale')"))
        wait(page, lambda: before.board.viewers == 1)
    wait(page, lambda: "No contact with the laptop" in page.inner_text("#contact"))
    assert page.evaluate("document.body.classList.contains('stale')")
    check_access(page)
    with served(Piece, tmp_path / "b.runlog", rig, port=port):
        wait(page, lambda: page.is_hidden("#contact"))
        wait(page, lambda: not page.evaluate("document.body.classList.contains('stale')"))
        opening.__exit__(None, None, None)


def test_a_link_of_an_earlier_start_is_told_to_be_stale(chromium: Browser, tmp_path: Path) -> None:
    with served(Piece, tmp_path / "a.runlog", shared=True) as before:
        port = before.port
        opening = opened(chromium, f"{before.address}/?token={before.token}", PHONE)
        page = opening.__enter__()
        wait(page, lambda: "no rig" in page.inner_text("#title"))
        assert page.url == f"{before.address}/"
    with served(Piece, tmp_path / "b.runlog", shared=True, port=port):
        wait(page, lambda: "scan the code" in page.inner_text("#contact"))
        page.reload()
        assert "scan the code" in page.inner_text("main")
        check_access(page)
        opening.__exit__(None, None, None)


def test_where_the_screen_cannot_be_kept_on_it_says_so(chromium: Browser, tmp_path: Path) -> None:
    """Over plain http a browser has no wake lock, but for the computer's own address."""
    said = {}
    with served(Piece, tmp_path / "x.runlog", shared=True) as watch:
        for host in ("127.0.0.1", socket.gethostname()):
            address = f"http://{host}:{watch.port}/?token={watch.token}"
            with opened(chromium, address, PHONE) as page:
                wait(page, lambda page=page: "no rig" in page.inner_text("#title"))
                has_it = page.evaluate("'wakeLock' in navigator")
                wait(page, lambda page=page, has=has_it: page.is_hidden("#awake") == has, 10)
                said[has_it] = page.inner_text("main")
                check_access(page)
    told = "set a longer screen time-out on this device"
    assert {has_it: told in words for has_it, words in said.items()} == {True: False, False: True}


def readings(watch: Served, wanted: int, heard: list[int]) -> None:
    """Listen as one viewer until so many readings have come."""
    link = http.client.HTTPConnection("127.0.0.1", watch.port, timeout=20)
    link.request("GET", "/events")
    answer, count = link.getresponse(), 0
    while count < wanted:
        count += answer.readline() == b"event: reading\n"
    heard.append(count)
    link.close()


def test_twenty_viewers_at_once(tmp_path: Path) -> None:
    heard: list[int] = []
    with served(Piece, tmp_path / "x.runlog", load_rig(RIG)) as watch:
        viewers = [Thread(target=readings, args=(watch, 60, heard)) for _ in range(20)]
        for viewer in viewers:
            viewer.start()
        for viewer in viewers:
            viewer.join(30)
    assert heard == [60] * 20


LISTEN = """() => {
  const told = document.getElementById("told");
  window.heard = [];
  new MutationObserver(() => heard.push(told.textContent)).observe(told, { childList: true });
}"""


def test_a_clog_is_an_alarm_until_it_was_seen(chromium: Browser, tmp_path: Path) -> None:
    rig = load_rig(ROOT / "hardware/rigs/clean_pipe.toml")
    source = Gated(f"replay:{CUT}@20", until_s=164, look_s=89)
    with (
        served(lambda: source, tmp_path / "x.runlog", rig) as watch,
        opened(chromium, watch.address, PHONE) as page,
    ):
        assert page.is_hidden("#guide")
        page.evaluate(LISTEN)
        source.go.set()
        wait(page, lambda: "CLOG" in page.inner_text("#alarms"))
        assert "Lift the nozzle" in page.inner_text("#alarms")
        assert "Never reach into" in page.inner_text("#alarms .caution")
        check_access(page)
        source.seen.set()
        wait(page, lambda: "has ended" in sentence(page))
        wait(page, lambda: page.locator("#alarms .over").count() == 2)
        # A page that was there all along, and one that is opened now.
        newest_first = [alarm["since"] for alarm in json.loads(watch.board.latest("alarms") or "")]
        with opened(chromium, watch.address, DESKTOP) as late:
            wait(late, lambda: late.locator("#alarms .alarm").count() == len(newest_first))
            for each in (page, late):
                assert each.locator("#alarms .since").all_inner_texts() == newest_first
        # Nothing is to be done for them any more, and one tap is enough for all.
        assert "Lift the nozzle" not in page.inner_text("#alarms")
        assert "CLOG: over" in page.inner_text("#alarms")
        assert "FILTER" in page.inner_text("#alarms")
        # The guide is put away: a screen reader does not hear of its steps either.
        assert "Settled" in page.evaluate("heard.join()")
        assert "Zero taken" not in page.evaluate("heard.join()")
        check_access(page)
        page.click("#all-seen")
        wait(page, lambda: page.locator("#alarms .alarm").count() == 1)
        assert page.is_hidden("#all-seen")
        # The filter goes on loading: its alarm stays, and is silent once it was seen.
        page.click("#alarms .alarm button")
        wait(page, lambda: page.locator("#alarms .alarm.seen").count() == 1)
        page.click("#make-shift")
        assert "clog" in report_words(page).lower()
    notes = [note.value for note in joined(read_log(tmp_path / "x.runlog").host_records)]
    assert {value[:28] for value in notes} == {
        "alarm seen: CLOG, since 1:24",
        "alarm seen: CLOG, since 2:26",
        "alarm seen: FILTER, since 0:",
    }


class Absent(Piece):
    """Not there at first; then it fails for good."""

    tries = 0

    def __enter__(self) -> Self:
        Absent.tries += 1
        if Absent.tries == 1:
            raise LinkError("COM9: there is no such port; plug the board in")
        return self

    def __iter__(self) -> Iterator[Received]:
        yield next(super().__iter__())
        raise LinkError("COM9: the cable has burnt; use another one")


def test_what_is_wrong_with_the_source_is_told(chromium: Browser, tmp_path: Path) -> None:
    with (
        served(Absent, tmp_path / "x.runlog", load_rig(RIG), patient=True) as watch,
        opened(chromium, watch.address, PHONE) as page,
    ):
        wait(page, lambda: "there is no such port" in page.inner_text("#alarms"))
        wait(page, lambda: "has burnt" in page.inner_text("#alarms"))
        assert "has burnt" in sentence(page)
        assert "has burnt" in watch.session.receiver.fault
        check_access(page)
        page.click("#sound")
        assert page.get_attribute("#sound", "aria-pressed") == "true"
        page.click("#alarms button")
        wait(page, lambda: page.is_hidden("#alarms button"))
        assert "has burnt" in page.inner_text("#alarms")


ROOM = 120_000  # bytes, some 60 s of the run


def test_a_full_disk_is_on_the_page_until_there_is_room_again(
    chromium: Browser, tmp_path: Path
) -> None:
    """A limit on the size of files stands in for the end of the disk, and is lifted later."""
    resource = pytest.importorskip("resource")
    if not hasattr(resource, "prlimit"):
        pytest.skip("only Linux limits another program's files")
    log = tmp_path / "x.runlog"
    command = [sys.executable, "-m", "pullcurve.cli", "watch", f"replay:{SWEEP}@10", "--port", "0"]
    process = subprocess.Popen(
        [*command, "--log", str(log), "--rig", str(RIG)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )
    resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (ROOM, resource.RLIM_INFINITY))
    assert process.stdout is not None
    try:
        address = process.stdout.readline().split()[-1]
        with opened(chromium, address, PHONE) as page:
            wait(page, lambda: page.is_visible("#unwritten"))
            kept = log.read_bytes()
            assert page.inner_text("#unwritten").startswith("NOT RECORDED.")
            assert page.locator("#unwritten").bounding_box()["y"] < 100  # ahead of the number
            wait(page, lambda: sentence(page).startswith("Not recorded. Settled for"))
            assert not page.evaluate("document.body.classList.contains('stale')")
            alarm = page.inner_text("#alarms")
            assert "x.runlog: writing stopped at" in alarm
            assert "what was received until then is in the file" in alarm
            assert "Free some space on the laptop's disk" in alarm
            assert page.inner_text("#guide-title") == "Nothing is recorded"
            check_access(page)
            page.fill("#note-text", "plate on")
            page.click("#note button")
            wait(page, lambda: "Not noted: x.runlog" in page.inner_text("#note-answer"))
            page.click("#alarms button")
            wait(page, lambda: page.is_hidden("#alarms button"))
            assert log.read_bytes() == kept
            no_end = (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
            resource.prlimit(process.pid, resource.RLIMIT_FSIZE, no_end)
            wait(page, lambda: page.is_hidden("#unwritten"))
            wait(page, lambda: "is not in x.runlog" in page.inner_text("#checks"))
            wait(page, lambda: "has ended" in sentence(page))
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    finally:
        process.kill()
        process.wait()
    assert process.returncode == 1
    assert err.count("NOT RECORDED. x.runlog: writing stopped at") == 1
    assert "Error: what came from" in err
    assert log.read_bytes().startswith(kept)
    read, whole = read_log(log), read_log(SWEEP)
    assert sum(read.damaged.values()) <= 1  # the line that no longer fitted
    there, all_there = ([r.data for r in one.received] for one in (read, whole))
    before = kept.count(b" board ")
    assert there[: before - 1] == all_there[: before - 1]
    assert there[-50:] == all_there[-50:]
    assert len(all_there) - len(there) > 50
    (note,) = joined(read.host_records)
    assert note.value in err

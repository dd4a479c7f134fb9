"""A whole guided sweep against the bench, in a real browser at two sizes, up to the report."""

import json
import time
from collections.abc import Iterator
from pathlib import Path

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
from host.live.stepped import OFF_S, Stepped, hold_end_s, sweep
from pullcurve.checks.catalogue import Kind, found
from pullcurve.examine import Run, read_run
from pullcurve.live.guide import Facts, Guide
from pullcurve.quantities import US
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.reading import read_log

ROOT = Path(__file__).parents[2]
RIG = load_rig(ROOT / "hardware/rigs/port.toml")
ASKED = "[data-name=engine_speed] h3"
UP = [1210.0, 1430.0, 1690.0, 1945.0, 2165.0]


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as started:
        yield started


class Sweep:
    """The watch, its bench and its pages, moved on together."""

    def __init__(self, watch: Served, source: Stepped, *pages: Page) -> None:
        self.watch = watch
        self.source = source
        self.pages = pages

    def go_to(self, until_s: float, card: str) -> None:
        """Until the run is there and each page shows a card that begins so."""
        self.source.go_to(until_s)
        for page in self.pages:
            wait(page, lambda page=page: page.inner_text("#guide-title").startswith(card))

    def answer(self, question: str, button: str, **fields: str) -> str:
        """Answer on the first page, whose form then goes away on all of them."""
        page = self.pages[0]
        form = f"[data-name={question}]"
        for name, value in fields.items():
            place = f"#{question}-{name}"
            if page.evaluate("place => document.querySelector(place).tagName", place) == "SELECT":
                page.select_option(place, value)
            else:
                page.fill(place, value)
        page.click(f"{form} button[value={button}]")
        for each in self.pages:
            wait(each, lambda each=each: each.locator(form).count() == 0)
        return page.inner_text("#guide-answer")


@needs_chromium
def test_a_technician_is_led_from_zero_to_the_report(chromium: Browser, tmp_path: Path) -> None:
    source = Stepped(sweep([*UP, 1540.0]))
    log = tmp_path / "x.runlog"
    with (
        served(lambda: source, log, RIG) as watch,
        opened(chromium, watch.address, PHONE) as phone,
        opened(chromium, watch.address, DESKTOP) as desk,
    ):
        run = Sweep(watch, source, phone, desk)
        run.go_to(4, "Zero, engine off")
        assert "locked out" in phone.inner_text("#guide-caution")
        assert run.answer("plate", "off") == "Noted: plate off"
        run.go_to(OFF_S - 10, "Zero taken")
        check_access(phone)
        for number in range(1, len(UP) + 1):
            if number == 1:
                run.go_to(hold_end_s(number) - 32, f"Hold {number}: settled")
            run.go_to(hold_end_s(number) - 12, f"Hold {number} is in")
            if number == 1:
                phone.fill("#vacuum-reading", "ten")
                phone.click("[data-name=vacuum] button[value=write]")
                wait(phone, lambda: "cannot be read" in phone.inner_text("#guide-answer"))
                said = run.answer(
                    "vacuum", "write", reading="0.8", unit="inHg", place="blower inlet"
                )
                assert said == "Noted: vacuum 0.8 inHg blower inlet, in hold 1"
                for page in (phone, desk):
                    page.fill("#engine_speed-reading", "1210")
            elif number == 2:
                # What stands in a field was typed for the first hold, until it is emptied.
                for page in (phone, desk):
                    assert "in hold 1?" in page.inner_text(ASKED)
                desk.fill("#engine_speed-reading", "")
                assert "in hold 2?" in desk.inner_text(ASKED)
                phone.click("[data-name=engine_speed] button[value=write]")
                wait(phone, lambda: "in hold 2?" in phone.inner_text(ASKED))
                said = phone.inner_text("#guide-answer")
                assert said == "Noted: engine speed 1210 rpm, in hold 1"
                assert phone.input_value("#engine_speed-reading") == ""
                phone.fill("#engine_speed-reading", "19")
                desk.click("[data-name=engine_speed] button[value=never]")
                wait(phone, lambda: phone.locator(ASKED).count() == 0)
                run.answer("vacuum", "never")
                check_access(phone)
                check_access(desk)
            if number < len(UP):  # the blower turns 1.25 times as fast, and is rated at 2750
                assert "Go up to" in phone.inner_text("#guide-do")
        for page in (phone, desk):
            assert "Come down to" in page.inner_text("#guide-do")
        run.go_to(hold_end_s(6) - 12, "Hold 6 is in")
        assert "Stop the engine" in phone.inner_text("#guide-do")
        run.go_to(hold_end_s(6) + 10, "Zero once more")
        run.go_to(1000, "The sweep is done")
        for page in (phone, desk):
            words = report_words(page)
            assert told(read_run(log)) in words
            assert "contradict" not in words
            wait(page, lambda page=page: page.locator("#points tr").count() == 6)
            check_access(page)
        with phone.expect_download() as kept:
            phone.click("text=Save the report")
        saved = tmp_path / "saved.html"
        kept.value.save_as(saved)
    assert "<!doctype html>" in saved.read_text(encoding="utf-8")
    result = read_run(log)
    assert len(result.points) == 6
    assert len(result.zeros.table) == 2
    notes = {row["what"]: row for row in result.notes.to_dict("records")}
    assert set(notes) == {"plate", "engine_speed", "vacuum"}
    for what in ("engine_speed", "vacuum"):
        first = result.points.iloc[0]
        assert first["start_s"] < notes[what]["time_s"] < first["end_s"]
    assert not result.troubles


class Told(Guide):
    """A guide that hears how things stand from the test alone."""

    def update(self, facts: Facts) -> None:
        pass

    def tell(self, *told: Facts) -> None:
        for facts in told:
            super().update(facts)


LATE = """button => new MutationObserver(() => document.querySelector(button).click())
  .observe(document.getElementById("guide-why"), { childList: true })"""


@needs_chromium
def test_a_tap_goes_on_with_the_trouble_that_was_read(chromium: Browser, tmp_path: Path) -> None:
    guide = Told(RIG, "us")
    findings = (
        found(Kind.TUBES_REVERSED, fall=900.0),
        found(Kind.WRONG_MARKS, "blower shaft", case="repeats", typed=2, repeats=3),
    )
    with (
        served(Quiet, tmp_path / "x.runlog", RIG) as watch,
        opened(chromium, watch.address, PHONE) as phone,
        opened(chromium, watch.address, DESKTOP) as desk,
    ):
        watch.session._guide = guide
        guide.tell(Facts(60, "settled", 30, 2000, zero_s=12, findings=findings))
        button = "#guide-buttons [data-name=go_on]"
        for page in (phone, desk):
            wait(page, lambda page=page: page.locator(button).count() == 1)
            page.wait_for_timeout(600)
        desk.evaluate(LATE, button)  # taps a card in the moment in which it comes
        for page in (phone, desk):  # each twice, before its page can show what came of it
            page.evaluate(f"for (const _ of [1, 2]) document.querySelector('{button}').click()")
        wait(phone, lambda: guide.card().trouble == "wrong_marks")
        phone.wait_for_timeout(1000)
        assert guide.card().trouble == "wrong_marks"
        assert phone.inner_text("#guide-answer") == desk.inner_text("#guide-answer") == ""
        phone.click(button)
        wait(phone, lambda: guide.card().step == "hold")


def told(run: Run) -> str:
    """The greatest flow, as the report's sentences have it."""
    top = US.volume_flow.from_si(float(run.points["standard_flow_m3_s"].max()))
    return f"{top:.0f}\N{NO-BREAK SPACE}±"


def said(watch: Served, topic: str, words: str) -> str:
    """What stands on the noticeboard, once these words are in it."""
    end_s = time.monotonic() + 60
    while words not in (found := watch.board.latest(topic) or ""):
        assert time.monotonic() < end_s, found
        time.sleep(0.05)
    return found


def test_what_is_mended_goes_on_in_a_new_log(tmp_path: Path) -> None:
    source = Stepped(sweep(UP[:1], tubes_reversed=True))
    with served(lambda: source, tmp_path / "x.runlog", RIG) as watch:
        source.go_to(hold_end_s(1) - 12)
        card = json.loads(said(watch, "guide", "mend_running"))
        assert card["do"] == "Stop the engine and lock it out."
        source.go_to(hold_end_s(1) + 12)
        card = json.loads(said(watch, "guide", "mend_standing"))
        assert "put the upstream tap's tube on the port marked +" in card["do"]
        origin = {"Origin": watch.address}
        pressed = json.dumps({"button": "again", "step": card["step"], "trouble": card["trouble"]})
        for _ in range(2):  # two viewers at about the same time
            assert watch.ask("/press", "POST", origin, pressed)[0] == 200
            said(watch, "checks", "x-2.runlog")
        source.go_to(1000)
        said(watch, "state", "has ended")
        card = json.loads(said(watch, "guide", "done_few"))
        assert card["holds"] == 0
    assert len(list(tmp_path.iterdir())) == 2
    first, second = read_log(tmp_path / "x.runlog"), read_log(tmp_path / "x-2.runlog")
    assert second.rig_text() == first.rig_text()
    joined = b"".join(received.data for log in (first, second) for received in log.received)
    assert joined == b"".join(received.data for received in source.received)

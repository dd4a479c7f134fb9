"""A real browser for the tests, and what is asked of every state of the page."""

import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium command: install the package chromium"
)
PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 800}
TOUCH_PX = 72
# A server that is gone or refuses; a header that counts for secure origins only.
_NO_FAULTS = ("Failed to load resource", "The Cross-Origin-Opener-Policy header has been ignored")
_STANDARDS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
_RULES = {
    "runOnly": {"type": "tag", "values": list(_STANDARDS)},
    # Contrast of 7 to 1, which WCAG asks for at AAA only.
    "rules": {"color-contrast-enhanced": {"enabled": True}},
}


@contextmanager
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield started
        finally:
            started.close()


@contextmanager
def opened(browser: Browser, address: str, size: dict[str, int]) -> Iterator[Page]:
    """A page, in whose life no request left its origin and nothing was refused or failed."""
    context = browser.new_context(
        viewport={"width": size["width"], "height": size["height"]}, has_touch=size is PHONE
    )
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda fault: said.append(str(fault)))
    page.goto(address)
    yield page
    context.close()
    origin = "/".join(address.split("/")[:3]) + "/"
    assert [url for url in asked if not url.startswith((origin, "data:"))] == []
    assert [words for words in said if not words.startswith(_NO_FAULTS)] == []


def wait(page: Page, holds: Callable[[], bool], seconds: float = 60) -> None:
    """Until it holds: the page's policy forbids the browser's own way of waiting."""
    end_s = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end_s, page.inner_text("main")
        page.wait_for_timeout(50)


def report_words(page: Page) -> str:
    """All words of the report that stands on the page, or comes there soon."""
    frame = page.frame_locator("#report")
    frame.locator("h1").wait_for(timeout=60_000)
    return frame.locator("body").inner_text()


def check_access(page: Page) -> None:
    """Nothing found by axe-core, and every target large enough for a glove."""
    found = Axe().run(page, options=_RULES).response["violations"]
    assert not found, [(each["id"], each["nodes"][0]["html"]) for each in found]
    small = page.evaluate(
        """least => [...document.querySelectorAll("button, a, input, select, summary")]
          .filter(each => each.checkVisibility())
          .map(each => [each.id || each.textContent, each.getBoundingClientRect()])
          .filter(([_, box]) => box.height < least || box.width < least)
          .map(([name]) => name)""",
        TOUCH_PX,
    )
    assert not small, small
    wide = page.evaluate("document.documentElement.scrollWidth > innerWidth")
    assert not wide

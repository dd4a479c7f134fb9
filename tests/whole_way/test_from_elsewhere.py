"""Another page that is open in the same browser: its link opens the live page, and that is all."""

from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from urllib.parse import urljoin

import pytest

from host.live.browser import browser, needs_chromium, wait
from host.live.served import Quiet, served
from pullcurve.errors import PullcurveError
from pullcurve.live.session import Session

pytestmark = needs_chromium


class Elsewhere(BaseHTTPRequestHandler):
    """A page of another site, with a link, which asks for reports of a watch besides."""

    link = ""

    def do_GET(self) -> None:
        report = urljoin(self.link, "/report")
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(
            f"""<!doctype html><a href="{self.link}">the watch</a><img src="{report}">
            <iframe src="{report}"></iframe>
            <script>fetch("{report}", {{ mode: "no-cors" }})</script>""".encode()
        )

    def log_message(self, *_: object) -> None:
        pass


@pytest.mark.parametrize("shared", [False, True])
def test_a_link_on_another_page_opens_the_page_and_nothing_else_is_done_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shared: bool
) -> None:
    asked: list[bool] = []

    def report(_: Session, *, of_shift: bool) -> None:
        asked.append(of_shift)
        raise PullcurveError("no report is wanted")

    monkeypatch.setattr(Session, "report", report)
    with (
        browser() as chromium,
        served(Quiet, tmp_path / "x.runlog", shared=shared) as watch,
        HTTPServer(("localhost", 0), Elsewhere) as elsewhere,
    ):
        page = chromium.new_page()
        Thread(target=elsewhere.serve_forever, daemon=True).start()
        Elsewhere.link = f"{watch.address}/" + (f"?token={watch.token}" if shared else "")
        page.goto(f"http://localhost:{elsewhere.server_port}/", wait_until="networkidle")
        assert not asked
        page.click("a")
        wait(page, lambda: "no rig" in page.inner_text("#title"))
        assert page.url == f"{watch.address}/"
        page.click("#make-report")  # which the page itself may
        wait(page, lambda: asked == [False])
        page.go_back()  # the address with the token is not in the history
        assert page.url == f"http://localhost:{elsewhere.server_port}/"
        elsewhere.shutdown()

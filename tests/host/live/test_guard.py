"""Over a real socket: wrong host, origin or token see nothing and change nothing."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import segno

from host.live.served import Quiet, Served, served
from pullcurve.live.guard import STALE
from pullcurve.live.serving import code

PATHS = ("/", "/events", "/page.js", "/curve.js", "/report", "/runlog")
NOTE = json.dumps({"text": "engine 2190 rpm"})


@pytest.fixture
def alone(tmp_path: Path) -> Iterator[Served]:
    with served(Quiet, tmp_path / "x.runlog") as page:
        yield page


@pytest.fixture
def shared(tmp_path: Path) -> Iterator[Served]:
    with served(Quiet, tmp_path / "x.runlog", shared=True) as page:
        yield page


def carried(page: Served) -> dict[str, str]:
    """The cookie that the link gives."""
    status, headers, body = page.ask(f"/?token={page.token}")
    assert status == 200
    assert 'content="0; url=/"' in body
    assert page.token not in body
    assert re.search(r"HttpOnly.*SameSite=strict", headers["set-cookie"])
    return {"Cookie": headers["set-cookie"].partition(";")[0]}


def test_alone_the_page_needs_no_token_and_forbids_all_from_elsewhere(alone: Served) -> None:
    status, headers, body = alone.ask("/")
    assert status == 200
    assert "page.js" in body
    assert "default-src 'none'" in headers["content-security-policy"]
    assert headers["cache-control"] == "no-store"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert "server" not in headers


@pytest.mark.parametrize("host", ["machine.test", "127.0.0.1.machine.test", "", "[::1", "10.1.2.3"])
def test_a_foreign_host_name_is_refused(alone: Served, host: str) -> None:
    assert alone.ask("/", headers={"Host": host})[0] == 400


@pytest.mark.parametrize("origin", ["http://machine.test", "null", "https://127.0.0.1", None])
def test_only_the_page_itself_may_write(alone: Served, origin: str | None) -> None:
    headers = {} if origin is None else {"Origin": origin}
    status, _, said = alone.ask("/note", "POST", headers, NOTE)
    assert status == 403
    assert "elsewhere" in said
    assert alone.ask("/note", "POST", {"Origin": alone.address}, NOTE)[0] != 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_page_from_elsewhere_may_lead_to_the_page_and_set_nothing_to_work(
    alone: Served, site: str
) -> None:
    for path in (*PATHS, "/metrics"):
        for mode in ("no-cors", "cors", "navigate"):
            told = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": "document"}
            status, _, said = alone.ask(path, headers=told)
            if (path, mode) == ("/", "navigate"):
                assert status == 200
            else:
                assert status == 403
                assert "elsewhere" in said
    for own in ("same-origin", "none"):
        assert alone.ask("/metrics", headers={"Sec-Fetch-Site": own})[0] == 200


def test_shared_nothing_is_seen_without_the_token(shared: Served) -> None:
    for path in PATHS:
        status, _, said = shared.ask(path)
        assert status == 403
        assert STALE in said
        assert shared.ask(path, headers={"Cookie": f"pullcurve_{shared.port}=guess"})[0] == 403
    status, _, said = shared.ask("/note", "POST", {"Origin": shared.address}, NOTE)
    assert (status, said) == (403, STALE)
    assert shared.ask("/?token=")[0] == 403
    assert shared.ask("/?token=%FF%FE")[0] == 403


def test_shared_the_link_opens_everything_and_leaves_the_address_bar(shared: Served) -> None:
    cookie = carried(shared)
    assert shared.ask("/", headers=cookie)[0] == 200
    assert shared.ask("/page.js", headers=cookie)[0] == 200
    bearer = {"Authorization": f"Bearer {shared.token}"}
    assert shared.ask("/page.js", headers=bearer)[0] == 200
    assert shared.ask("/", headers={"Authorization": "Bearer wrong"})[0] == 403


def test_a_token_of_another_start_is_stale(tmp_path: Path) -> None:
    with served(Quiet, tmp_path / "a.runlog", shared=True) as before:
        old = carried(before)
        port = before.port
    with served(Quiet, tmp_path / "b.runlog", shared=True, port=port) as after:
        assert after.token != before.token
        assert len(after.token) >= 22  # 128 bits in base 64
        status, _, said = after.ask("/", headers=old)
        assert status == 403
        assert STALE in said


def test_the_code_holds_the_link_dark_on_light_with_its_margin() -> None:
    link = "http://192.168.137.1:8095/?token=AbCdEfGhIjKlMnOpQrStUv"
    halves = {" ": (0, 0), "▄": (0, 1), "▀": (1, 0), "█": (1, 1)}
    rows = [[halves[char][half] for char in line] for line in code(link) for half in (0, 1)]
    wanted = [list(row) for row in segno.make_qr(link, error="m").matrix_iter(border=4)]
    assert rows[: len(wanted)] == wanted
    assert not any(map(any, rows[len(wanted) :]))


def test_what_is_sent_may_be_anything(alone: Served) -> None:
    for body in (
        "",
        "[]",
        "{",
        '{"text": 3}',
        '{"text": "' + "x" * 10_000 + '"}',
        "\x00",
        "[" * 3900,
    ):
        status, _, said = alone.ask("/note", "POST", {"Origin": alone.address}, body)
        assert status == 400
        assert json.loads(said)["sentence"]

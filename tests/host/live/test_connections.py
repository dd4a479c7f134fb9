"""Who connects and asks for nothing, or for ever, does not keep others from the page."""

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from host.live.served import Quiet, Served, served
from pullcurve.live import serving

HEAD_S = 1.0
Connect = Callable[[bytes], socket.socket]


@pytest.fixture
def shared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    monkeypatch.setattr(serving, "HEAD_WITHIN_S", HEAD_S)
    with served(Quiet, tmp_path / "x.runlog", shared=True) as page:
        yield page


@pytest.fixture
def connect(shared: Served) -> Iterator[Connect]:
    with ExitStack() as made:

        def connected(said: bytes) -> socket.socket:
            one = socket.create_connection(("127.0.0.1", shared.port), timeout=10)
            made.enter_context(one).sendall(said)
            return one

        yield connected


def is_open(connection: socket.socket) -> bool:
    connection.settimeout(0.0)
    try:
        while connection.recv(65536):
            pass
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


def closes(connection: socket.socket, within_s: float) -> bool:
    end_s = time.monotonic() + within_s
    while is_open(connection):
        if time.monotonic() > end_s:
            return False
        time.sleep(0.02)
    return True


def head(page: Served, path: str, *lines: str) -> bytes:
    said = [f"GET {path} HTTP/1.1", f"Host: 127.0.0.1:{page.port}", *lines, "", ""]
    return "\r\n".join(said).encode()


@pytest.mark.parametrize(
    "said",
    [
        "",
        "GET / HTTP/1.1\r\nHost: ",
        # A refusal does not wait for the body that was announced.
        "POST /note HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 4000\r\n\r\n",
        # One that was answered, and comes back with half of the next.
        "GET /page.css HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\nGET / HTTP/1.1\r\n",
    ],
)
def test_who_asks_for_nothing_whole_is_let_go_however_slowly_it_goes_on(
    shared: Served, connect: Connect, said: str
) -> None:
    began_s = time.monotonic()
    connection = connect(said.format(port=shared.port).encode())
    while time.monotonic() < began_s + 3 * HEAD_S:
        time.sleep(0.1)
        try:
            connection.sendall(b"x")
        except OSError:
            break
    assert closes(connection, 0.1)
    assert time.monotonic() - began_s > 0.5 * HEAD_S


def test_a_stream_outlasts_the_time_for_a_head(shared: Served, connect: Connect) -> None:
    token = f"Authorization: Bearer {shared.token}"
    stream = connect(head(shared, "/events", token))
    time.sleep(2.5 * HEAD_S)
    assert is_open(stream)


def test_a_crowd_keeps_nobody_from_the_page_and_ends_no_stream(
    shared: Served, connect: Connect, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "HEAD_WITHIN_S", 60.0)
    token = f"Authorization: Bearer {shared.token}"
    streams = [connect(head(shared, "/events", token)) for _ in range(20)]
    for stream in streams:
        assert stream.recv(15) == b"HTTP/1.1 200 OK"
    crowd = [connect(b"GET / HTTP/1.1\r\n") for _ in range(2 * serving.MOST)]
    bearer = {"Authorization": f"Bearer {shared.token}"}
    assert shared.ask("/", headers=bearer)[0] == 200
    time.sleep(0.5)
    assert all(is_open(stream) for stream in streams)
    assert sum(is_open(each) for each in crowd) <= serving.MOST - len(streams)


def test_streams_of_phones_that_are_gone_give_way_to_those_that_come(
    shared: Served, connect: Connect
) -> None:
    """The oldest first; a page that is still there comes back by itself."""
    bearer = f"Authorization: Bearer {shared.token}"
    streams = []
    for _ in range(serving.MOST + 10):
        streams.append(connect(head(shared, "/events", bearer)))
        assert streams[-1].recv(15) == b"HTTP/1.1 200 OK"
    time.sleep(0.5)
    assert [is_open(stream) for stream in streams] == [False] * 10 + [True] * serving.MOST
    assert shared.ask("/page.css")[0] == 200

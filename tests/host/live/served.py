"""A watch with its page on a free port of this computer, for the time of a test."""

import http.client
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from threading import Thread
from typing import Self

from pullcurve.live.mqtt import Publisher
from pullcurve.live.noticeboard import Noticeboard
from pullcurve.live.serving import PageServer, open_port
from pullcurve.live.session import Session
from pullcurve.rig.models import Rig
from pullcurve.sources.source import Source
from pullcurve.stream.received import Received


class Quiet:
    """A source from which nothing comes, until it is stopped."""

    name = "quiet"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        return iter(())


class Served:
    def __init__(self, session: Session, server: PageServer, board: Noticeboard, port: int) -> None:
        self.session = session
        self.server = server
        self.board = board
        self.port = port
        self.address = f"http://127.0.0.1:{port}"

    @property
    def token(self) -> str:
        return self.server.links[0].partition("?token=")[2]

    def ask(
        self,
        path: str,
        method: str = "GET",
        headers: Mapping[str, str] | None = None,
        body: str = "",
    ) -> tuple[int, dict[str, str], str]:
        """Status, headers in small letters, and body."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            link.request(method, path, body or None, dict(headers or {}))
            answer = link.getresponse()
            said = {name.lower(): value for name, value in answer.getheaders()}
            return answer.status, said, answer.read().decode()
        finally:
            link.close()


@contextmanager
def served(
    open_source: Callable[[], Source],
    log: Path,
    rig: Rig | None = None,
    *,
    shared: bool = False,
    port: int = 0,
    patient: bool = False,
    publisher: Publisher | None = None,
    complain: Callable[[str], None] = lambda _: None,
) -> Iterator[Served]:
    board = Noticeboard()
    listener = open_port(port, shared=shared)
    session = Session(
        open_source,
        log,
        rig,
        "us",
        board,
        patient=patient,
        publisher=publisher,
        complain=complain,
    )
    server = PageServer(session, board, listener, shared=shared)
    thread = Thread(target=server.run, daemon=True)
    session.start()
    thread.start()
    try:
        yield Served(session, server, board, listener.getsockname()[1])
    finally:
        server.stop()
        thread.join(10)
        session.stop()
        listener.close()
    assert not thread.is_alive()

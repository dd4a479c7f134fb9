"""Puts the page on a port, and says how a phone reaches it."""

import asyncio
import os
import socket
from collections.abc import Callable
from types import FrameType

import segno
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from pullcurve.errors import PageError
from pullcurve.live.app import application
from pullcurve.live.guard import Guard, new_token
from pullcurve.live.noticeboard import Noticeboard
from pullcurve.live.session import Session

LOOPBACK = ("localhost", "127.0.0.1")
# Addresses of private networks (RFC 1918). Nothing is sent there: the system is asked only from
# which of its own addresses it would.
_PRIVATE = ("10.255.255.255", "172.31.255.255", "192.168.255.255", "169.254.255.255")
_END_WITHIN_S = 2
HEAD_WITHIN_S = 10.0
# A browser opens six for a page, and twenty may look on. Some systems let a program have 256 files.
MOST = 128
QUIET = 4  # modules around a code (ISO/IEC 18004, from memory)


def open_port(port: int, *, shared: bool) -> socket.socket:
    """A listening socket. `port` 0: any that is free. Raises PageError with a sentence."""
    listener = socket.socket()
    if os.name == "posix":  # else a port could be taken from another program
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind(("0.0.0.0" if shared else "127.0.0.1", port))  # noqa: S104  (asked for)
    except OSError as fault:
        listener.close()
        raise PageError(
            f"port {port} cannot be had for the page: {fault.strerror}; another watch may be "
            "running. Name another port with --port"
        ) from None
    listener.listen()
    return listener


def own_addresses() -> list[str]:
    """This computer's addresses on its networks."""
    found: dict[str, None] = {}
    for there in _PRIVATE:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((there, 9))
                found[probe.getsockname()[0]] = None
            except OSError:
                continue
    try:
        for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET):
            found[str(entry[4][0])] = None
    except OSError:
        pass
    return [address for address in found if not address.startswith("127.")]


def code(link: str) -> list[str]:
    """The link as a QR code (ISO/IEC 18004) in lines of text: dark ink on a light page."""
    modules = [list(row) for row in segno.make_qr(link, error="m").matrix_iter(border=QUIET)]
    if len(modules) % 2:
        modules.append([0] * len(modules[0]))
    blocks = {(0, 0): " ", (0, 1): "▄", (1, 0): "▀", (1, 1): "█"}
    rows = zip(modules[::2], modules[1::2], strict=True)
    return [
        "".join(blocks[bool(a), bool(b)] for a, b in zip(upper, lower, strict=True))
        for upper, lower in rows
    ]


class PageServer:
    """The page of one session on one port. `reachable`: from other devices."""

    def __init__(
        self, session: Session, board: Noticeboard, listener: socket.socket, *, shared: bool
    ) -> None:
        self._listener = listener
        self._board = board
        port = listener.getsockname()[1]
        token = new_token() if shared else None
        addresses = own_addresses() if shared else []
        self.reachable = bool(addresses)
        names = [socket.gethostname(), f"{socket.gethostname()}.local"] if shared else []
        self.links = [
            f"http://{address}:{port}/" + (f"?token={token}" if token else "")
            for address in addresses or LOOPBACK[1:]
        ]
        app = Guard(application(session, board), (*LOOPBACK, *addresses, *names), port, token)
        self._server = _Server(
            uvicorn.Config(
                app,
                log_level="critical",  # a request that fails is answered with a sentence
                access_log=False,
                lifespan="off",
                http=_Connection,
                ws="none",
                timeout_graceful_shutdown=_END_WITHIN_S,
                server_header=False,
            ),
            board.close,
        )

    def run(self) -> None:
        """Serve until Ctrl-C."""
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        self._board.open()
        await self._server.serve(sockets=[self._listener])

    def stop(self) -> None:
        """End the serving, from any thread."""
        self._server.should_exit = True


class _Connection(H11Protocol):
    """Is closed when no whole head of a request has come in HEAD_WITHIN_S. Where there are more
    than MOST the oldest gives way, first of those that have asked for nothing: a page that is
    still there comes back by itself. uvicorn's own limits count only who has asked."""

    _since_s: float
    _too_late: asyncio.TimerHandle

    @property
    def _is_served(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _await_head(self) -> None:
        self._since_s = self.loop.time()
        self._too_late = self.loop.call_later(HEAD_WITHIN_S, self.transport.close)

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._await_head()
        others = [each for each in self.connections if isinstance(each, _Connection)]
        others.remove(self)
        if len(others) >= MOST:
            oldest = min(others, key=lambda each: (each._is_served, each._since_s))
            self.connections.discard(oldest)
            oldest.transport.abort()

    def handle_events(self) -> None:
        super().handle_events()
        if self._is_served:
            self._too_late.cancel()

    def on_response_complete(self) -> None:
        self._await_head()
        super().on_response_complete()  # which may begin with the next request

    def connection_lost(self, exc: Exception | None) -> None:
        self._too_late.cancel()
        super().connection_lost(exc)


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, end_streams: Callable[[], None]) -> None:
        super().__init__(config)
        self._end_streams = end_streams

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._end_streams()
        super().handle_exit(sig, frame)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._end_streams()
        await super().shutdown(sockets)

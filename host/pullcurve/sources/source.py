"""What every way to a board looks like: serial port, bench, replayed log."""

import time
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from datetime import datetime
from typing import Protocol

from pullcurve.stream.received import Received


class Source(AbstractContextManager["Source"], Protocol):
    """Yields what the board sends until the source ends or is closed.

    A source is opened by entering it. It raises LinkError when the way to the board fails. One
    that asks the board for lost records again may have a number `wanted`, of those that may
    still come.
    """

    name: str

    def __iter__(self) -> Iterator[Received]: ...


def paced(chunks: Iterable[Received], speed: float) -> Iterator[Received]:
    """The chunks at the pace of their own times; `speed` 2 is twice as fast."""
    began_s = time.monotonic()
    first: datetime | None = None
    for received in chunks:
        first = first or received.host_time
        due_s = (received.host_time - first).total_seconds() / speed
        wait_s = began_s + due_s - time.monotonic()
        if wait_s > 0:
            time.sleep(wait_s)
        yield received

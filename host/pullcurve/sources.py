"""What every way to a board looks like: serial port, bench, replayed log."""

from collections.abc import Iterator
from contextlib import AbstractContextManager
from datetime import datetime
from typing import NamedTuple, Protocol


class Received(NamedTuple):
    """Bytes from the board, as they came, and when.

    `link` is "lost" or "opened" at the moment when the way to the board goes or comes back.
    """

    host_time: datetime
    data: bytes
    link: str = ""


class Source(AbstractContextManager["Source"], Protocol):
    """Yields what the board sends until the source ends or is closed.

    A source is opened by entering it. It raises LinkError when the way to the board fails.
    """

    name: str

    def __iter__(self) -> Iterator[Received]: ...

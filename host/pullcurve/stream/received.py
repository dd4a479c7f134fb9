"""What a source yields: bytes of a board, and when they came."""

from datetime import datetime
from typing import NamedTuple


class Received(NamedTuple):
    """Bytes from the board, as they came, and when.

    `link` is "lost" or "opened" at the moment when the way to the board goes or comes back.
    """

    host_time: datetime
    data: bytes
    link: str = ""

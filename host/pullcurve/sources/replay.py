"""A recorded run as a source, at the pace at which it was received or at once."""

from collections.abc import Iterator
from typing import Self

from pullcurve.run_log.reading import Log
from pullcurve.sources.source import paced
from pullcurve.stream.received import Received


class Replay:
    """Yields the bytes of a log with their recorded times. `speed` 2 is twice as fast as it
    was; None does not wait at all."""

    def __init__(self, log: Log, speed: float | None = None) -> None:
        self.name = f"replay:{log.path}"
        self._received = log.received
        self._speed = speed

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        if self._speed is None:
            yield from self._received
        else:
            yield from paced(self._received, self._speed)

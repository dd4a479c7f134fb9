"""A recorded run as a source, at the pace at which it was received or at once."""

import time
from collections.abc import Iterator
from types import TracebackType
from typing import Self

from pullcurve.run_log.reading import Log
from pullcurve.sources import Received


class Replay:
    """Yields the bytes of a log with their recorded times. `speed` 2 is twice as fast as it
    was; None does not wait at all."""

    def __init__(self, log: Log, speed: float | None = None) -> None:
        self.name = f"replay:{log.path}"
        self._received = log.received
        self._speed = speed

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        if self._speed is None or not self._received:
            yield from self._received
            return
        began_s = time.monotonic()
        first = self._received[0].host_time
        for received in self._received:
            due_s = (received.host_time - first).total_seconds() / self._speed
            wait_s = began_s + due_s - time.monotonic()
            if wait_s > 0:
                time.sleep(wait_s)
            yield received

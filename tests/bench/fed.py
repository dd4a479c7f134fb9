"""A consumer of record batches with a stream of its own, fed with what a source yields."""

from typing import Any

from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import RecordStream


class Fed:
    """`add` feeds the consumer; everything else is its own."""

    def __init__(self, consumer: Any) -> None:
        self._consumer = consumer
        self._stream = RecordStream()

    def add(self, received: Received) -> Any:
        return self._consumer.take(self._stream.add(received))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._consumer, name)

"""Any source into a run log. What the recorder, the bench and the live page share."""

from collections.abc import Callable, Iterable
from datetime import datetime

from pullcurve.run_log.writing import LogWriter
from pullcurve.sources import Received, Source

Watcher = Callable[[Received], None]


def record(
    source: Source,
    writer: LogWriter,
    watchers: Iterable[Watcher] = (),
    stop: Callable[[], bool] = lambda: False,
) -> None:
    """Write all that `source` yields, then show it to the watchers, until it ends or `stop()`.

    The bytes are in the log before anything looks at them.
    """
    last: datetime | None = None
    try:
        for received in source:
            if last is None:
                writer.host_record(received.host_time, "link", "opened", source.name)
            last = received.host_time
            if received.data:
                writer.board_bytes(last, received.data)
            for watcher in watchers:
                watcher(received)
            if stop():
                break
    except BaseException as fault:
        if last is not None:
            writer.host_record(last, "link", "lost", type(fault).__name__)
        raise
    if last is not None:
        writer.host_record(last, "link", "closed", "")

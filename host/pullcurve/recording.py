"""Any source into a run log. What the recorder, the bench and the live page share."""

import time
from collections.abc import Callable, Sequence
from datetime import datetime

from pullcurve.errors import LogError
from pullcurve.run_log.writing import LogWriter
from pullcurve.sources.source import Source
from pullcurve.stream.received import Received

Watcher = Callable[[Received], None]

LAST_WAIT_S = 10.0


def record(
    source: Source,
    writer: LogWriter,
    watchers: Sequence[Watcher] = (),
    stop: Callable[[], bool] = lambda: False,
) -> list[Exception]:
    """Write all that `source` yields, then show it to the watchers, until it ends or `stop()`.

    Records that the source has asked for again are waited for, LAST_WAIT_S at most.
    The bytes are in the log before anything looks at them. A watcher that fails is called again
    with what comes next, and ends nothing: the first fault of each is returned. Only a log that
    cannot be written ends a recording, whoever finds that.
    """
    faults: dict[int, Exception] = {}
    last: datetime | None = None
    state, detail = "closed", ""
    ended = _patient(stop, source)
    try:
        for received in source:
            if last is None:
                writer.link(received.host_time, "opened", source.name)
            last = received.host_time
            if received.link:
                writer.link(last, received.link, source.name)
            if received.data:
                writer.board_bytes(last, received.data)
            for number, watcher in enumerate(watchers):
                try:
                    watcher(received)
                except LogError:
                    raise
                except Exception as fault:  # noqa: BLE001  (a run is made once, a display is not)
                    faults.setdefault(number, fault)
            if ended():
                break
    except KeyboardInterrupt:
        raise
    except BaseException as fault:
        state, detail = "lost", type(fault).__name__
        raise
    finally:
        if last is not None:
            writer.link(last, state, detail)
    return list(faults.values())


def _patient(stop: Callable[[], bool], source: Source) -> Callable[[], bool]:
    end_s = float("inf")

    def ended() -> bool:
        nonlocal end_s
        if not stop():
            return False
        end_s = min(end_s, time.monotonic() + LAST_WAIT_S)
        return not getattr(source, "wanted", 0) or time.monotonic() > end_s

    return ended

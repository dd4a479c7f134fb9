"""Nothing but a log that cannot be written ends a recording before its source does."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

import pytest

from pullcurve.errors import LogError, RigError
from pullcurve.recording import record
from pullcurve.run_log.reading import read_log
from pullcurve.run_log.writing import LogWriter
from pullcurve.stream.received import Received

NOON = datetime(2025, 9, 16, 12, 0, tzinfo=UTC)


class Given:
    """A source of what is given to it; an exception among that is raised."""

    name = "given"

    def __init__(self, *items: bytes | BaseException) -> None:
        self._items = items

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        for item in self._items:
            if isinstance(item, BaseException):
                raise item
            yield Received(NOON, item)


def kept(path: Path) -> tuple[bytes, list[str]]:
    log = read_log(path)
    states = [str(item.named()["state"]) for item in log.host_records if item.record.kind == "link"]
    return b"".join(received.data for received in log.received), states


def test_a_watcher_that_fails_ends_nothing_and_is_told(tmp_path: Path) -> None:
    seen: list[bytes] = []

    def broken(received: Received) -> None:
        raise RigError(received.data.decode())

    with LogWriter(tmp_path / "x.runlog") as writer:
        faults = record(
            Given(b"a\n", b"b\n"), writer, (broken, lambda received: seen.append(received.data))
        )
    assert [str(fault) for fault in faults] == ["a\n"]
    assert seen == [b"a\n", b"b\n"]
    assert kept(tmp_path / "x.runlog") == (b"a\nb\n", ["opened", "closed"])


def test_a_log_that_cannot_be_written_is_no_matter_for_patience(tmp_path: Path) -> None:
    def full(_received: Received) -> None:
        raise LogError("the disk is full")

    with LogWriter(tmp_path / "x.runlog") as writer, pytest.raises(LogError, match="disk is full"):
        record(Given(b"a\n", b"b\n"), writer, (full,))
    assert kept(tmp_path / "x.runlog") == (b"a\n", ["opened", "lost"])


@pytest.mark.parametrize(("fault", "state"), [(KeyboardInterrupt, "closed"), (OSError, "lost")])
def test_ctrl_c_closes_the_link_and_a_fault_loses_it(
    tmp_path: Path, fault: type[BaseException], state: str
) -> None:
    with LogWriter(tmp_path / "x.runlog") as writer, pytest.raises(fault):
        record(Given(b"a\nb", fault()), writer)
    assert kept(tmp_path / "x.runlog") == (b"a\nb", ["opened", state])


def test_what_was_asked_for_again_is_waited_for(tmp_path: Path) -> None:
    class Asking(Given):
        wanted = 2

        def __iter__(self) -> Iterator[Received]:
            for received in super().__iter__():
                yield received
                self.wanted = max(self.wanted - 1, 0)

    with LogWriter(tmp_path / "x.runlog") as writer:
        record(Asking(b"a\n", b"b\n", b"c\n", b"d\n"), writer, stop=lambda: True)
    assert kept(tmp_path / "x.runlog") == (b"a\nb\nc\n", ["opened", "closed"])

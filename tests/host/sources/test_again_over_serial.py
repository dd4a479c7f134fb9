"""The board's own link code behind a pseudo-terminal that is pulled, and a recording of it."""

import os
import select
import threading
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from fed import Fed
from outbox import Outbox
from pullcurve.cli.status_line import Status
from pullcurve.recording import record
from pullcurve.run_log.reading import read_log
from pullcurve.run_log.writing import LogWriter
from pullcurve.sources.serial_port import SerialLink
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.sequence import SequenceCheck
from record_ring import RecordRing
from usb_link import UsbLink

if os.name != "posix":
    pytest.skip("Windows has no pseudo-terminals", allow_module_level=True)

import tty

RECORDS_A_SECOND = 100


class Board(threading.Thread):
    """Sends RECORDS_A_SECOND through the firmware's link, whether its plug is in or not."""

    def __init__(self, port: Path) -> None:
        super().__init__()
        self._port = port
        self._terminals: tuple[int, ...] = ()
        self._lock = threading.Lock()
        self._done = threading.Event()
        self._boot = 0
        self.start_anew()
        self.plug_in()

    @property
    def made(self) -> int:
        """Records since it started."""
        return int(self._ring.next)

    def start_anew(self) -> None:
        with self._lock:
            self._boot += 1
            self._ring = RecordRing()
            clock = SimpleNamespace(ticks_us=lambda: 0)
            self._outbox = Outbox(self._ring, clock, self._boot)
            self._link = UsbLink(self._ring, self, self, lambda: True, self._ready)
            self._outbox.event("start")

    def plug_in(self) -> None:
        with self._lock:
            self._terminals = os.openpty()
            tty.setraw(self._terminals[1])
            os.set_blocking(self._terminals[0], False)
            self._port.symlink_to(os.ttyname(self._terminals[1]))

    def unplug(self) -> None:
        with self._lock:
            self._port.unlink()
            for handle in self._terminals:
                os.close(handle)
            self._terminals = ()

    def run(self) -> None:
        while not self._done.wait(1 / RECORDS_A_SECOND):
            with self._lock:
                self._outbox.answer(self._link)
                self._outbox.event("late", value=self._ring.next)
                while self._link.pump():
                    pass

    def stop(self) -> None:
        self._done.set()
        self.join()
        self.unplug()

    def _ready(self) -> bool:
        """Only with a plug: then as the system says."""
        return bool(self._terminals and select.select(self._terminals[:1], [], [], 0)[0])

    def write(self, data: memoryview) -> int:
        """As USB without a reader: what nobody takes is gone."""
        try:
            return os.write(self._terminals[0], data) if self._terminals else len(data)
        except BlockingIOError:
            return len(data)

    def read(self, size: int) -> bytes:
        return os.read(self._terminals[0], size)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[Board]:
    made = Board(tmp_path / "port")
    made.start()
    yield made
    made.stop()


def test_a_pulled_plug_costs_nothing(board: Board, tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    plan = [(50, board.unplug), (250, board.plug_in)]
    status = Fed(Status(None))
    ended = False

    def befall(_received: object) -> None:
        if plan and board.made > plan[0][0]:
            plan.pop(0)[1]()

    def stop() -> bool:  # long before all has come again
        nonlocal ended
        ended = ended or (not plan and status.missing > 0)
        return ended

    with SerialLink(str(board._port)) as link, LogWriter(path) as writer:
        assert record(link, writer, (befall, status.add), stop) == []
    log = read_log(path)
    decoder, sequence = Decoder(), SequenceCheck()
    for received in log.received:
        for event in decoder.feed(received.data):
            assert not isinstance(event, Record) or sequence.accept(event)
    assert (sequence.missing_count, status.missing, sequence.duplicates) == (0, 0, 0)
    assert sequence.late > 150
    assert sequence.received > 240
    states = [str(item.named()["state"]) for item in log.host_records if item.record.kind == "link"]
    assert states == ["opened", "lost", "opened", "closed"]

"""The serial link on a pseudo-terminal: a port as the system offers it, without a board."""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from pullcurve.errors import LinkError
from pullcurve.links import serial_link
from pullcurve.links.serial_link import SerialLink, find_board
from pullcurve.run_log.reading import read_log
from record_format import encode

if os.name != "posix":
    pytest.skip(
        "pseudo-terminals stand in for ports, and Windows has none", allow_module_level=True
    )

import tty

BLOCKS = [encode("slow", 1, seq, (0, seq, 0, (seq,))) for seq in range(50)]


class Board:
    """The board's end of a pseudo-terminal, as `port` for the host."""

    def __init__(self) -> None:
        self._terminal, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self.plugged = True

    def send(self, data: bytes) -> None:
        while data:
            data = data[os.write(self._terminal, data[:512]) :]
            time.sleep(0.001)

    def heard(self, length: int) -> bytes:
        return os.read(self._terminal, length)

    def unplug(self) -> None:
        if self.plugged:
            os.close(self._terminal)
            os.close(self._slave)
            self.plugged = False


@pytest.fixture
def board() -> Iterator[Board]:
    made = Board()
    yield made
    made.unplug()


@pytest.fixture
def ports(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def offer(*names: str) -> None:
        devices = [SimpleNamespace(device=name) for name in names]
        monkeypatch.setattr(serial_link.list_ports, "comports", lambda: devices)

    return offer


def test_the_host_greets_and_receives_every_byte(board: Board) -> None:
    sent = b"".join(BLOCKS)
    with SerialLink(board.port) as link:
        assert board.heard(6) == b"hello\n"
        threading.Thread(target=board.send, args=(sent,)).start()
        got = b""
        for received in link:
            got += received.data
            if len(got) >= len(sent):
                break
            assert received.host_time.tzinfo is not None
    assert got == sent


def test_an_unplugged_board_is_a_sentence(board: Board) -> None:
    with SerialLink(board.port) as link:
        board.send(BLOCKS[0])
        source = iter(link)
        next(source)
        board.unplug()
        with pytest.raises(LinkError, match="the board is gone"):
            for _ in source:
                pass


def test_a_port_in_use_and_a_missing_port_are_sentences(
    board: Board, ports: Callable[..., None]
) -> None:
    ports("COM7")
    with SerialLink(board.port), pytest.raises(LinkError, match="in use"), SerialLink(board.port):
        pass
    with pytest.raises(LinkError, match=r"no such port; there are COM7"), SerialLink("/dev/absent"):
        pass


def test_the_board_is_found_among_other_ports(ports: Callable[..., None]) -> None:
    boards = [Board(), Board()]
    silent, talking = boards
    stop = threading.Event()

    def talk() -> None:
        while not stop.is_set():
            talking.send(BLOCKS[0])
            time.sleep(0.05)

    talker = threading.Thread(target=talk)
    talker.start()
    try:
        ports(silent.port, talking.port, "/dev/absent")
        assert find_board() == talking.port
        ports(silent.port)
        with pytest.raises(LinkError, match="no board answers"):
            find_board()
        ports()
        with pytest.raises(LinkError, match="plug the board in"):
            find_board()
    finally:
        stop.set()
        talker.join()
        for each in boards:
            each.unplug()


def test_record_writes_what_a_port_delivers_with_rig_and_typed_notes(
    board: Board, tmp_path: Path
) -> None:
    log = tmp_path / "run.runlog"
    rig = Path(__file__).parents[3] / "hardware/rigs/port.toml"
    command = [sys.executable, "-m", "pullcurve.cli", "record", str(log), "--port", board.port]
    with subprocess.Popen(
        [*command, "--rig", str(rig), "--for", "1.5"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert board.heard(6) == b"hello\n"
        assert process.stdin is not None
        process.stdin.write("vacuum 10 inHg at tank\nvacuum 9 inHg\n")
        process.stdin.flush()
        board.send(b"".join(BLOCKS))
        out, err = process.communicate(timeout=30)
    assert process.returncode == 0, err
    assert "50 records" in out
    assert "place of its gauge" in err
    text = log.read_text(encoding="ascii")
    assert text.count(" board slow 1 ") == 50
    assert "note 0" in text
    assert " vacuum 10+inHg tank - " in text
    assert read_log(log).rig_text() == rig.read_text(encoding="utf-8")


def test_a_recording_that_hears_nothing_says_so(board: Board, tmp_path: Path) -> None:
    done = subprocess.run(
        [
            *(sys.executable, "-m", "pullcurve.cli", "record", str(tmp_path / "run.runlog")),
            *("--port", board.port, "--for", "0.3"),
        ],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    assert done.returncode == 1
    assert "no record of a board came" in done.stderr
    assert "Traceback" not in done.stderr

"""The serial link on a pseudo-terminal: a port as the system offers it, without a board."""

import fcntl
import os
import select
import signal
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import serial

from pullcurve.errors import LinkError
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.notes import joined
from pullcurve.run_log.reading import Log, read_log
from pullcurve.sources import serial_port as serial_link
from pullcurve.sources.serial_port import SerialLink, find_board
from record_format import encode

if os.name != "posix":
    pytest.skip(
        "pseudo-terminals stand in for ports, and Windows has none", allow_module_level=True
    )

import resource
import termios
import tty

BLOCKS = [encode("slow", 1, seq, (0, seq, 0, (seq,))) for seq in range(50)]


class Board:
    """The board's end of a pseudo-terminal, as `port` for the host: a name of its own, since the
    system soon gives the terminal's to another test."""

    def __init__(self) -> None:
        self._terminal, self._slave = os.openpty()
        tty.setraw(self._slave)
        self._folder = tempfile.TemporaryDirectory()
        self.port = str(Path(self._folder.name, "port"))
        Path(self.port).symlink_to(os.ttyname(self._slave))
        self.plugged = True

    def send(self, data: bytes) -> None:
        while data:
            data = data[os.write(self._terminal, data[:512]) :]
            time.sleep(0.001)

    def heard(self, length: int) -> bytes:
        return os.read(self._terminal, length)

    def unplug(self) -> None:
        if self.plugged:
            self._folder.cleanup()
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
        devices = [SimpleNamespace(device=name, serial_number=None) for name in names]
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


def test_a_board_that_comes_back_elsewhere_is_known_by_its_serial_number(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    first, other, again = (Board() for _ in range(3))
    numbers = {first.port: "E661", other.port: "E662"}
    monkeypatch.setattr(
        serial_link.list_ports,
        "comports",
        lambda: [SimpleNamespace(device=d, serial_number=n) for d, n in numbers.items()],
    )
    with SerialLink(first.port) as link:
        first.send(BLOCKS[0])
        source = iter(link)
        assert next(source).data
        first.unplug()
        assert [next(source).link for _ in range(3)] == ["lost", "", ""]
        numbers[again.port] = "E661"
        assert next(source).link == "opened"
        assert link.name == f"serial:{again.port}"
        again.send(BLOCKS[1])
        assert b"".join(next(source).data for _ in range(3)).startswith(BLOCKS[1][:20])
    for each in (other, again):
        each.unplug()


def test_a_port_in_use_and_a_missing_port_are_sentences(
    board: Board, ports: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    ports("COM7")
    with SerialLink(board.port), pytest.raises(LinkError, match="in use"), SerialLink(board.port):
        pass
    for sentence, port in (
        ("there is no such port; the only one here is COM7", "/dev/absent"),
        ("this is no serial port; the only one here is COM7", "/dev/null"),
    ):
        with pytest.raises(LinkError, match=f"{port}: {sentence}"), SerialLink(port):
            pass
    ports("COM7", "COM8")
    with pytest.raises(LinkError, match="there are COM7, COM8"), SerialLink("/dev/absent"):
        pass

    def without_a_device(*_: object, **__: object) -> None:
        raise serial.SerialException("Could not configure port: (5, 'Input/output error')")

    monkeypatch.setattr(serial, "Serial", without_a_device)
    with pytest.raises(LinkError, match="nothing is behind this port"), SerialLink("/dev/ttyS9"):
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


@contextmanager
def recording(log: Path, port: str, *options: str, **streams: Any) -> Iterator[subprocess.Popen]:
    """`pullcurve record` as a process of its own."""
    command = [sys.executable, "-m", "pullcurve.cli", "record", str(log), "--port", port]
    pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE) | streams
    with subprocess.Popen([*command, *options], **pipes) as process:
        try:
            yield process
        finally:
            process.kill()


def links(log: Log) -> list[str]:
    return [str(item.named()["state"]) for item in log.host_records if item.record.kind == "link"]


def said(process: subprocess.Popen, code: int = 0) -> tuple[str, str]:
    out, err = (text.decode("utf-8") for text in process.communicate(timeout=30))
    assert process.returncode == code, err
    assert "Traceback" not in err
    return out, err


def test_record_writes_what_a_port_delivers_with_rig_and_typed_notes(
    board: Board, tmp_path: Path
) -> None:
    path = tmp_path / "run.runlog"
    rig = Path(__file__).parents[3] / "hardware/rigs/port.toml"
    words = "the hose lies in two loops behind the lorry, " * 40
    with recording(path, board.port, "--rig", str(rig), "--for", "0 min 1.5 s") as process:
        assert board.heard(6) == b"hello\n"
        process.stdin.write(b"vacuum 10 inHg at tank\nvacuum 9 inHg\nvacuum 99 inHg at tank\n")
        process.stdin.write(words.encode() + b"\nqu\xe9bec \xff\xfe\n")
        process.stdin.flush()
        board.send(b"".join(BLOCKS))
        out, err = said(process)
    assert "50 records" in out
    assert "place of its gauge" in err
    assert "no vacuum is as deep" in err
    log = read_log(path)
    assert b"".join(received.data for received in log.received) == b"".join(BLOCKS)
    assert [note[1:4] for note in joined(log.host_records)] == [
        ("vacuum", "10 inHg", "tank"),
        ("words", words.strip(), ""),
        ("words", "qu\ufffdbec \ufffd\ufffd", ""),
    ]
    assert log.rig_text() == load_rig(rig).text
    assert links(log) == ["opened", "closed"]


def test_a_board_that_starts_anew_is_recorded_into_the_same_log(tmp_path: Path) -> None:
    path, port = tmp_path / "run.runlog", tmp_path / "port"
    before, after = Board(), Board()
    port.symlink_to(before.port)
    with recording(path, str(port)) as process:
        assert before.heard(6) == b"hello\n"
        before.send(b"".join(BLOCKS[:20]) + BLOCKS[20][:9])
        time.sleep(0.5)
        port.unlink()
        before.unplug()
        process.stdin.write(b"somebody fell over the cable\n")
        process.stdin.flush()
        time.sleep(1.0)
        port.symlink_to(after.port)
        assert after.heard(6) == b"hello\n"
        after.send(b"".join(BLOCKS[20:]))
        time.sleep(0.5)
        process.send_signal(signal.SIGTERM)  # as a service is ended; it is taken as Ctrl-C
        out, err = said(process)
    after.unplug()
    assert "50 records" in out
    assert "the board is gone; the recording goes on" in err
    assert "the board is back" in err
    log = read_log(path)
    assert links(log) == ["opened", "lost", "opened", "closed"]
    kept = b"".join(received.data for received in log.received)
    assert kept == b"".join(BLOCKS[:20]) + BLOCKS[20][:9] + b"".join(BLOCKS[20:])
    assert [note.value for note in joined(log.host_records)] == ["somebody fell over the cable"]


def test_a_board_that_stays_away_does_not_outlast_the_time_that_was_asked_for(
    board: Board, tmp_path: Path
) -> None:
    with recording(tmp_path / "run.runlog", board.port, "--for", "1.5") as process:
        assert board.heard(6) == b"hello\n"
        board.send(BLOCKS[0])
        time.sleep(0.3)
        board.unplug()
        out, _ = said(process)
    assert "1 records" in out
    assert links(read_log(tmp_path / "run.runlog")) == ["opened", "lost", "closed"]


def test_a_recording_needs_nobody_who_types_or_reads(board: Board, tmp_path: Path) -> None:
    """Standard input closed, and the reader of the output gone, as after `2>&1 | head`."""
    path = tmp_path / "run.runlog"
    with recording(
        path, board.port, "--for", "2", stdin=None, preexec_fn=lambda: os.close(0)
    ) as process:
        assert board.heard(6) == b"hello\n"
        process.stdout.close()
        process.stderr.close()
        board.send(b"".join(BLOCKS))
        assert process.wait(timeout=30) == 0
    assert b"".join(received.data for received in read_log(path).received) == b"".join(BLOCKS)
    assert links(read_log(path)) == ["opened", "closed"]


def test_the_status_wipes_out_nothing_that_is_typed(board: Board, tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    screen, terminal = os.openpty()
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("4H", 24, 40, 0, 0))
    streams = {"stdin": terminal, "stderr": terminal, "start_new_session": True}
    with recording(path, board.port, **streams) as process:
        assert board.heard(6) == b"hello\n"
        board.send(b"".join(BLOCKS))
        shown = b""
        os.write(screen, b"plate")
        until_s = time.monotonic() + 2.0
        while time.monotonic() < until_s:
            if select.select([screen], [], [], 0.1)[0]:
                shown += os.read(screen, 4096)
        os.write(screen, b" off\n")
        time.sleep(0.5)
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=30) == 0
    os.close(terminal)
    os.close(screen)
    assert shown.count(b"50 records") == 1
    assert b"\r" not in shown.replace(b"\r\n", b"")
    assert b"\x1b" not in shown
    assert [note.value for note in joined(read_log(path).host_records)] == ["off"]


def test_a_full_disk_ends_a_recording_loudly_and_costs_nothing(
    board: Board, tmp_path: Path
) -> None:
    """A limit on the size of files stands in for the end of the disk."""
    path = tmp_path / "run.runlog"

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))

    with recording(path, board.port, preexec_fn=limit) as process:
        assert board.heard(6) == b"hello\n"
        board.send(b"".join(BLOCKS))
        _, err = said(process, code=1)
    assert "run.runlog: writing stopped: " in err
    assert "what was received until now is in the file" in err
    log = read_log(path)
    whole = [received.data for received in log.received]
    assert whole == BLOCKS[: len(whole)]
    assert len(whole) > 20
    assert sum(log.damaged.values()) <= 1  # the line that no longer fitted


def test_a_recording_that_hears_nothing_says_so(board: Board, tmp_path: Path) -> None:
    with recording(tmp_path / "run.runlog", board.port, "--for", "0.3") as process:
        _, err = said(process, code=1)
    assert "no record of a board came" in err

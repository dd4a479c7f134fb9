"""The firmware onto a board: real MicroPython, a real LittleFS, the real transport."""

import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner, Result

from on_micropython import UNIX
from pullcurve.board import identity, prompt
from pullcurve.board.install import firmware_files, firmware_revision, install
from pullcurve.board.prompt import Prompt
from pullcurve.cli import main
from pullcurve.errors import BoardError, LinkError
from pullcurve.sources import serial_port as serial_link
from pullcurve.sources.serial_port import SerialLink, find_usb_port

if os.name != "posix" or UNIX is None:
    pytest.skip(
        "a board behind a pseudo-terminal needs Linux or macOS and the micropython command",
        allow_module_level=True,
    )
from host.board.pty_board import PtyBoard

SAME = {"board.json"} | set(firmware_files())
SETTINGS = json.loads((Path(__file__).parents[3] / "firmware/board.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The flash of a board after its first install, and what the command said."""
    folder = tmp_path_factory.mktemp("installed")
    with plugged(folder) as board:
        done = command("install", "--port", board.port)
        (folder / "said").write_text(done.output, encoding="utf-8")
        assert done.exit_code == 0, done.output
        assert board.starts == 2
    return folder


@contextmanager
def plugged(folder: Path, flash: Path | None = None, **options: object) -> Iterator[PtyBoard]:
    board = PtyBoard(folder, flash, **options)
    try:
        yield board
    finally:
        board.unplug()


def command(*words: str) -> Result:
    return CliRunner().invoke(main, ["board", *words])


def put(board: PtyBoard, settings: bytes | None = None) -> list[str]:
    """Install, and give back what was written."""
    said: list[str] = []
    starts = board.starts
    with Prompt(board.port) as at:
        install(at, settings, said.append)
    board.wait_for_start(starts + 1)
    return [line.split()[1].rstrip(",") for line in said if line.startswith("writing")]


def make_older(board: PtyBoard, names: set[str]) -> None:
    with Prompt(board.port) as at:
        for name in names:
            at.write(name, b"# an older one\n" + firmware_files()[name])


def differing(board: PtyBoard) -> set[str]:
    """Which files of the firmware the board has otherwise or not, by reading them all back."""
    with Prompt(board.port) as at:
        transport = at._transport
        return {
            name
            for name, content in firmware_files().items()
            if at.size(name) is None or bytes(transport.fs_readfile(name)) != content
        }


def test_an_empty_board_gets_the_firmware_and_says_who_it_is(installed: Path) -> None:
    said = (installed / "said").read_text(encoding="utf-8")
    written = [line.split()[1].rstrip(",") for line in said.splitlines() if "writing" in line]
    assert set(written) == SAME
    assert written[-1] == "main.py"
    assert "it gets the shipped one" in said
    assert f"{len(SAME)} files read back from the board: all as they should be" in said
    assert f"firmware  {firmware_revision()}, as this pullcurve brings" in said
    assert "sensor    meter_dp: HSC, bus 0, 0x28, -6895 Pa to 6895 Pa" in said
    assert "pickup    blower_shaft, pin 15" in said


def test_a_second_install_writes_nothing_and_keeps_the_boards_own_settings(
    installed: Path, tmp_path: Path
) -> None:
    own = tmp_path / "own.json"
    own.write_text(json.dumps(SETTINGS | {"board": "the spare one"}), encoding="utf-8")
    with plugged(tmp_path, installed / "flash.bin") as board:
        assert put(board, own.read_bytes()) == ["board.json", "main.py"]
        done = command("install", "--port", board.port)
        assert done.exit_code == 0, done.output
        assert "writing" not in done.output
        assert "board.json is the board's own" in done.output
        assert "board     the spare one, number" in done.output
        shown = command("show", "--port", board.port)
        assert "board     the spare one, number" in shown.output
        assert differing(board) == set()


def test_settings_that_cannot_be_used_are_told_by_the_board(
    installed: Path, tmp_path: Path
) -> None:
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps(SETTINGS | {"pickups": []}), encoding="utf-8")
    with plugged(tmp_path, installed / "flash.bin") as board:
        done = command("install", "--port", board.port, "--board-json", str(wrong))
        assert done.exit_code == 1
        assert "cannot be used: pickups: one or two are needed" in done.output
        shown = command("show", "--port", board.port)
        assert (shown.exit_code, "pickups: one or two" in shown.output) == (1, True)


@pytest.mark.parametrize("at", ["streamer.py", "main.py"])
def test_a_cable_pulled_midway_leaves_nothing_running_and_a_later_run_mends_it(
    installed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: str
) -> None:
    older = {"lib/hsc.py", "streamer.py"}
    with plugged(tmp_path, installed / "flash.bin") as board:
        make_older(board, older)

        def pull(sentence: str) -> None:
            if sentence.startswith(f"writing {at}"):
                board.pull_after = board.carried + 1500

        with (
            pytest.raises(LinkError, match="went away or stopped answering; check plug"),
            Prompt(board.port) as prompt,
        ):
            install(prompt, None, pull)
        board.pull_after = None
        board.plug_in()
        missing = differing(board)
        assert {at, "main.py"} <= missing <= older | {"main.py"}
        monkeypatch.setattr(identity, "WITHIN_S", 0.5)
        shown = command("show", "--port", board.port)
        assert (shown.exit_code, "the firmware does not run on it" in shown.output) == (1, True)
        assert set(put(board)) == missing
        assert differing(board) == set()


def test_a_file_spoilt_on_the_way_is_found_and_written_again(
    installed: Path, tmp_path: Path
) -> None:
    with plugged(tmp_path, installed / "flash.bin") as board:
        make_older(board, {"tach.py"})
        spoilt = iter([True])
        # Of the two files to be written only main.py has the letter.
        board.spoils = lambda data: (
            data.replace(b"Q", b"R", 1) if b"Q" in data and next(spoilt, False) else data
        )
        assert put(board) == ["tach.py", "main.py"]
        assert next(spoilt, None) is None
        assert differing(board) == set()


def test_a_cable_that_always_spoils_leaves_no_firmware_running(
    installed: Path, tmp_path: Path
) -> None:
    with plugged(tmp_path, installed / "flash.bin") as board:
        make_older(board, {"tach.py"})
        board.spoils = lambda data: data.replace(b"Q", b"R")
        with pytest.raises(BoardError, match=r"main\.py reads back otherwise than it was written"):
            put(board)
        board.spoils = bytes
        assert differing(board) == {"main.py"}


def test_a_board_without_room_is_told_before_anything_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with plugged(tmp_path, blocks=20) as board:
        with pytest.raises(BoardError, match=r"has \d+ kB free .* needs \d+ kB more") as refusal:
            put(board)
        assert "Nothing was written" in str(refusal.value)
        assert differing(board) == set(firmware_files())
        # A board that cannot tell its room runs full.
        monkeypatch.setattr(Prompt, "space", lambda _: None)
        with pytest.raises(BoardError, match="memory for files is full: take files"):
            put(board)
        assert "main.py" in differing(board)


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ("micropython 1.19.1", r"runs MicroPython 1\.19\.1, .* not been tried on one before 1\.27"),
        ("circuitpython 9.2.0", r"runs circuitpython 9\.2\.0, and the firmware needs MicroPython"),
    ],
)
def test_another_python_on_the_board_is_refused(tmp_path: Path, said: str, sentence: str) -> None:
    with (
        plugged(tmp_path, implementation=said) as board,
        pytest.raises(BoardError, match=sentence),
        Prompt(board.port),
    ):
        pass


def test_what_is_no_micropython_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prompt, "_PROMPT_WITHIN_S", 0.1)
    monkeypatch.setattr(prompt, "_READ_WITHIN_S", 0.1)
    terminal, slave = os.openpty()
    with pytest.raises(BoardError, match="no MicroPython answers there"), Prompt(os.ttyname(slave)):
        pass
    os.close(terminal)
    os.close(slave)


def test_a_port_that_is_taken_or_missing_is_told(tmp_path: Path) -> None:
    with plugged(tmp_path) as board, SerialLink(board.port):
        done = command("install", "--port", board.port)
        assert (done.exit_code, "the port is in use" in done.output) == (1, True)
    done = command("install", "--port", "/dev/absent")
    assert (done.exit_code, "there is no such port" in done.output) == (1, True)


def test_without_mpremote_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "mpremote.transport", None)
    done = command("install", "--port", "/dev/absent")
    assert (done.exit_code, "pip install 'pullcurve[board]'" in done.output) == (1, True)


def test_the_usb_port_is_found_or_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    def offer(*ports: tuple[str, int | None]) -> None:
        devices = [SimpleNamespace(device=d, vid=v, description="a board") for d, v in ports]
        monkeypatch.setattr(serial_link.list_ports, "comports", lambda: devices)

    offer(("/dev/ttyS0", None))
    with pytest.raises(LinkError, match=r"no board is there: .* another cable, for some only"):
        find_usb_port()
    offer(("/dev/ttyS0", None), ("/dev/ttyACM0", 0x2E8A))
    assert find_usb_port() == "/dev/ttyACM0"
    offer(("/dev/ttyACM0", 0x2E8A), ("/dev/ttyACM1", 0x2E8A))
    monkeypatch.setattr(serial_link, "answers", lambda _: False)
    with pytest.raises(
        LinkError, match=r"/dev/ttyACM0 \(a board\), /dev/ttyACM1 \(a board\); name"
    ):
        find_usb_port()
    monkeypatch.setattr(serial_link, "answers", lambda port: port == "/dev/ttyACM1")
    assert find_usb_port() == "/dev/ttyACM1"


def test_a_board_whose_port_is_away_for_a_while_is_waited_for(
    installed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with plugged(tmp_path, installed / "flash.bin") as board:
        seen = iter([[], ["/dev/absent"], [board.port]])
        monkeypatch.setattr(identity, "names_of", lambda port, number: next(seen))
        header, _, kept_s = identity.introduction_after_restart("COM9", "E661")
    assert header is not None
    lines = identity.identity_lines(header, kept_s, "9.9")
    assert lines[1] == f"firmware  {firmware_revision()}, NOT 9.9; records of format 2"
    assert lines[4] == "memory    at least the last 25 s can be sent again when its link was lost"
    assert lines[-1] == "To put 9.9 on the board: pullcurve board install"
    monkeypatch.setattr(identity, "names_of", lambda port, number: [])
    monkeypatch.setattr(identity, "WITHIN_S", 0.3)
    with pytest.raises(LinkError, match="COM9: the board did not come back"):
        identity.introduction_after_restart("COM9", "E661")

"""The real firmware on real MicroPython against the bench, over a pseudo-terminal."""

import json
import os
import random
import select
import shutil
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Self

from pullcurve.bench import board_side
from pullcurve.bench.board_side import PipedWorld
from pullcurve.bench.firmware_files import firmware_folder
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.world import World, board_json
from pullcurve.errors import LinkError
from pullcurve.stream.gaps import Gaps
from pullcurve.stream.received import Received
from record_format import GREETING

_REQUEST_LENGTH = struct.calcsize(PipedWorld.REQUEST)
_STALL_S = 30.0


def micropython_command() -> str:
    """The path of MicroPython's unix port. Raises LinkError when it is not installed."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise LinkError(
            "the bench runs the firmware on MicroPython, which is not installed here; "
            "run: pip install 'pullcurve[bench]'"
        )
    return found


class BenchLink:
    """Yields what the simulated board sends. Time is the scenario's, not the computer's."""

    def __init__(self, scenario: Scenario, world: World) -> None:
        self.name = f"bench:{scenario.name}"
        self._scenario = scenario
        self._world = world
        self._noise = random.Random(scenario.seed)  # noqa: S311  (line noise, not a secret)
        self._gaps = Gaps()
        self._gone = False
        self._said = 0  # bytes to the board

    def __enter__(self) -> Self:
        if os.name != "posix":
            raise LinkError("the bench needs a pseudo-terminal, which only Linux and macOS have")
        import tty  # noqa: PLC0415  (absent on Windows)

        command = micropython_command()
        self._folder = tempfile.TemporaryDirectory(prefix="pullcurve-bench-")
        board = Path(self._folder.name)
        (board / "board.json").write_text(json.dumps(board_json(self._scenario)), encoding="utf-8")
        self._terminal, slave = os.openpty()
        tty.setraw(slave)
        self._requests, to_world = os.pipe()
        from_world, self._answers = os.pipe()
        self._process = subprocess.Popen(  # noqa: S603  (our own files)
            [
                command,
                str(Path(board_side.__file__)),
                str(firmware_folder()),
                f"/dev/fd/{to_world}",
                f"/dev/fd/{from_world}",
            ],
            stdin=slave,
            stdout=slave,
            cwd=board,
            pass_fds=(to_world, from_world),
            # A terminal's Ctrl-C is for us: the board ends when its pipes do.
            start_new_session=True,
        )
        for handle in (slave, to_world, from_world):
            os.close(handle)
        return self

    def __exit__(self, *_fault: object) -> None:
        for handle in (self._requests, self._answers, self._terminal):
            os.close(handle)
        self._process.wait(timeout=_STALL_S)
        self._folder.cleanup()

    def __iter__(self) -> Iterator[Received]:
        now_us = seen = 0
        while True:
            head = os.read(self._requests, _REQUEST_LENGTH)
            if not head:
                break
            code, bus, address, length, count, now_us, written = struct.unpack(
                PipedWorld.REQUEST, head
            )
            data = os.read(self._requests, count) if count else b""
            yield from self._link_news(now_us)
            if not self._unread(now_us):
                # All that the board has written by now, so that no time depends on how the
                # computer shared itself between the two processes.
                while seen < written:
                    chunk = self._read_terminal()
                    seen += len(chunk)
                    yield from self._received(now_us, chunk)
            self._answer(code, bus, address, length, data, now_us)
        # Once the board's end is closed, what is left of its bytes is all there.
        code = self._process.wait(timeout=_STALL_S)
        while chunk := self._read_terminal():
            yield from self._received(now_us, chunk)
        if code:
            raise LinkError(
                f"the firmware stopped with code {code}; what it sent until then is in the log"
            )

    def _answer(
        self, code: int, bus: int, address: int, length: int, data: bytes, now_us: int
    ) -> None:
        if code == PipedWorld.TRANSACT:
            answer = self._world.transact(now_us, bus, address, data, length)
            reply = b"\0" if answer is None else b"\1" + answer
        else:
            (to_us,) = struct.unpack("<Q", data)
            happenings = self._world.happenings(now_us, to_us)
            self._ask_again(now_us)
            reply = struct.pack("<QH", self._said, len(happenings)) + b"".join(
                struct.pack("<QB", at_us, pin) for at_us, pin in happenings
            )
        os.write(self._answers, reply)

    def _ask_again(self, now_us: int) -> None:
        if not (self._gone or self._unread(now_us)):
            self.say(self._gaps.due(now_us * 1e-6))

    def say(self, line: bytes) -> None:
        """Send a line to the board, which hears it when its time goes on."""
        self._said += len(line)
        if line:
            os.write(self._terminal, line)

    def _read_terminal(self) -> bytes:
        ready, _, _ = select.select([self._terminal], [], [], _STALL_S)
        if not ready:
            raise LinkError("the firmware on the bench says nothing any more")
        try:
            return os.read(self._terminal, 4096)
        except OSError:  # the board's end is closed
            return b""

    def _unread(self, now_us: int) -> bool:
        return _within(self._scenario.link.unread, now_us)

    def _link_news(self, now_us: int) -> Iterator[Received]:
        """The link's loss or return, where the time of either has come."""
        gone = _within(self._scenario.link.outages, now_us)
        if gone != self._gone:
            self._gone = gone
            if gone:
                self._gaps.lose()
            else:
                self.say(GREETING + b"\n")
            yield Received(self._host_time(now_us), b"", "lost" if gone else "opened")

    def _received(self, now_us: int, data: bytes) -> Iterator[Received]:
        """What comes through of the board's bytes."""
        if self._gone:
            return
        now_s = now_us * 1e-6
        rate = max(
            (d.rate for d in self._scenario.link.damage if d.from_s <= now_s < d.to_s), default=0
        )
        if rate:
            data = bytes(
                self._noise.randrange(256) if self._noise.random() < rate else byte for byte in data
            )
        self._gaps.feed(data)
        yield Received(self._host_time(now_us), data)

    def _host_time(self, now_us: int) -> datetime:
        return self._scenario.start + timedelta(microseconds=now_us)


def _within(windows: tuple[tuple[float, float], ...], now_us: int) -> bool:
    return any(a <= now_us * 1e-6 < b for a, b in windows)

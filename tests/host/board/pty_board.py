"""A board on a cable, without either: MicroPython behind a pair of pseudo-terminals.

The inner one is the board's, on which Ctrl-C interrupts as on a board. The outer one is the
port that the host opens. Between them bytes are carried by hand, so that a cable can be pulled
or spoil what it carries.
"""

import os
import select
import subprocess
import termios
import threading
import time
import tty
from contextlib import suppress
from pathlib import Path

from on_micropython import UNIX
from pullcurve.bench import board_side

SCRIPT = Path(__file__).with_name("board_process.py")
BLOCK = 4096
STARTS_WITH_LINES = 2  # that its flash is there; then one of the prompt or of the firmware
A_MOMENT_S = 0.02


class PtyBoard:
    """A board with a flash of so many blocks, or with a copy of one; it runs while plugged in.

    `implementation` is what it says that it is, name and version; None: what it is.
    `spoils` gives what arrives of what the host sends.
    """

    def __init__(
        self,
        folder: Path,
        flash: Path | None = None,
        *,
        blocks: int = 64,
        implementation: str | None = None,
    ) -> None:
        self._flash = folder / "flash.bin"
        self._flash.write_bytes(flash.read_bytes() if flash else b"\xff" * (BLOCK * blocks))
        bench = str(Path(board_side.__file__).parent)
        self._arguments = [bench, str(self._flash), str(blocks)]
        self._arguments += implementation.split() if implementation else []
        self.starts = 0
        self.carried = 0
        self.pull_after: int | None = None
        self.spoils = bytes
        self.plug_in()

    def plug_in(self) -> None:
        self._board, self._board_end = os.openpty()
        tty.setraw(self._board_end)
        modes = termios.tcgetattr(self._board_end)
        modes[3] |= termios.ISIG | termios.NOFLSH
        termios.tcsetattr(self._board_end, termios.TCSANOW, modes)
        self._host, self._host_end = os.openpty()
        tty.setraw(self._host_end)
        os.set_blocking(self._host, False)
        self.port = os.ttyname(self._host_end)
        self.plugged = True
        self.carried = 0
        self._power_on()
        self._carrier = threading.Thread(target=self._carry)
        self._carrier.start()

    def unplug(self) -> None:
        self.plugged = False
        self._carrier.join()

    def _power_on(self) -> None:
        assert UNIX is not None
        self._process = subprocess.Popen(
            [UNIX, "-i", str(SCRIPT), os.ttyname(self._board_end), *self._arguments],
            stdin=self._board_end,
            stdout=self._board_end,
            stderr=self._board_end,
            start_new_session=True,
            cwd=self._flash.parent,
        )
        # A Ctrl-C before the first line would be one in the midst of its flash, which is Python
        # here and not on a board.
        for _ in range(STARTS_WITH_LINES):
            while os.read(self._board, 1) != b"\n":
                pass
        self.starts += 1

    def wait_for_start(self, number: int) -> None:
        """Until it has started so often. A process that is being made holds, for an instant,
        the lock of every port that the test has open."""
        while self.starts < number:
            time.sleep(A_MOMENT_S)

    def _carry(self) -> None:
        while self.plugged:
            gone = self._process.poll() is not None
            ready, _, _ = select.select([self._board, self._host], [], [], 0 if gone else 0.05)
            if self._board in ready:
                with suppress(BlockingIOError):  # nobody reads: lost, as on USB
                    os.write(self._host, os.read(self._board, 4096))
            if self._host in ready:
                self._to_board(os.read(self._host, 256))
            if gone and self._board not in ready:
                self._power_on()
        self._process.kill()
        self._process.wait()
        for handle in (self._board, self._board_end, self._host, self._host_end):
            os.close(handle)

    def _to_board(self, data: bytes) -> None:
        self.carried += len(data)
        if self.pull_after is not None and self.carried > self.pull_after:
            self.plugged = False
            return
        data = self.spoils(data)
        if not data.startswith(b"\r"):
            os.write(self._board, data)
            return
        # The unix port forgets what is typed while it changes its terminal's mode; boards do not.
        for byte in data:
            os.write(self._board, bytes([byte]))
            time.sleep(A_MOMENT_S)

"""`pullcurve` in a terminal of its own, as a person runs it: Ctrl-C reaches its whole group."""

import os
import re
import select
import subprocess
import sys
import time
from pathlib import Path
from typing import Self

CTRL_C, CTRL_D = b"\x03", b"\x04"
# In the new session, the terminal becomes its own.
_IN_TERMINAL = (
    "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0);"
    "os.execv(sys.executable, [sys.executable, '-m', 'pullcurve.cli', *sys.argv[1:]])"
)


class PseudoTerminal:
    """`shown` is what has stood on the screen until now."""

    def __init__(self, folder: Path, *words: object) -> None:
        self._end, other = os.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", _IN_TERMINAL, *map(str, words)],
            stdin=other,
            stdout=other,
            stderr=other,
            cwd=folder,
            start_new_session=True,
        )
        os.close(other)
        self.shown = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self._end)

    def until(self, words: str, seconds: float = 60) -> None:
        end_s = time.monotonic() + seconds
        while not re.search(words, self.shown):
            assert time.monotonic() < end_s, self.shown
            assert self._read() or re.search(words, self.shown), self.shown

    def type(self, keys: bytes) -> None:
        os.write(self._end, keys)

    def code(self, seconds: float = 60) -> int:
        """The exit code, once it has ended."""
        end_s = time.monotonic() + seconds
        while self._read():
            assert time.monotonic() < end_s, self.shown
        return self.process.wait(10)

    def _read(self) -> bool:
        """Whether there may be more to come."""
        ready, _, _ = select.select([self._end], [], [], 0.2)
        if not ready:
            return True
        try:
            data = os.read(self._end, 4096)
        except OSError:  # nobody is at the other end any more
            return False
        self.shown += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)

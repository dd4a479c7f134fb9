"""A board's MicroPython prompt and its files, over a serial port by mpremote.

mpremote's Python side is no documented interface: pyproject.toml names the versions that the
tests ran with, and nothing else imports it.
"""

import errno
import struct
import sys
import time
from collections.abc import Callable
from contextlib import redirect_stdout, suppress
from io import StringIO
from typing import Any, NamedTuple, Self, TypeVar

import serial

from pullcurve.errors import BoardError, LinkError
from pullcurve.sources.serial_port import why_not_open

OLDEST = (1, 27)  # the oldest MicroPython that the firmware's tests ran on
_TRIES = 3  # a program that is interrupted may swallow what comes right behind the Ctrl-C
_PROMPT_WITHIN_S = 2.0
_QUIET_S = 0.2  # longer than between two records
_READ_WITHIN_S = 5.0
_PATIENCE_S = 30.0  # for one file, at most

# What mpremote and pyserial let through when a board is pulled off or talks nonsense.
_FAULTS: tuple[type[Exception], ...] = (OSError, ValueError, SyntaxError, IndexError, struct.error)
if sys.platform != "win32":
    import termios

    _FAULTS = (*_FAULTS, termios.error)

T = TypeVar("T")


class Space(NamedTuple):
    """Of the board's file system: bytes of a block, and how many blocks are free."""

    block: int
    free: int


class _Patience:
    """A serial port that gives up reading some time after `renew`. mpremote alone would read on
    for as long as anything comes, and a board that started anew by itself sends for ever."""

    def __init__(self, port: serial.Serial) -> None:
        self._port = port
        self.renew()

    def renew(self) -> None:
        self._until_s = time.monotonic() + _PATIENCE_S

    def read(self, size: int) -> bytes:
        if time.monotonic() > self._until_s:
            raise TimeoutError
        return bytes(self._port.read(size))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)


class Prompt:
    """The prompt of the board on `port`; the program that ran there is interrupted.

    Everything raises LinkError when the way to the board fails, and BoardError when no
    MicroPython answers that the firmware can run on, or when the board refuses.
    """

    def __init__(self, port: str) -> None:
        self.port = port

    def __enter__(self) -> Self:
        try:
            from mpremote.transport import TransportError  # noqa: PLC0415  (an optional extra)
            from mpremote.transport_serial import SerialTransport  # noqa: PLC0415
        except ImportError:
            raise BoardError(
                "writing to a board needs mpremote; run: pip install 'pullcurve[board]'"
            ) from None
        self._no_answer: type[Exception] = TransportError
        try:
            self._transport = SerialTransport(self.port, timeout=_READ_WITHIN_S)
        except (TransportError, *_FAULTS):
            raise LinkError(why_not_open(self.port)) from None
        self._patience = self._transport.serial = _Patience(self._transport.serial)
        try:
            self._interrupt()
            self._check_version()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_fault: object) -> None:
        with suppress(self._no_answer, *_FAULTS):
            self._transport.close()  # which leaves a port open whose board is gone
        with suppress(*_FAULTS):
            self._transport.serial.close()

    def _interrupt(self) -> None:
        """Enter the raw prompt, without a soft reset: that would stop the timer by which the
        firmware keeps its watchdog fed once it is interrupted."""
        for _ in range(_TRIES):
            try:
                if not self._falls_silent():
                    continue
                with redirect_stdout(StringIO()):  # it prints what it has read in vain
                    self._transport.enter_raw_repl(
                        soft_reset=False, timeout_overall=_PROMPT_WITHIN_S
                    )
            except self._no_answer:
                continue
            except _FAULTS:
                raise self._gone() from None
            return
        raise BoardError(
            f"{self.port}: no MicroPython answers there. A new board needs it first: "
            "hardware/README.md says how. If it has it, unplug the board, plug it in, try again"
        )

    def _falls_silent(self) -> bool:
        """Whether a Ctrl-C stops what the board sends. mpremote would wait for a prompt as long
        as records keep coming, and a board that is just starting hears no Ctrl-C."""
        port = self._transport.serial
        port.write(b"\r\x03")
        began_s = quiet_s = time.monotonic()
        while quiet_s < began_s + _PROMPT_WITHIN_S:
            waiting = port.in_waiting
            if waiting:
                port.read(waiting)
                quiet_s = time.monotonic()
            elif time.monotonic() > quiet_s + _QUIET_S:
                return True
            else:
                time.sleep(_QUIET_S / 10)
        return False

    def _check_version(self) -> None:
        name, version = self._do(
            lambda: self._transport.eval(
                "[list(i) if isinstance(i, tuple) else i "
                "for i in __import__('sys').implementation[:2]]"
            )
        )
        told = ".".join(str(part) for part in version[:3])
        if name != "micropython":
            raise BoardError(
                f"{self.port}: the board runs {name} {told}, and the firmware needs MicroPython: "
                "hardware/README.md says how to put it there"
            )
        if tuple(version[:2]) < OLDEST:
            raise BoardError(
                f"{self.port}: the board runs MicroPython {told}, and the firmware has not been "
                f"tried on one before {'.'.join(map(str, OLDEST))}: put a newer one on the board, "
                "as hardware/README.md says"
            )

    def space(self) -> Space | None:
        """None where the board cannot tell."""
        try:
            block, _, _, free = self._do(
                lambda: self._transport.eval("list(__import__('os').statvfs('.'))[:4]")
            )
        except BoardError:
            return None
        return Space(block, free)

    def digest(self, name: str) -> bytes | None:
        """The SHA-256 of a file, as the board reads it; None where there is no such file."""
        if self.size(name) is None:
            return None
        return bytes(self._do(lambda: self._transport.fs_hashfile(name, "sha256")))

    def size(self, name: str) -> int | None:
        try:
            return int(self._do(lambda: self._transport.fs_stat(name)).st_size)
        except FileNotFoundError:
            return None

    def write(self, name: str, content: bytes) -> None:
        folder, slash, _ = name.rpartition("/")
        if slash and self.size(folder) is None:
            self._do(lambda: self._transport.fs_mkdir(folder))
        self._do(lambda: self._transport.fs_writefile(name, content))

    def remove(self, name: str) -> None:
        self._do(lambda: self._transport.fs_rmfile(name))

    def restart(self) -> None:
        """Start the board anew; the prompt is gone then."""
        self._patience.renew()
        self._transport.use_raw_paste = False  # whose answer may be lost with the restart
        with suppress(self._no_answer, *_FAULTS):
            self._transport.exec_raw_no_follow("import machine\nmachine.reset()")

    def _do(self, call: Callable[[], T]) -> T:
        self._patience.renew()
        try:
            return call()
        except (self._no_answer, *_FAULTS) as fault:
            # What the board itself says of its files mpremote raises as an OSError.
            said = getattr(fault, "error_output", getattr(fault.__context__, "error_output", ""))
            if not said:
                raise self._gone() from None
            number = getattr(fault, "errno", None)
            if number == errno.ENOENT:
                raise FileNotFoundError from None
            if number == errno.ENOSPC:
                raise BoardError(
                    f"{self.port}: the board's memory for files is full: take files that are not "
                    "the firmware's off it, then give the same command again"
                ) from None
            raise BoardError(
                f"{self.port}: the board says {said.strip().splitlines()[-1]}"
            ) from None

    def _gone(self) -> LinkError:
        return LinkError(
            f"{self.port}: the board went away or stopped answering; check plug and cable, then "
            "give the same command again: it goes on where this one ended"
        )

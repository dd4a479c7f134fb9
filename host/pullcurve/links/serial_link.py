"""A board on a serial port."""

import time
from collections.abc import Iterator
from datetime import datetime
from types import TracebackType
from typing import Self

import serial
from serial.tools import list_ports

from pullcurve.errors import LinkError
from pullcurve.sources import Received
from pullcurve.wire.decoder import Decoder, Record

ANSWER_WITHIN_S = 2.0
_READ_TIMEOUT_S = 0.1


class SerialLink:
    """Yields what a board sends over a serial port, such as `COM5` or `/dev/ttyACM0`.

    An empty chunk is yielded when nothing has come for a while, so that a caller can stop.
    """

    def __init__(self, port: str) -> None:
        self.name = f"serial:{port}"
        self._port = port
        self._serial: serial.Serial | None = None

    def __enter__(self) -> Self:
        try:
            self._serial = serial.Serial(
                self._port, 115200, timeout=_READ_TIMEOUT_S, write_timeout=1.0, exclusive=True
            )
        except (OSError, ValueError) as fault:
            raise LinkError(_why_not_open(self._port, fault)) from None
        self._greet()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self._serial is not None:
            self._serial.close()
            self._serial = None

    def __iter__(self) -> Iterator[Received]:
        while self._serial is not None:
            try:
                data = self._serial.read(self._serial.in_waiting or 1)
            except OSError:
                raise LinkError(
                    f"{self._port}: the board is gone; what it sent until now is in the log. "
                    "Check the plug, then record into a new log"
                ) from None
            yield Received(datetime.now().astimezone(), data)

    def _greet(self) -> None:
        """Ask for the header at once. A board that does not listen sends it by itself."""
        try:
            if self._serial is not None:
                self._serial.write(b"hello\n")
        except OSError:
            pass


def _why_not_open(port: str, fault: Exception) -> str:
    number = getattr(fault, "errno", None)
    text = str(fault)
    if number in (11, 13, 16) or "Access is denied" in text or "PermissionError" in text:
        if number == 13:
            return (
                f"{port}: you may not open this port; on Linux add yourself to its group "
                "(often `dialout`) and log in again"
            )
        return f"{port}: the port is in use; close the other program that reads it"
    if number == 2 or "FileNotFoundError" in text:
        return f"{port}: there is no such port; {_ports_sentence()}"
    return f"{port}: cannot be opened as a serial port: {text}"


def _ports_sentence() -> str:
    ports = [port.device for port in list_ports.comports()]
    if not ports:
        return "this computer has no serial port now: plug the board in"
    return f"there are {', '.join(ports)}"


def find_board() -> str:
    """The name of the one port on which a board answers.

    Raises LinkError when none or several do.
    """
    found = [port.device for port in list_ports.comports() if answers(port.device)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise LinkError(f"no board answers on any serial port; {_ports_sentence()}")
    raise LinkError(f"boards answer on {', '.join(found)}; name one with --port")


def answers(port: str) -> bool:
    """Whether a board of ours sends sound records on this port."""
    decoder = Decoder()
    try:
        with SerialLink(port) as link:
            stop_s = time.monotonic() + ANSWER_WITHIN_S
            for received in link:
                if any(isinstance(event, Record) for event in decoder.feed(received.data)):
                    return True
                if time.monotonic() > stop_s:
                    return False
    except LinkError:
        return False
    return False

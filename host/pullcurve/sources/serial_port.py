"""A board on a serial port."""

import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Self

import serial
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from pullcurve.errors import LinkError
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.gaps import ANSWER_WITHIN_S, Gaps
from pullcurve.stream.received import Received
from record_format import GREETING

_READ_TIMEOUT_S = 0.1
_TRY_AGAIN_S = 0.25

# What pyserial lets through when a port goes away under it, at any moment.
_FAULTS: tuple[type[Exception], ...] = (OSError, ValueError)
if sys.platform != "win32":
    import termios

    _FAULTS = (*_FAULTS, termios.error)


class SerialLink:
    """Yields what a board sends over a serial port, such as `COM5` or `/dev/ttyACM0`.

    An empty chunk is yielded when nothing has come for a while, so that a caller can stop. When
    the port goes away (the plug is pulled, the board starts anew) it is waited for: the board
    is known by its USB serial number, whatever its port is called then, or else by its port's
    name. Records that are missing are asked for again.
    """

    def __init__(self, port: str) -> None:
        self.name = f"serial:{port}"
        self._port = port
        self._usb_number: str | None = None
        self._serial: serial.Serial | None = None
        self._gone = False
        self._gaps = Gaps()

    @property
    def wanted(self) -> int:
        """How many records have been asked for again and may still come."""
        return 0 if self._gone else self._gaps.wanted

    def __enter__(self) -> Self:
        try:
            self._open(self._port)
        except _FAULTS as fault:
            raise LinkError(_why(self._port, fault)) from None
        self._usb_number = usb_number(self._port)
        return self

    def __exit__(self, *_fault: object) -> None:
        self._close()
        self._serial = None

    def __iter__(self) -> Iterator[Received]:
        while self._serial is not None:
            data, link = b"", ""
            if not self._gone:
                try:
                    data = self._serial.read(self._serial.in_waiting or 1)
                except _FAULTS:
                    self._close()
                    self._gaps.lose()
                    self._gone, link = True, "lost"
                else:
                    self._gaps.feed(data)
                    self._say(self._gaps.due(time.monotonic()))
            elif self._found_again():
                self._gone, link = False, "opened"
            else:
                time.sleep(_TRY_AGAIN_S)
            yield Received(datetime.now().astimezone(), data, link)

    def _open(self, port: str) -> None:
        self._serial = serial.Serial(
            port, 115200, timeout=_READ_TIMEOUT_S, write_timeout=1.0, exclusive=True
        )
        self.name = f"serial:{port}"
        self._say(GREETING + b"\n")

    def _say(self, line: bytes) -> None:
        # A board that does not listen sends its header by itself, and nothing again.
        with suppress(*_FAULTS):
            if line and self._serial is not None:
                self._serial.write(line)

    def _close(self) -> None:
        with suppress(*_FAULTS):
            if self._serial is not None:
                self._serial.close()

    def _found_again(self) -> bool:
        """Whether the board's port is there again and could be opened."""
        for name in names_of(self._port, self._usb_number):
            with suppress(*_FAULTS):
                self._open(name)
                return True
        return False


def usb_number(port: str) -> str | None:
    """The serial number of the USB device behind a port, None where it has none."""
    names = (port, str(Path(port).resolve()))
    return next((each.serial_number for each in _ports() if each.device in names), None)


def names_of(port: str, number: str | None) -> list[str]:
    """What a board's port may be called now: a board with a USB number is known by that."""
    if not number:
        return [port]
    return [each.device for each in _ports() if each.serial_number == number]


def why_not_open(port: str) -> str:
    """The sentence on a port that could not be opened a moment ago."""
    try:
        serial.Serial(port, exclusive=True).close()
    except _FAULTS as fault:
        return _why(port, fault)
    return f"{port}: it could not be opened, and now it can: give the same command again"


def _why(port: str, fault: Exception) -> str:
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
    if "Inappropriate ioctl" in text:
        return f"{port}: this is no serial port; {_ports_sentence()}"
    if "Input/output error" in text:
        return f"{port}: nothing is behind this port; plug the board in, or name another port"
    return f"{port}: cannot be opened as a serial port: {text}"


def _ports() -> list[ListPortInfo]:
    """The ports that this computer has now."""
    try:
        return list(list_ports.comports())
    except (OSError, ValueError, TypeError):  # a device was taken away while it was asked
        return []


def _ports_sentence() -> str:
    ports = [port.device for port in _ports()]
    if not ports:
        return "this computer has no serial port now: plug the board in"
    if len(ports) == 1:
        return f"the only one here is {ports[0]}"
    return f"there are {', '.join(ports)}"


def find_usb_port() -> str:
    """The one port that may be a board, whatever runs on it: the one USB device, or among
    several the one that a board of ours answers on. Raises LinkError."""
    ports = [port for port in _ports() if port.vid is not None]
    if len(ports) == 1:
        return str(ports[0].device)
    if not ports:
        raise LinkError(
            "no board is there: this computer has no serial port on USB now. Plug the board in; "
            "where nothing appears, try another cable, for some only charge"
        )
    ours = [port.device for port in ports if answers(port.device)]
    if len(ours) == 1:
        return str(ours[0])
    told = ", ".join(f"{port.device} ({port.description})" for port in ports)
    raise LinkError(f"several devices are on USB: {told}; name the board's port, or unplug others")


def find_board() -> str:
    """The name of the one port on which a board answers.

    Raises LinkError when none or several do.
    """
    found = [port.device for port in _ports() if answers(port.device)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise LinkError(
            f"no board answers on any serial port; {_ports_sentence()}. See that the board is "
            "plugged in and runs the firmware"
        )
    raise LinkError(f"boards answer on {', '.join(found)}; name one of them")


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

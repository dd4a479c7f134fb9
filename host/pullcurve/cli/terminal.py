"""The terminal while a run is received: how it goes, notes that are typed, Ctrl-C."""

import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from datetime import datetime
from types import FrameType
from typing import Self

import click

from pullcurve.cli.status_line import Status
from pullcurve.run_log.notes import understand
from pullcurve.run_log.writing import LogWriter
from pullcurve.stream.received import Received

FIRST_AFTER_S = 0.5
RENEWED_EVERY_S = 0.5
PRINTED_EVERY_S = 10.0
AFTER_END_S = 0.2
USUAL_WIDTH = 80
PROMPT = "> "
ECHOED = 70  # characters of a note
_USUALLY = {signal.SIGINT: signal.default_int_handler, signal.SIGTERM: signal.SIG_DFL}
if sys.platform != "win32":
    _USUALLY[signal.SIGHUP] = signal.SIG_DFL


class StatusLine:
    """Shows a status on stderr: on a terminal a line that renews itself, elsewhere one in 10 s.

    Where people type, a renewed line would wipe out what they have typed. There the status
    comes on a new line every 10 s, and below it a new prompt: what was typed ahead stays in
    sight and counts.
    """

    def __init__(self, status: Status, *, typing: bool = False) -> None:
        self._status = status
        terminal = (
            sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
        )
        self._prompts = terminal and typing and sys.stdin is not None and sys.stdin.isatty()
        self._renews = terminal and not self._prompts
        self._due_s = time.monotonic() + FIRST_AFTER_S
        self._length = 0  # of what stands on the unfinished line
        self._unread = False

    def update(self, _received: Received) -> None:
        news = self._status.take_news()
        for sentence in news:
            self.say(sentence)
        if news:
            self._prompt()
        now_s = time.monotonic()
        if now_s >= self._due_s:
            self._due_s = now_s + (RENEWED_EVERY_S if self._renews else PRINTED_EVERY_S)
            self._show()

    def reply(self, sentence: str) -> None:
        """Answer a line that was typed; the terminal has ended that line."""
        if self._prompts:
            self._length = 0
        self.say(sentence)
        self._due_s = time.monotonic()

    def close(self) -> None:
        """Show the last state, and leave the cursor on a line of its own."""
        for sentence in self._status.take_news():
            self.say(sentence)
        if self._renews:
            self._show()
        if self._length:
            self._write("\n")

    def _show(self) -> None:
        if self._renews:
            line = self._status.line()[: _width() - 1]
            self._write("\r" + line.ljust(self._length))
            self._length = len(line)
            return
        self.say(self._status.line())
        self._prompt()

    def _prompt(self) -> None:
        if self._prompts:
            self._write(PROMPT)
            self._length = len(PROMPT)

    def say(self, sentence: str) -> None:
        """A sentence on a line of its own."""
        if self._renews:
            sentence = "\r" + sentence.ljust(self._length)
        elif self._length:
            sentence = "\n" + sentence
        self._length = 0
        self._write(sentence + "\n")

    def _write(self, text: str) -> None:
        try:
            if not self._unread:
                click.echo(text, nl=False, err=True)
        except (OSError, ValueError):
            self._unread = True


def _width() -> int:
    try:
        return os.get_terminal_size(sys.stderr.fileno()).columns or USUAL_WIDTH
    except (OSError, ValueError):
        return USUAL_WIDTH


class TypedNotes:
    """Lines typed while a run is recorded, written into its log with the time of typing."""

    def __init__(self, writer: LogWriter, reply: Callable[[str], None]) -> None:
        self._writer = writer
        self._reply = reply
        self._typed: list[tuple[datetime, str]] = []
        if hasattr(signal, "SIGTTIN"):
            # A recording in the background would be halted for listening; now it hears nothing.
            signal.signal(signal.SIGTTIN, signal.SIG_IGN)
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        try:
            # Unbuffered: a thread that waits in a buffered read makes Python's end a crash.
            with open(sys.stdin.fileno(), "rb", buffering=0, closefd=False) as stdin:
                while True:
                    for line in stdin:
                        self._typed.append(
                            (datetime.now().astimezone(), line.decode("utf-8", "replace"))
                        )
                    if not stdin.isatty():
                        return
                    # Ctrl-D: where people type, more may come behind it.
                    time.sleep(AFTER_END_S)
        except (AttributeError, OSError, ValueError):  # absent, closed, or not for this program
            return

    def write(self, _received: Received | None = None) -> None:
        """Write what has been typed since."""
        while self._typed:
            typed_at, line = self._typed.pop(0)
            if not line.strip():
                continue
            try:
                spoken = understand(line)
            except ValueError as fault:
                self._reply(f"not noted: {fault}")
                continue
            self._writer.note(typed_at, spoken)
            said = str(spoken)
            said = said if len(said) <= ECHOED else said[:ECHOED] + "..."
            self._reply(f"noted: {said}{spoken.hint}")


class CtrlC:
    """Takes the first Ctrl-C as the wish to end, so that the last record is written whole; and
    like it SIGTERM, by which a system ends its services, and SIGHUP, of a terminal's window that
    was closed. `told` is called then."""

    def __init__(self, told: Callable[[], None] = lambda: None) -> None:
        self.pressed = self._left_off = False
        self._told = told

    def __enter__(self) -> Self:
        # Only those that nobody has changed: a background job is to ignore Ctrl-C.
        self._before = {n: usual for n, usual in _USUALLY.items() if signal.getsignal(n) is usual}
        for number in self._before:
            signal.signal(number, self._press)
        return self

    def leave_off(self) -> None:
        """What is left ends by itself: further presses do nothing."""
        self._left_off = True

    def __exit__(self, *_fault: object) -> None:
        for number, usual in self._before.items():
            signal.signal(number, usual)

    def _press(self, _number: int, _frame: FrameType | None) -> None:
        if self._left_off:
            return
        if self.pressed:
            raise KeyboardInterrupt
        self.pressed = True
        self._told()

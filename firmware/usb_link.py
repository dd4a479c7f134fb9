"""Records over the USB serial pipe, which may be full or unread.

Lines queue up and leave in slices, each only when the pipe says that it has room. When the
queue is full the oldest line that has not begun to leave is dropped and counted.

Room may mean a single byte. MicroPython's USB then waits 500 ms for the rest, twice, and
after that the pipe is full and says so: a port that is open but unread costs sampling up to
a second, once. (shared/tinyusb/mp_usbd_cdc.c, mp_usbd_cdc_tx_strn)
"""

SLICE = 64  # bytes; a USB packet, and less than any port's buffer


class UsbLink:
    """`out` writes bytes, `inp` reads them; `ready_out()` and `ready_in()` ask the poller."""

    def __init__(self, out, inp, ready_out, ready_in, capacity=48):
        self._out = out
        self._inp = inp
        self._ready_out = ready_out
        self._ready_in = ready_in
        self._lines = [None] * capacity
        self._head = 0
        self._count = 0
        self._sent = 0  # bytes of the line at the head that have left
        self._heard = b""
        self.dropped = 0

    def offer(self, line):
        lines = self._lines
        size = len(lines)
        if self._count == size:
            self.dropped += 1
            if self._sent:  # the head is on its way: drop the one behind it
                lines[(self._head + 1) % size] = lines[self._head]
            self._head = (self._head + 1) % size
            self._count -= 1
        lines[(self._head + self._count) % size] = line
        self._count += 1

    def waiting(self):
        return self._count > 0

    def pump(self):
        """Send one slice if there is one and the pipe has room: the number of its bytes."""
        if self._count == 0 or not self._ready_out():
            return 0
        line = self._lines[self._head]
        sent = self._out.write(line[self._sent : self._sent + SLICE]) or 0
        self._sent += sent
        if self._sent == len(line):
            self._lines[self._head] = None
            self._head = (self._head + 1) % len(self._lines)
            self._count -= 1
            self._sent = 0
        return sent

    def hear(self):
        """A whole line that the host has sent, without its end, or None. A terminal ends a
        line with a carriage return."""
        while self._ready_in():
            byte = self._inp.read(1)
            if not byte:
                return None
            if byte in b"\r\n":
                line = self._heard
                self._heard = b""
                return line
            self._heard = (self._heard + byte)[-SLICE:]
        return None

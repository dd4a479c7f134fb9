"""Records over the USB serial pipe, which may be full or unread.

They leave in slices, each only when the pipe says that it has room. Until then they wait in the
ring; those that it forgets before they have begun to leave are dropped and counted.

Room may mean a single byte. MicroPython's USB then waits 500 ms for the rest, twice, and
after that the pipe is full and says so: a port that is open but unread costs sampling up to
a second, once. (shared/tinyusb/mp_usbd_cdc.c, mp_usbd_cdc_tx_strn)
"""

from record_ring import Turns

SLICE = 64  # bytes; a USB packet, and less than any port's buffer


class UsbLink:
    """`out` writes bytes, `inp` reads them; `ready_out()` and `ready_in()` ask the poller."""

    name = "usb"

    def __init__(self, ring, out, inp, ready_out, ready_in):
        self.turns = Turns(ring)
        self._out = out
        self._inp = inp
        self._ready_out = ready_out
        self._ready_in = ready_in
        self._length = 0  # of the record on its way
        self._sent = 0  # bytes of it that have left
        self._heard = b""

    def waiting(self):
        return self._length > 0 or self.turns.waiting()

    def pump(self):
        """Send one slice if there is one and the pipe has room: the number of its bytes."""
        if not self.waiting() or not self._ready_out():
            return 0
        if self._length == 0:
            self._length = self.turns.take()
        end = min(self._sent + SLICE, self._length)
        sent = self._out.write(self.turns.line[self._sent : end]) or 0
        self._sent += sent
        if self._sent == self._length:
            self._length = self._sent = 0
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

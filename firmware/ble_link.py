"""Records over Bluetooth Low Energy, as notifications cut to what one of them takes.

Whoever is in reach may connect, so nothing but a greeting and requests to repeat records is ever
done for a host, and one that is silent is dropped. Records go to a host that has greeted: what is
notified before it listens is lost without a word.

Handlers of the radio set small things only; what takes time is done in `hear`, once a block, and
`pump`.
"""

from record_format import BLE_RECORDS, BLE_REQUESTS, BLE_SERVICE, GREETING, SILENT_S
from record_ring import Turns

_CONNECTED = 1
_DISCONNECTED = 2
_WRITTEN = 3
_MTU_EXCHANGED = 21

_NOTIFY = 0x10
_WRITE = 0x08 | 0x04  # with and without response

LEAST_MTU = 23  # of a connection, until host and board have agreed on more
MOST_MTU = 247  # fills one radio packet of 251 bytes; a whole record is shorter
MTU_HEAD = 3  # bytes of it are not the record's
ADVERTISE_US = 100000
# From one notification to the next. Some ports refuse what they cannot send, others pile it up
# on the heap and never say so; a connection takes about 100 a second.
APART_US = 10000
HEARD = 64  # bytes of a host's line


def advertisement(name):
    """Flags, the service's number and the name in one packet of 31 bytes, so that whoever
    listens need not ask back. The name has 8 letters at most."""
    number = bytes(int(BLE_SERVICE.replace("-", "")[i : i + 2], 16) for i in range(30, -2, -2))
    return b"\x02\x01\x06" + b"\x11\x07" + number + bytes((len(name) + 1, 9)) + name.encode()


class BleLink:
    """`ble` and `uuid` are bluetooth.BLE() and bluetooth.UUID."""

    name = "ble"

    def __init__(self, ring, ble, uuid, clock, name):
        self.turns = Turns(ring)
        self._ble = ble
        self._clock = clock
        self._advertisement = advertisement(name)
        self._peer = None
        self._advertising = False
        self._written = False
        self._greeted = False
        self._mtu = LEAST_MTU
        self._heard_us = self._sent_us = clock.ticks_us()
        self._heard = b""
        self._length = 0  # of the record on its way
        self._sent = 0  # bytes of it that have left
        ble.active(True)
        ble.config(gap_name=name)
        ble.config(mtu=MOST_MTU)
        ble.irq(self._happened)
        characteristics = ((uuid(BLE_RECORDS), _NOTIFY), (uuid(BLE_REQUESTS), _WRITE))
        ((self._records, self._requests),) = ble.gatts_register_services(
            ((uuid(BLE_SERVICE), characteristics),)
        )
        ble.gatts_set_buffer(self._requests, 2 * HEARD, True)

    def _happened(self, event, data):
        if event == _CONNECTED:
            self._advertising = False
            if self._peer is None:
                self._mtu = LEAST_MTU
                self._greeted = False
                self._heard_us = self._clock.ticks_us()
                self._peer = data[0]
        elif event == _DISCONNECTED:
            self._advertising = False
            if data[0] == self._peer:
                self._forget()
        elif event == _WRITTEN:
            if data[0] == self._peer:
                self._heard_us = self._clock.ticks_us()
                self._written = True
        elif event == _MTU_EXCHANGED and data[0] == self._peer:
            self._mtu = data[1]

    def waiting(self):
        return self._greeted and (self._length > 0 or self.turns.waiting())

    def pump(self):
        """Send one piece if there is one and its time has come: the number of its bytes."""
        now = self._clock.ticks_us()
        if not self.waiting() or self._clock.ticks_diff(now, self._sent_us) < APART_US:
            return 0
        self._sent_us = now
        if self._length == 0:
            self._length = self.turns.take()
        end = min(self._sent + self._mtu - MTU_HEAD, self._length)
        try:
            self._ble.gatts_notify(self._peer, self._records, self.turns.line[self._sent : end])
        except (OSError, TypeError):  # no room, or the host is gone since: the piece waits
            return 0
        sent = end - self._sent
        self._sent = end
        if self._sent == self._length:
            self._length = self._sent = 0
        return sent

    def hear(self):
        """A whole line that the host has written, without its end, or None."""
        now = self._clock.ticks_us()
        if self._written:
            self._written = False
            self._heard += self._ble.gatts_read(self._requests)
        if self._peer is None:
            self._heard = b""
            self._advertise()
            return None
        if self._clock.ticks_diff(now, self._heard_us) > SILENT_S * 1000000:
            self._heard_us = now
            self._drop()
            return None
        end = self._heard.find(b"\n")
        if end < 0:
            self._heard = self._heard[-HEARD:]
            return None
        line = self._heard[:end]
        self._heard = self._heard[end + 1 :]
        if line == GREETING:
            self._length = self._sent = 0
            self.turns.skip()
            self._sent_us = now  # what is longer ago than half the counter would lie ahead
            self._greeted = True
        return line

    def _advertise(self):
        if not self._advertising:
            try:
                self._ble.gap_advertise(ADVERTISE_US, adv_data=self._advertisement)
                self._advertising = True
            except OSError:  # the radio is not ready yet: a block later
                pass

    def _drop(self):
        try:
            there = self._ble.gap_disconnect(self._peer)
        except OSError:
            there = False
        if not there:  # gone since, and the radio's word of it was lost
            self._forget()

    def _forget(self):
        self._peer = None
        self._greeted = False

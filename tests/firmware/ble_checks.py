"""The link over Bluetooth, its radio set by hand.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import sys

from checking import run
from hand_set_clock import Clock

from ble_link import BleLink
from record_format import GREETING, SILENT_S, encode
from record_ring import RecordRing

BLOCK_US = 100000
CONNECTED, DISCONNECTED, WRITTEN = 1, 2, 3  # MicroPython's numbers of events


class Radio:
    """MicroPython's `bluetooth.BLE`, and a board's loop around its link. `host` is the number of
    the connection that there truly is."""

    def __init__(self):
        self.host = None
        self.advertised = 0
        self.notified = b""
        self.written = b""
        self.clock = Clock()
        self.ring = RecordRing(2)
        self.link = BleLink(self.ring, self, str, self.clock, "pull1a2b")

    def active(self, on):
        pass

    def config(self, **options):
        pass

    def irq(self, handler):
        self.handler = handler

    def gatts_register_services(self, services):
        return ((1, 2),)

    def gatts_set_buffer(self, handle, length, append):
        pass

    def gatts_read(self, handle):
        written, self.written = self.written, b""
        return written

    def gatts_notify(self, connection, handle, data):
        if connection != self.host:
            raise OSError(128)
        self.notified += bytes(data)

    def gap_advertise(self, us, adv_data):
        self.advertised += 1

    def gap_disconnect(self, connection):
        """Says whether there was such a connection, as MicroPython's does."""
        if connection != self.host:
            return False
        self.host = None
        self.handler(DISCONNECTED, (connection, 0, b""))
        return True

    def connect(self, connection):
        self.host = connection
        self.handler(CONNECTED, (connection, 0, b""))

    def write(self, line):
        self.written += line
        self.handler(WRITTEN, (self.host, 2))

    def go_on(self, seconds):
        """So many seconds of blocks, a record each: how many bytes the host has got meanwhile."""
        before = len(self.notified)
        for _ in range(round(seconds * 1000000 / BLOCK_US)):
            line = encode("event", 1, self.ring.next, (self.clock.now, "late", "", 1, ""))
            self.ring.put(line, len(line))
            self.link.hear()
            for _ in range(4):
                self.link.pump()
                self.clock.go_on(BLOCK_US // 4)
        return len(self.notified) - before


def check_a_host_is_answered_at_once_however_long_nobody_came():
    for minutes in (1, 8, 10, 17, 18, 19, 28):
        radio = Radio()
        assert radio.go_on(1) == 0
        radio.clock.go_on(minutes * 60000000)
        assert radio.go_on(1) == 0
        radio.connect(7)
        radio.write(GREETING + b"\n")
        assert radio.go_on(1) > 300, minutes


def answers_a_new_host(radio):
    """Whether the board advertises once, and streams to the host that has come thereupon."""
    advertised = radio.advertised
    radio.go_on(1)
    assert radio.advertised == advertised + 1, (radio.advertised, advertised)
    radio.connect(9)
    radio.write(GREETING + b"\n")
    return radio.go_on(1) > 300


def check_a_silent_host_is_dropped():
    radio = Radio()
    radio.go_on(1)
    radio.connect(7)
    radio.write(GREETING + b"\n")
    radio.go_on(SILENT_S - 1)
    assert radio.host == 7
    radio.go_on(1.2)
    assert radio.host is None
    assert answers_a_new_host(radio)


def check_a_disconnection_of_which_no_event_came_ends_with_the_silence():
    radio = Radio()
    radio.go_on(1)
    radio.connect(7)
    radio.write(GREETING + b"\n")
    radio.go_on(1)
    radio.host = None
    radio.go_on(SILENT_S - 0.8)
    assert not radio.link.waiting()  # for nobody
    assert answers_a_new_host(radio)


def check_a_connection_of_which_no_event_came_ends_with_it():
    radio = Radio()
    radio.go_on(1)
    radio.host = 7  # and the radio advertises no more
    radio.go_on(10)
    radio.gap_disconnect(7)
    assert answers_a_new_host(radio)


if __name__ == "__main__":
    sys.exit(run(globals()))

"""Runs the firmware for 80 s of its own time with a part for every role, until its ring is full
and laid over anew. Prints the records sent and kept, and the bytes of heap in use.

For MicroPython with a limited heap; the bench would take some of it. Its 64-bit build needs
about twice as much for the code as a board does.
"""

import gc
import json
import sys

from record_ring import RecordRing

ring = RecordRing()  # as main.py does, ahead of all else
assert ring.pages >= 19, ring.pages

import board_config  # noqa: E402
from ble_link import BleLink  # noqa: E402
from outbox import Outbox  # noqa: E402
from record_format import again  # noqa: E402
from sampler import Sampler  # noqa: E402
from streamer import Streamer  # noqa: E402
from tach import Tach  # noqa: E402
from usb_link import UsbLink  # noqa: E402

END_US = 80000000


class Done(BaseException):
    pass


class Clock:
    """Time goes on when the firmware looks at it or sleeps."""

    now = 0

    def ticks_us(self):
        self.now += 20
        if self.now > END_US:
            raise Done
        return self.now & 0x3FFFFFFF

    def ticks_add(self, ticks, delta):
        return (ticks + delta) & 0x3FFFFFFF

    def ticks_diff(self, end, start):
        return ((end - start + (1 << 29)) & 0x3FFFFFFF) - (1 << 29)

    def sleep_us(self, us):
        self.now += us


class Ble:
    """A radio that takes every notification; its host greets and asks on and on."""

    greeted = False

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
        line = again(1, 0, 100000) if self.greeted else b"hello\n"
        self.greeted = True
        return line

    def gatts_notify(self, connection, handle, data):
        self.handler(3, (0, 2))


class Bus:
    """Whoever is asked answers, each register with the same byte, and with its own number."""

    def writeto(self, address, data):
        pass

    def writeto_mem(self, address, register, data):
        pass

    def readfrom_into(self, address, buffer):
        buffer[:] = b"\x3f" * len(buffer)

    def readfrom_mem_into(self, address, register, buffer):
        byte = {0xD0: 0x60, 0x0F: 0xB1, 0x20: 0x40}.get(register, 0x7F)
        buffer[:] = bytes([byte]) * len(buffer)


def make_tach(entry, clock):
    arguments = (clock, lambda: 0, lambda state: None, lambda handler: None, lambda: 1)
    return Tach(entry["role"], entry["pin"], entry["least_us"], *arguments)


def main():
    with open(sys.argv[1]) as file:  # noqa: PTH123
        config = board_config.load(file.read())
    clock, bus = Clock(), Bus()
    sensors = board_config.make_sensors(config, {0: bus, 1: bus})
    tachs = [make_tach(entry, clock) for entry in config["pickups"]]
    usb = UsbLink(ring, sys.stdout.buffer, None, lambda: False, lambda: False)
    radio = Ble()
    ble = BleLink(ring, radio, lambda text: text, clock, "pull1a2b")
    radio.handler(1, (0, 0, b""))
    radio.handler(3, (0, 2))
    streamer = Streamer(
        clock,
        [usb, ble],
        Outbox(ring, clock, 1),
        [Sampler(sensor) for sensor in sensors if sensor.role in board_config.SAMPLED],
        [sensor for sensor in sensors if sensor.role not in board_config.SAMPLED],
        tachs,
        config["plan"],
        (config["board"], "0123456789abcdef"),
        ("board", "micropython", "1.28.0"),
        lambda: None,
    )
    try:
        streamer.run(1)
    except Done:
        gc.collect()
        said = {"sent": ring.next, "kept": ring.next - ring.oldest, "heap": gc.mem_alloc()}
        sys.stdout.write(json.dumps(said))


main()

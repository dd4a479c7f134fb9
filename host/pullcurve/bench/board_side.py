"""A board for the firmware to run on, on virtual time. Runs on MicroPython and CPython.

Stands in for the modules `machine` and `time` and for what the unix port lacks of
`micropython`. The world around the board is an object with

    transact(now_us, bus, address, data, length)   one bus transaction: the bytes that were
                                                   read, or None when nobody acknowledged
    happenings(from_us, to_us)                     what befalls the board: a list of
                                                   (time_us, pin), sorted by time; a pin that
                                                   falls, or RESET, or END

Virtual time moves only when the firmware sleeps or uses a bus, so a run is as fast as the
computer allows and the same to the last byte.
"""

import struct
import sys

RESET = 254
END = 255

TICKS_MASK = (1 << 30) - 1  # as on a board; the unix port's own ticks never wrap
LOOK_AHEAD_US = 50_000
LAST_PIN = 29  # of an RP2040
RUNTIME = ("simulated board", "bench", "1.0.0")  # what the firmware reads of `Sys`
BYTE_BITS = 9  # on the bus, with the acknowledgement


class BoardReset(BaseException):
    """The board starts anew."""


class BoardEnd(BaseException):
    """The run is over."""


class Clock:
    """The module `time` of the board."""

    def __init__(self, world):
        self._world = world
        self._happenings = []
        self._known_to_us = 0
        self._boot_us = 0
        self.now_us = 0
        self.handlers = {}
        self.fell_us = {}

    def reboot(self):
        self._boot_us = self.now_us
        self.handlers.clear()

    def ticks_us(self):
        return (self.now_us - self._boot_us) & TICKS_MASK

    def ticks_add(self, ticks, delta):
        return (ticks + delta) & TICKS_MASK

    def ticks_diff(self, end, start):
        return ((end - start + (1 << 29)) & TICKS_MASK) - (1 << 29)

    def sleep_us(self, us):
        until = self.now_us + us
        while True:
            if not self._happenings:
                if self._known_to_us > until:
                    break
                to_us = self._known_to_us + LOOK_AHEAD_US
                self._happenings = self._world.happenings(self._known_to_us, to_us)
                self._known_to_us = to_us
                continue
            at_us, pin = self._happenings[0]
            if at_us > until:
                break
            self._happenings.pop(0)
            self.now_us = max(self.now_us, at_us)
            if pin == RESET:
                raise BoardReset
            if pin == END:
                raise BoardEnd
            self.fell_us[pin] = at_us
            if pin in self.handlers:
                self.handlers[pin](pin)
        self.now_us = until


def make_machine(clock, world, module):
    """Fill `module` with what the firmware uses of `machine`."""

    class Pin:
        IN = 0
        IRQ_FALLING = 4

        def __init__(self, number, mode=None):
            if number > LAST_PIN:
                raise ValueError("invalid pin")
            self.number = number

        def irq(self, handler, trigger, hard=False):
            clock.handlers[self.number] = handler

        def value(self):
            """Low for a millisecond after each edge."""
            return int(clock.now_us - clock.fell_us.get(self.number, -1000) >= 1000)

    class I2C:
        def __init__(self, number, sda=None, scl=None, freq=400000):
            self._number = number
            self._byte_us = -(-BYTE_BITS * 1000000 // freq)

        def _transact(self, address, data, length):
            clock.sleep_us(self._byte_us * (1 + len(data) + length))
            answer = world.transact(clock.now_us, self._number, address, data, length)
            if answer is None:
                raise OSError(5)  # EIO, as machine.I2C on a missing acknowledgement
            return answer

        def writeto(self, address, data):
            self._transact(address, bytes(data), 0)

        def writeto_mem(self, address, register, data):
            self._transact(address, bytes([register]) + bytes(data), 0)

        def readfrom_into(self, address, buffer):
            buffer[:] = self._transact(address, b"", len(buffer))

        def readfrom_mem_into(self, address, register, buffer):
            buffer[:] = self._transact(address, bytes([register]), len(buffer))

    class ADC:
        """Reads the board's supply, which hangs at half of the full scale."""

        def __init__(self, pin):
            pass

        def read_u16(self):
            return 1 << 15

    class WDT:
        def __init__(self, timeout):
            pass

        def feed(self):
            pass

    module.Pin = Pin
    module.I2C = I2C
    module.ADC = ADC
    module.WDT = WDT
    module.unique_id = lambda: b"bench\x00\x00\x01"
    module.reset_cause = lambda: 1
    module.disable_irq = lambda: 0
    module.enable_irq = lambda state: None


class Sys:
    """The module `sys` of the board, which names the bench and not the computer that it runs on."""

    class implementation:
        _machine, name = RUNTIME[:2]
        version = RUNTIME[2].split(".")

    def __getattr__(self, name):
        return getattr(sys, name)


class PipedWorld:
    """The world at the other end of two pipes. All integers are little-endian.

    Request: code, bus, address, length to read, length of data, time in us (8 bytes), bytes
    written to the link so far (8 bytes), data. Answer to a transaction: 1 and the bytes, or
    0. Answer to happenings: the bytes that the host has written to the link so far (8 bytes),
    the number of happenings (2 bytes), then time (8 bytes) and pin of each.
    """

    TRANSACT, HAPPENINGS = 1, 2
    REQUEST = "<BBBBBQQ"

    def __init__(self, to_world, from_world):
        self._to_world = to_world
        self._from_world = from_world
        self.written = 0
        self.said = 0

    def transact(self, now_us, bus, address, data, length):
        head = struct.pack(
            self.REQUEST, self.TRANSACT, bus, address, length, len(data), now_us, self.written
        )
        self._to_world.write(head + data)
        if self._read(1) == b"\x00":
            return None
        return self._read(length) if length else b""

    def happenings(self, from_us, to_us):
        head = struct.pack(self.REQUEST, self.HAPPENINGS, 0, 0, 0, 8, from_us, self.written)
        self._to_world.write(head + struct.pack("<Q", to_us))
        self.said, count = struct.unpack("<QH", self._read(10))
        data = self._read(9 * count) if count else b""
        return [struct.unpack_from("<QB", data, 9 * i) for i in range(count)]

    def _read(self, length):
        data = self._from_world.read(length)
        while len(data) < length:
            more = self._from_world.read(length - len(data))
            if not more:
                raise BoardEnd  # the bench has closed its end
            data += more
        return data


class Inlet:
    """What the board hears: `world.said` bytes until now, however late they come."""

    def __init__(self, inp, world):
        self._inp = inp
        self._world = world
        self._heard = 0

    def ready(self):
        return self._heard < self._world.said

    def read(self, size):
        self._heard += size
        return self._inp.read(size)


def run_firmware(firmware, world):
    """Run the real main.py of the folder `firmware`, from power-on to the end of the run.
    `world.written` counts the bytes that have left the link, `world.said` those sent to it."""
    clock = Clock(world)
    machine = sys.modules["machine"] = type("machine", (), {})
    make_machine(clock, world, machine)
    board_only = sys.modules["micropython"] = type("micropython", (), {})
    board_only.alloc_emergency_exception_buf = lambda size: None
    sys.modules["time"] = clock
    sys.modules["sys"] = Sys()
    sys.path[:0] = [firmware, firmware + "/lib"]
    inlet = Inlet(sys.stdin.buffer, world)
    before = set(sys.modules)
    while True:
        import usb_link

        class CountedLink(usb_link.UsbLink):
            def __init__(self, ring, out, inp, ready_out, ready_in):
                super().__init__(ring, out, inlet, ready_out, inlet.ready)

            def pump(self):
                sent = super().pump()
                world.written += sent
                return sent

        usb_link.UsbLink = CountedLink
        try:
            __import__("main")
        except BoardReset:
            clock.reboot()
            for name in set(sys.modules) - before:
                del sys.modules[name]
        except BoardEnd:
            return


if __name__ == "__main__":
    run_firmware(sys.argv[1], PipedWorld(open(sys.argv[2], "wb"), open(sys.argv[3], "rb")))

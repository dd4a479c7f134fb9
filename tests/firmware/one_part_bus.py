"""An I2C bus with one part on it and its driver, for the checks on every runtime."""

ADDRESS = 0x28
PA = {"range_pa": [-2500, 2500]}


class Bus:
    """An I2C bus with one part: 256 registers, or a frame for reads without a register.

    Serving a read allocates nothing. down makes every transfer fail, deaf every write, idle
    every read without a register until the next command.
    """

    def __init__(self):
        self.frame = b""
        self.registers = bytearray(256)
        self.written = []
        self.keep = True
        self.down = False
        self.deaf = False
        self.idle = False

    def readfrom_into(self, address, data):
        self._reach(address)
        if self.idle:
            raise OSError(5)
        self._copy(self.frame, 0, data)

    def readfrom_mem_into(self, address, register, data):
        self._reach(address)
        self._copy(self.registers, register, data)

    def writeto(self, address, data):
        self._reach(address)
        self._note(None, data)
        self.idle = False

    def writeto_mem(self, address, register, data):
        self._reach(address)
        self._note(register, data)
        self.registers[register] = data[0]

    def _reach(self, address):
        if self.down or address != ADDRESS:
            raise OSError(5)

    def _note(self, register, data):
        if self.deaf:
            raise OSError(5)
        if self.keep:
            self.written.append((register, bytes(data)))

    def _copy(self, source, first, data):
        for index in range(len(data)):
            data[index] = source[first + index]


class NoisyBus(Bus):
    """Spoils one bit of the first read of the trimming words."""

    spoilt = False

    def readfrom_mem_into(self, address, register, data):
        super().readfrom_mem_into(address, register, data)
        if register == 0x88 and not self.spoilt:
            data[5] ^= 0x20
            self.spoilt = True


def value(channel, count):
    """What the host makes of a count of a linear channel."""
    _, _, transfer, value_low, value_high, count_low, count_high, _, _ = channel
    assert transfer == "linear"
    low, high = float(value_low), float(value_high)
    first, last = float(count_low), float(count_high)
    return low + (count - first) * (high - low) / (last - first)


def near(found, expected, within):
    assert abs(found - expected) <= within, (found, expected)


def wired(kind, part, options=None, make_bus=Bus):
    bus = make_bus()
    return bus, kind(bus, ADDRESS, part, options or {})

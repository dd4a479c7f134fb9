"""MCP9600: a thermocouple's temperature behind registers of one to three bytes.

Source: Microchip data sheet DS20005426C, 5.1.1 (hot junction), 5.2.1 (STATUS), 5.3.4 (id);
conversion times by resolution from memory.
"""

from pullcurve.bench.parts.part import ROUNDING_S, Element, Imperfections, Part, to_count

_HOT, _DELTA, _COLD, _STATUS, _DEVICE, _ID = 0x00, 0x01, 0x02, 0x04, 0x06, 0x20
_LENGTH = {_HOT: 2, _DELTA: 2, _COLD: 2, 0x03: 3, _STATUS: 1, 0x05: 1, _DEVICE: 1, _ID: 2}
_UPDATED, _OUT_OF_RANGE = 0x40, 0x10
_CONVERSION_S = (0.320, 0.080, 0.020, 0.005)  # by the two resolution bits of register 0x06
_COLD_JUNCTION = 25 * 16
_LOWEST, _HIGHEST = -200 * 16, 1372 * 16  # type K, from memory


class Mcp9600(Part):
    """MCP9600 with a thermocouple of type K.

    It converts by itself from power-up on. Bit 6 of STATUS says that a conversion has ended
    since it was written back to 0. In a fault window, and outside the thermocouple's range,
    bit 4 is set. The cold junction is held at 25 C. Registers keep what is written, and only
    the resolution has an effect; not modelled: burst and shutdown modes, filter, alerts.
    """

    def __init__(self, address: int, errors: Imperfections, element: Element) -> None:
        super().__init__(address, errors)
        self._element = element

    def _power_up(self, time_s: float) -> None:
        self._registers = {register: bytes(length) for register, length in _LENGTH.items()}
        self._registers[_ID] = b"\x40\x10"
        self._pointer = _HOT
        self._since_s = time_s
        self._conversions = 0
        self._updated = 0
        self._out_of_range = 0
        self._count = 0
        self._fresh = False

    def _advance(self, time_s: float) -> None:
        period_s = _CONVERSION_S[self._registers[_DEVICE][0] >> 5 & 0x03]
        done = int((time_s - self._since_s + ROUNDING_S) / period_s)
        if done > self._conversions:
            self._conversions = done
            exact = self._element.at(self._since_s + done * period_s) * 16
            self._count = to_count(exact, _LOWEST, _HIGHEST)
            self._out_of_range = 0 if _LOWEST <= round(exact) <= _HIGHEST else _OUT_OF_RANGE
            self._updated = _UPDATED
            self._fresh = True

    def _take(self, data: bytes, time_s: float) -> None:
        self._advance(time_s)
        self._pointer = data[0]
        if len(data) == 1:
            return
        if self._pointer == _STATUS:
            self._updated &= data[1]
        elif self._pointer in (0x05, _DEVICE):
            self._registers[self._pointer] = data[1:2]
            self._since_s = time_s
            self._conversions = 0

    def _give(self, length: int, time_s: float) -> bytes:
        self._advance(time_s)
        status = self._updated | self._out_of_range
        if self._faulty(time_s):
            status |= _OUT_OF_RANGE
        if self._pointer == _STATUS:
            return bytes((status,))
        if self._pointer == _HOT:
            if self._fresh and length >= 2:
                self._fresh = False
                self._served(time_s, self._count, status)
            return self._count.to_bytes(2, "big", signed=True)
        if self._pointer == _COLD:
            return _COLD_JUNCTION.to_bytes(2, "big", signed=True)
        if self._pointer == _DELTA:
            return (self._count - _COLD_JUNCTION).to_bytes(2, "big", signed=True)
        return self._registers.get(self._pointer, b"")

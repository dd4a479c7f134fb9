"""SHT3x and SHT4x: temperature and humidity as words with a CRC-8.

Sources: Sensirion SHT3x-DIS data sheet (version 5, May 2018), 4.3 to 4.13, with the longest
measuring times of version 6 (from memory); SHT4x data sheet (version 7.1), commands and
longest measuring times as public drivers quote them.
"""

from dataclasses import dataclass

from pullcurve.bench.parts.part import (
    ROUNDING_S,
    Element,
    Imperfections,
    Nack,
    Part,
    Quantity,
    to_count,
)


def crc8(data: bytes) -> int:
    """CRC-8 with polynomial 0x31, start 0xFF, no reflection (SHT3x-DIS, table 20)."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x31 if crc & 0x80 else crc << 1) & 0xFF
    return crc


@dataclass(frozen=True)
class SensirionKind:
    """Facts of one family."""

    measure: dict[bytes, float]  # command and longest measuring time [s]
    answers: dict[bytes, tuple[int, ...]]  # command and the words it makes readable
    reset: bytes
    humidity_zero: float  # humidity at word 0, fraction of 1
    humidity_span: float


# Single shot without clock stretching; status register (alert and reset seen) and its clearing.
SHT3X = SensirionKind(
    {b"\x24\x00": 15.5e-3, b"\x24\x0b": 6.5e-3, b"\x24\x16": 4.5e-3},
    {b"\xf3\x2d": (0x8010,), b"\x30\x41": ()},
    b"\x30\xa2",
    0.0,
    1.0,
)
# The serial number is invented.
SHT4X = SensirionKind(
    {b"\xfd": 8.3e-3, b"\xf6": 4.5e-3, b"\xe0": 1.7e-3},
    {b"\x89": (0x0BAD, 0xCAFE)},
    b"\x94",
    -0.06,
    1.25,
)

_RESET_S = 1.5e-3  # longest soft reset of an SHT3x, from memory; an SHT4x needs 1 ms


class Sensirion(Part):
    """SHT3x or SHT4x; the first quantity is the temperature.

    A measuring command starts a measurement of the values at that instant. Until it is done,
    and once its words have been read, the part acknowledges nothing that it cannot answer.
    In a fault window every CRC is wrong. Not modelled, and not acknowledged: clock stretching,
    periodic modes, alert limits and the heater.
    """

    def __init__(
        self,
        address: int,
        errors: Imperfections,
        element: Element,
        humidity: Quantity,
        kind: SensirionKind,
    ) -> None:
        super().__init__(address, errors)
        self._element = element
        self._humidity = humidity
        self._kind = kind

    def _power_up(self, time_s: float) -> None:
        self._ready_s = time_s
        self._words: tuple[int, ...] = ()
        self._measured = False

    def _take(self, data: bytes, time_s: float) -> None:
        if time_s < self._ready_s:
            raise Nack
        kind = self._kind
        if data == kind.reset:
            self._power_up(time_s + _RESET_S)
        elif data in kind.answers:
            self._words = kind.answers[data]
            self._measured = False
        elif data in kind.measure:
            temperature = (self._element.at(time_s) + 45.0) * 65535 / 175
            fraction = (self._humidity(time_s) - kind.humidity_zero) / kind.humidity_span
            self._words = to_count(temperature, 0, 65535), to_count(fraction * 65535, 0, 65535)
            self._measured = True
            self._ready_s = time_s + kind.measure[data] - ROUNDING_S
        else:
            raise Nack

    def _give(self, length: int, time_s: float) -> bytes:
        if time_s < self._ready_s or not self._words:
            raise Nack
        spoilt = 0xFF if self._faulty(time_s) else 0
        answer = b""
        for word in self._words:
            pair = word.to_bytes(2, "big")
            answer += pair + bytes((crc8(pair) ^ spoilt,))
        if self._measured and length >= 2:
            self._served(time_s, self._words[0], 0)
        self._words = ()
        return answer

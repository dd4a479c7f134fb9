"""BME280 and BMP280: raw counts and trimming words behind registers.

Sources: Bosch Sensortec BST-BMP280-DS001-23 and BST-BME280-DS002-15: memory map, 3.3 (modes,
oversampling), 4.2.2 (trimming words), 8.1 (formulas in floating point), 9.1 of DS002 (longest
measuring times).
"""

import math
import struct
from collections.abc import Callable
from typing import NamedTuple

from pullcurve.bench.parts.part import (
    ROUNDING_S,
    Element,
    Imperfections,
    Part,
    Quantity,
)

_ID, _RESET, _CTRL_HUM, _STATUS, _CTRL_MEAS, _CONFIG = 0xD0, 0xE0, 0xF2, 0xF3, 0xF4, 0xF5
_DATA = 0xF7
_MEASURING = 0x08
_SKIPPED_20, _SKIPPED_16 = 0x80000, 0x8000
_STANDBY_S = {
    0x60: (0.5e-3, 62.5e-3, 0.125, 0.25, 0.5, 1.0, 0.01, 0.02),
    0x58: (0.5e-3, 62.5e-3, 0.125, 0.25, 0.5, 1.0, 2.0, 4.0),
}


class Trimming(NamedTuple):
    """The trimming words dig_T1 to dig_H6 under their names in the sheets."""

    T1: int = 27504
    T2: int = 26435
    T3: int = -1000
    P1: int = 36477
    P2: int = -10685
    P3: int = 3024
    P4: int = 2855
    P5: int = 140
    P6: int = -7
    P7: int = 15500
    P8: int = -14600
    P9: int = 6000
    H1: int = 75
    H2: int = 362
    H3: int = 0
    H4: int = 313
    H5: int = 50
    H6: int = 30


# Temperature and pressure words are those of the worked example in DS001-23, 3.12. The sheets
# publish no humidity words: these are invented and give counts of the usual size.
TRIMMING = Trimming()


def fine_temperature(adc: int, dig: Trimming) -> float:
    """t_fine of the sheet, 5120 per degree Celsius, from the raw temperature (8.1)."""
    offset = adc / 16384.0 - dig.T1 / 1024.0
    return offset * dig.T2 + (offset / 8.0) ** 2 * dig.T3


def pressure_pa(adc: int, fine: int, dig: Trimming) -> float:
    """Pressure [Pa] from the raw pressure (8.1); fine is t_fine cut to an integer."""
    a = fine / 2.0 - 64000.0
    b = (a * a * dig.P6 / 32768.0 + a * dig.P5 * 2.0) / 4.0 + dig.P4 * 65536.0
    c = (1.0 + (dig.P3 * a * a / 524288.0 + dig.P2 * a) / 524288.0 / 32768.0) * dig.P1
    p = (1048576.0 - adc - b / 4096.0) * 6250.0 / c
    return p + (dig.P9 * p * p / 2147483648.0 + p * dig.P8 / 32768.0 + dig.P7) / 16.0


def humidity_percent(adc: int, fine: int, dig: Trimming) -> float:
    """Relative humidity [%] from the raw humidity (DS002, 8.1), before its limits."""
    a = fine - 76800.0
    b = adc - (dig.H4 * 64.0 + dig.H5 / 16384.0 * a)
    c = 1.0 + dig.H3 / 67108864.0 * a
    h = b * dig.H2 / 65536.0 * (1.0 + dig.H6 / 67108864.0 * a * c) * c
    return h * (1.0 - dig.H1 * h / 524288.0)


def count_of(target: float, formula: Callable[[int], float], bits: int) -> int:
    """The count in 0..2^bits - 1 for which a monotonic formula comes nearest to the target."""
    low, high = 0, (1 << bits) - 1
    rising = formula(high) > formula(low)
    while high - low > 1:
        middle = (low + high) // 2
        if (formula(middle) < target) == rising:
            low = middle
        else:
            high = middle
    return min(low, high, key=lambda count: abs(formula(count) - target))


class Bosch(Part):
    """BME280 (with humidity) or BMP280; the first quantity is the pressure.

    The raw counts are those from which the sheet's formulas give the sensed pressure back.
    After power-up the part sleeps. Forced mode measures the values at the instant of the
    command, normal mode over and over. A measurement lasts the longest time of the sheet. A
    change of mode meanwhile waits for its end, and until then ctrl_hum and ctrl_meas take
    nothing more (3.3.1); config takes nothing in normal mode (DS002, 5.4.6, from memory). With
    the filter off a pressure or temperature has 16 bits and one more for each step of
    oversampling. In a fault window a measurement ends with the reset values of the data
    registers. Not modelled: the filter's lag and what oversampling does to noise.
    """

    def __init__(
        self,
        address: int,
        errors: Imperfections,
        element: Element,
        temperature_c: Quantity,
        humidity: Quantity | None,
    ) -> None:
        super().__init__(address, errors)
        self._element = element
        self._temperature_c = temperature_c
        self._humidity = humidity
        self._identity = 0x58 if humidity is None else 0x60

    def _power_up(self, time_s: float) -> None:  # noqa: ARG002
        self._registers = bytearray(256)
        self._registers[_ID] = self._identity
        self._registers[0x88:0xA0] = struct.pack("<HhhHhhhhhhhh", *TRIMMING[:12])
        if self._humidity is not None:
            dig = TRIMMING
            self._registers[0xA1] = dig.H1
            nibbles = dig.H4 & 0x0F | (dig.H5 & 0x0F) << 4
            self._registers[0xE1:0xE8] = struct.pack(
                "<hBbBbb", dig.H2, dig.H3, dig.H4 >> 4, nibbles, dig.H5 >> 4, dig.H6
            )
        self._pointer = 0
        self._osrs_h = 0  # takes effect with the next write to ctrl_meas
        self._started_s: float | None = None  # of the measurements in the present mode
        self._cycles = -1  # the last finished of them
        self._waiting: tuple[float, int] | None = None  # end of measurement, next ctrl_meas
        self._fresh = False
        self._store(_SKIPPED_20, _SKIPPED_20, _SKIPPED_16)

    def _take(self, data: bytes, time_s: float) -> None:
        self._advance(time_s)
        self._pointer = data[0]
        # A longer write is a chain of register and value.
        for register, value in zip(data[::2], data[1::2], strict=False):
            self._set(register, value, time_s)

    def _set(self, register: int, value: int, time_s: float) -> None:
        if register == _RESET:
            if value == 0xB6:
                self._power_up(time_s)
            return
        if register == _CONFIG:
            if not self._normal():
                self._registers[register] = value
        elif self._waiting is not None:
            return
        elif register == _CTRL_HUM and self._humidity is not None:
            self._registers[register] = value
        elif register == _CTRL_MEAS:
            if self._measuring(time_s):
                end_s = time_s + self._measuring_s() - self._elapsed_s(time_s) + ROUNDING_S
                self._waiting = end_s, value
            else:
                self._switch(value, time_s)

    def _switch(self, control: int, time_s: float) -> None:
        self._registers[_CTRL_MEAS] = control
        self._osrs_h = self._registers[_CTRL_HUM] & 0x07
        self._started_s = time_s if control & 0x03 else None
        self._cycles = -1

    def _normal(self) -> bool:
        return self._registers[_CTRL_MEAS] & 0x03 == 0x03

    def _measuring_s(self) -> float:
        control = self._registers[_CTRL_MEAS]
        duration = 1.25e-3 + 2.3e-3 * _samples(control >> 5)
        for samples in (_samples(control >> 2), _samples(self._osrs_h)):
            duration += 2.3e-3 * samples + 0.575e-3 if samples else 0.0
        return duration - ROUNDING_S

    def _cycle_s(self) -> float:
        standby = _STANDBY_S[self._identity][self._registers[_CONFIG] >> 5]
        return self._measuring_s() + standby

    def _elapsed_s(self, time_s: float) -> float:
        """Time since the present measurement or cycle began; infinite in sleep mode."""
        if self._started_s is None:
            return math.inf
        elapsed_s = time_s - self._started_s
        return elapsed_s % self._cycle_s() if self._normal() else elapsed_s

    def _measuring(self, time_s: float) -> bool:
        return self._elapsed_s(time_s) < self._measuring_s()

    def _advance(self, time_s: float) -> None:
        """Bring the registers up to this time."""
        if self._waiting is not None and time_s >= self._waiting[0]:
            end_s, control = self._waiting
            self._waiting = None
            self._finish(end_s)
            self._switch(control, end_s)
        self._finish(time_s)

    def _finish(self, time_s: float) -> None:
        if self._started_s is None:
            return
        over_s = time_s - self._started_s - self._measuring_s()
        if over_s < 0.0:
            return
        if self._normal():
            cycles = int(over_s / self._cycle_s())
            if cycles > self._cycles:
                self._cycles = cycles
                self._convert(self._started_s + cycles * self._cycle_s())
            return
        self._convert(self._started_s)
        self._started_s = None
        self._registers[_CTRL_MEAS] &= ~0x03

    def _convert(self, time_s: float) -> None:
        self._fresh = True
        if self._faulty(time_s):
            self._store(_SKIPPED_20, _SKIPPED_20, _SKIPPED_16)
            return
        control, dig = self._registers[_CTRL_MEAS], TRIMMING
        celsius = self._temperature_c(time_s)
        t = count_of(celsius * 5120.0, lambda adc: fine_temperature(adc, dig), 20)
        t = self._cut(t, control >> 5)
        fine = int(fine_temperature(t, dig))
        p = count_of(self._element.at(time_s), lambda adc: pressure_pa(adc, fine, dig), 20)
        p = self._cut(p, control >> 2)
        h = _SKIPPED_16
        if self._humidity is not None and self._osrs_h:
            percent = min(max(100.0 * self._humidity(time_s), 0.0), 100.0)
            h = count_of(percent, lambda adc: humidity_percent(adc, fine, dig), 16)
        self._store(p, t, h)

    def _cut(self, count: int, osrs: int) -> int:
        steps = min(osrs & 0x07, 5)
        if not steps:
            return _SKIPPED_20
        if self._registers[_CONFIG] >> 2 & 0x07:
            return count
        coarse = 1 << 5 - steps
        return min(round(count / coarse) * coarse, (1 << 20) - coarse)

    def _store(self, pressure: int, temperature: int, humidity: int) -> None:
        self._count = pressure
        data = (pressure << 4).to_bytes(3, "big") + (temperature << 4).to_bytes(3, "big")
        if self._humidity is not None:
            data += humidity.to_bytes(2, "big")
        self._registers[_DATA : _DATA + len(data)] = data

    def _give(self, length: int, time_s: float) -> bytes:
        self._advance(time_s)
        self._registers[_STATUS] = _MEASURING if self._measuring(time_s) else 0
        first, self._pointer = self._pointer, (self._pointer + length) & 0xFF
        if self._fresh and first <= _DATA and first + length >= _DATA + 3:
            self._fresh = False
            self._served(time_s, self._count, 0)
        return bytes(self._registers[first:])


def _samples(osrs: int) -> int:
    """How many samples an oversampling setting takes: 0, 1, 2, 4, 8, 16."""
    setting = min(osrs & 0x07, 5)
    return 1 << setting - 1 if setting else 0

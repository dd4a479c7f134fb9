"""LPS22HB: absolute pressure and temperature behind registers.

Source: ST data sheet DocID027083 (LPS22HB), register names and bits as in ST's own driver;
transfer of 4096 counts per hPa and 100 counts per degree from memory.
"""

from pullcurve.bench.parts.part import (
    ROUNDING_S,
    Element,
    Imperfections,
    Part,
    Quantity,
    to_count,
)

_WHO_AM_I, _CTRL_REG1, _CTRL_REG2, _STATUS = 0x0F, 0x10, 0x11, 0x27
_PRESS_OUT, _PRESS_OUT_H, _TEMP_OUT_H = 0x28, 0x2A, 0x2C
_ONE_SHOT, _SOFT_RESET, _INCREMENT = 0x01, 0x04, 0x10
_P_READY, _T_READY = 0x01, 0x02
_RATE_HZ = (0.0, 1.0, 10.0, 25.0, 50.0, 75.0, 0.0, 0.0)  # by the three ODR bits
_ONE_SHOT_S = 13e-3  # from memory


class Lps22hb(Part):
    """LPS22HB; the first quantity is the pressure.

    After power-up the part sleeps. A rate in CTRL_REG1 makes it convert at that rate, the
    first value one period later; ONE_SHOT with the rate off makes one conversion of the values
    at that instant. STATUS tells new values, and reading an output's high byte takes its bit
    back. In a fault window no conversion is finished. Not modelled: FIFO, filter, interrupts,
    overrun bits and block data update, so the outputs belong in one burst.
    """

    def __init__(
        self, address: int, errors: Imperfections, element: Element, temperature_c: Quantity
    ) -> None:
        super().__init__(address, errors)
        self._element = element
        self._temperature_c = temperature_c

    def _power_up(self, time_s: float) -> None:
        self._registers = bytearray(128)
        self._registers[_WHO_AM_I] = 0xB1
        self._registers[_CTRL_REG2] = _INCREMENT
        self._pointer = 0
        self._since_s = time_s  # when the rate was set
        self._conversions = 0  # since then
        self._one_shot_s: float | None = None
        self._count = 0

    def _take(self, data: bytes, time_s: float) -> None:
        self._advance(time_s)
        self._pointer = data[0] & 0x7F
        for value in data[1:]:
            self._set(self._pointer, value, time_s)
            self._step()

    def _set(self, register: int, value: int, time_s: float) -> None:
        if register == _CTRL_REG1:
            self._registers[register] = value
            self._since_s = time_s
            self._conversions = 0
        elif register == _CTRL_REG2:
            if value & _SOFT_RESET:
                self._power_up(time_s)
                return
            self._registers[register] = value
            if value & _ONE_SHOT and not self._rate_hz():
                self._one_shot_s = time_s

    def _step(self) -> None:
        if self._registers[_CTRL_REG2] & _INCREMENT:
            self._pointer = (self._pointer + 1) & 0x7F

    def _rate_hz(self) -> float:
        return _RATE_HZ[self._registers[_CTRL_REG1] >> 4 & 0x07]

    def _advance(self, time_s: float) -> None:
        rate_hz = self._rate_hz()
        if rate_hz:
            done = int((time_s - self._since_s + ROUNDING_S) * rate_hz)
            if done > self._conversions:
                self._conversions = done
                self._convert(self._since_s + done / rate_hz)
        if self._one_shot_s is not None:
            if time_s < self._one_shot_s + _ONE_SHOT_S - ROUNDING_S:
                return
            self._convert(self._one_shot_s)
            self._one_shot_s = None
            self._registers[_CTRL_REG2] &= ~_ONE_SHOT

    def _convert(self, time_s: float) -> None:
        if self._faulty(time_s):
            return
        self._count = to_count(self._element.at(time_s) * 40.96, -(2**23), 2**23 - 1)
        temperature = to_count(self._temperature_c(time_s) * 100, -(2**15), 2**15 - 1)
        self._registers[_PRESS_OUT : _TEMP_OUT_H + 1] = self._count.to_bytes(
            3, "little", signed=True
        ) + temperature.to_bytes(2, "little", signed=True)
        self._registers[_STATUS] = _P_READY | _T_READY

    def _give(self, length: int, time_s: float) -> bytes:
        self._advance(time_s)
        answer = bytearray()
        touched = []
        for _ in range(length):
            answer.append(self._registers[self._pointer])
            touched.append(self._pointer)
            self._step()
        if _PRESS_OUT_H in touched and self._registers[_STATUS] & _P_READY:
            self._registers[_STATUS] &= ~_P_READY
            self._served(time_s, self._count, 0)
        if _TEMP_OUT_H in touched:
            self._registers[_STATUS] &= ~_T_READY
        return bytes(answer)

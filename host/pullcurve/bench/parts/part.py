"""What all simulated parts share: the truth, its imperfections and the bus side.

A part is seen as the I2C bus sees it. Times are the bench's seconds and never run backwards.
"""

import math
import random
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Quantity = Callable[[float], float]
"""A physical value as a function of time [s]."""

Windows = tuple[tuple[float, float], ...]
"""Stretches of time (from_s, to_s), the end not included."""

CountLog = Callable[[float, int, int], None]
"""Called with the time of a bus read [s], the raw count and the part's own status bits."""

REFERENCE_TEMPERATURE_C = 25.0

# A wait of exactly the sheet's time must end the conversion, whatever the last bit of the
# two floats is. A nanosecond is above that bit for runs of up to a month.
ROUNDING_S = 1e-9


class Nack(Exception):  # noqa: N818  (the bus's own word for it)
    """The part does not acknowledge. The bench's bus turns this into the board's OSError."""


@dataclass(frozen=True, kw_only=True)
class PhysicalValues:
    """What is true at the part's place, as functions of time; None where it cannot be asked.

    Pressures in Pa (pressure_pa is absolute), temperature in degrees Celsius, relative
    humidity as a fraction of 1.
    """

    differential_pressure_pa: Quantity | None = None
    pressure_pa: Quantity | None = None
    temperature_c: Quantity | None = None
    humidity: Quantity | None = None


@dataclass(frozen=True, kw_only=True)
class Imperfections:
    """How a part deviates from the truth.

    The errors down to `warm_up_s` belong to the part's first quantity, in its SI unit: the
    pressure of a pressure part, the temperature of the others. A value x is sensed as

        x (1 + gain_error + gain_per_k (T - 25 C)) + n_2 T_2(u) + n_3 T_3(u)
          + zero_error + zero_drift_per_s t + zero_per_k (T - 25 C)
          + warm_up_error exp(-t / warm_up_s) + noise

    with the Chebyshev polynomials T_2, T_3 of u, which goes from -1 to 1 over the range: no
    straight line comes nearer to such a curve. What is sensed ends at `stops_pa`.
    """

    zero_error: float = 0.0
    zero_drift_per_s: float = 0.0
    zero_per_k: float = 0.0
    gain_error: float = 0.0
    gain_per_k: float = 0.0
    nonlinearity: tuple[float, float] = (0.0, 0.0)
    stops_pa: tuple[float, float] | None = None
    noise: float = 0.0  # standard deviation, Gaussian, independent from sample to sample
    warm_up_error: float = 0.0
    warm_up_s: float = 300.0
    temperature_error_k: float = 0.0  # of a second channel
    humidity_error: float = 0.0  # likewise, as a fraction of 1
    vanish: Windows = ()  # without power: no answer, then registers as after power-up
    faults: Windows = ()  # the part reports its own failure; each part says how
    stuck: Windows = ()  # the last value is repeated as if it were new


def within(windows: Windows, time_s: float) -> bool:
    """Whether the time lies in one of the windows."""
    return any(start <= time_s < end for start, end in windows)


def deviation(
    errors: Imperfections,
    range_pa: tuple[float, float] | None,
    value: Any,
    time_s: Any,
    temperature_c: Any,
) -> Any:
    """What the element makes of `value`, without noise and stops. Floats or arrays."""
    kelvins = temperature_c - REFERENCE_TEMPERATURE_C
    sensed = value * (1.0 + errors.gain_error + errors.gain_per_k * kelvins)
    if range_pa is not None and any(errors.nonlinearity):
        u = (2 * value - range_pa[0] - range_pa[1]) / (range_pa[1] - range_pa[0])
        second, third = errors.nonlinearity
        sensed = sensed + second * (2 * u**2 - 1) + third * (4 * u**3 - 3 * u)
    sensed = sensed + errors.zero_error + errors.zero_drift_per_s * time_s
    if errors.zero_per_k:
        sensed = sensed + errors.zero_per_k * kelvins
    if errors.warm_up_error:
        sensed = sensed + errors.warm_up_error * math.e ** (-time_s / errors.warm_up_s)
    return sensed


class Element:
    """The sensing element of a part's first quantity."""

    def __init__(
        self,
        truth: Quantity,
        temperature_c: Quantity,
        errors: Imperfections,
        rng: random.Random,
        range_pa: tuple[float, float] | None,
    ) -> None:
        self._truth = truth
        self._temperature_c = temperature_c
        self._errors = errors
        self._rng = rng
        self._range_pa = range_pa
        self._feels_heat = bool(errors.zero_per_k or errors.gain_per_k)
        self._last: float | None = None

    def at(self, time_s: float) -> float:
        """The value sensed at this time, in SI. Each call draws noise anew."""
        stuck = self._errors.stuck and within(self._errors.stuck, time_s)
        if self._last is None or not stuck:
            self._last = self._sense(time_s)
        return self._last

    def _sense(self, time_s: float) -> float:
        errors = self._errors
        celsius = self._temperature_c(time_s) if self._feels_heat else REFERENCE_TEMPERATURE_C
        value: float = deviation(errors, self._range_pa, self._truth(time_s), time_s, celsius)
        if errors.noise:
            value += self._rng.gauss(0.0, errors.noise)
        if errors.stops_pa is not None:
            value = min(max(value, errors.stops_pa[0]), errors.stops_pa[1])
        return value


class Part(ABC):
    """One part on the bus.

    `on_count`, when set, is called for each bus read that hands out a new value of the first
    quantity whole: not for stale, busy or repeated frames.
    """

    def __init__(self, address: int, errors: Imperfections) -> None:
        self.address = address
        self.on_count: CountLog | None = None
        self._faults = errors.faults
        # Nothing has power before time 0, so the first transfer powers the part up.
        self._absences = [(-math.inf, 0.0), *sorted(errors.vanish)]

    def write(self, data: bytes, time_s: float) -> None:
        """One write transfer. Raises Nack where the part would not acknowledge."""
        self._listen(time_s)
        if data:
            self._take(data, time_s)

    def read(self, length: int, time_s: float) -> bytes:
        """One read transfer. Raises Nack where the part would not acknowledge.

        Past the part's last byte nobody drives the bus, and it reads 0xFF.
        """
        self._listen(time_s)
        answer = self._give(length, time_s)
        return answer[:length] if length <= len(answer) else answer.ljust(length, b"\xff")

    def _listen(self, time_s: float) -> None:
        while self._absences and self._absences[0][0] <= time_s:
            if time_s < self._absences[0][1]:
                raise Nack
            self._power_up(self._absences.pop(0)[1])

    def _served(self, time_s: float, count: int, status: int) -> None:
        if self.on_count is not None:
            self.on_count(time_s, count, status)

    def _faulty(self, time_s: float) -> bool:
        return bool(self._faults) and within(self._faults, time_s)

    @abstractmethod
    def _power_up(self, time_s: float) -> None:
        """Set the state that the part has after power-up at this time."""

    @abstractmethod
    def _take(self, data: bytes, time_s: float) -> None:
        """Act on the bytes of a write; there is at least one."""

    @abstractmethod
    def _give(self, length: int, time_s: float) -> bytes:
        """The bytes from the part's present place on; more or fewer than length."""


def to_count(value: float, lowest: int, highest: int) -> int:
    """The nearest count, held between two stops."""
    return min(max(round(value), lowest), highest)

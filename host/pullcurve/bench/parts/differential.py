"""Parts for differential (or absolute) pressure whose count is linear in a rated range.

Sources: Honeywell HSC data sheet 50099148 and technical note TN 008201-3 (frame, status);
TE Connectivity MS4525DO data sheet, January 2011, 1.6 (frame, status); Honeywell ABP2 data
sheet 32350268 (command, counts); All Sensors DS-0355, tables 1 to 3 (command, frame, status).
"""

from dataclasses import dataclass

from pullcurve.bench.parts.part import (
    ROUNDING_S,
    Element,
    Imperfections,
    Part,
    Quantity,
    to_count,
)


@dataclass(frozen=True)
class FreeRunningKind:
    """Facts of a part that converts by itself, 14 bits of pressure and 11 of temperature."""

    period_s: float  # from one update of the output to the next
    count_low: float  # at the low end of the range
    count_high: float
    stop_low: int  # where the count stops when the pressure goes on
    stop_high: int


# 10 % and 90 % of 2^14 (output type A); the stops near 2.5 % and 97.5 % are from memory.
HSC = FreeRunningKind(1 / 2000, 1638, 14746, 410, 15974)
# Counts of the sheet's type A; the update rate and the stops are from memory.
MS4525DO = FreeRunningKind(1 / 1000, 1638, 14745, 410, 15974)

_OK, _STALE, _DIAGNOSTIC = 0b00, 0b10, 0b11


class FreeRunning(Part):
    """HSC, SSC or MS4525DO.

    A read hands out 2 to 4 bytes: status and 14 bits of pressure, then 11 bits of temperature,
    left-adjusted. A second read of the same update says "stale". Updates fall at `phase` of
    each period, for the part's clock and the board's are strangers. In a fault window the
    status is "diagnostic". The part has no registers: writes are acknowledged and do nothing.
    """

    def __init__(
        self,
        address: int,
        errors: Imperfections,
        element: Element,
        temperature_c: Quantity,
        *,
        kind: FreeRunningKind,
        range_pa: tuple[float, float],
        phase: float,
    ) -> None:
        super().__init__(address, errors)
        self._element = element
        self._temperature_c = temperature_c
        self._kind = kind
        self._phase_s = phase * kind.period_s
        self._low_pa = range_pa[0]
        self._counts_per_pa = (kind.count_high - kind.count_low) / (range_pa[1] - range_pa[0])

    def _power_up(self, time_s: float) -> None:  # noqa: ARG002
        self._update: int | None = None
        self._count = 0

    def _take(self, data: bytes, time_s: float) -> None:
        pass

    def _give(self, length: int, time_s: float) -> bytes:
        kind = self._kind
        update = int((time_s - self._phase_s) // kind.period_s)
        updated_s = self._phase_s + update * kind.period_s
        status = _STALE
        if update != self._update:
            self._update = update
            pressure_pa = self._element.at(max(updated_s, 0.0))
            count = kind.count_low + (pressure_pa - self._low_pa) * self._counts_per_pa
            self._count = to_count(count, kind.stop_low, kind.stop_high)
            status = _OK
        fresh = status == _OK
        if self._faulty(time_s):
            status = _DIAGNOSTIC
        if fresh and length >= 2:
            self._served(time_s, self._count, status)
        frame = bytes((status << 6 | self._count >> 8, self._count & 0xFF))
        if length <= 2:
            return frame
        temperature_c = self._temperature_c(max(updated_s, 0.0))
        word = to_count((temperature_c + 50.0) * 2047 / 200, 0, 2047) << 5
        return frame + word.to_bytes(2, "big")


@dataclass(frozen=True)
class CommandedKind:
    """Facts of a part that converts on command, 24 bits of pressure and of temperature."""

    samples: dict[int, int]  # what one command byte averages
    conversion_s: float  # of one sample
    count_low: float
    count_high: float
    temperature_low_c: float  # at count 0
    temperature_counts_per_k: float


ABP2 = CommandedKind({0xAA: 1}, 5e-3, 1677722, 15099494, -50.0, (2**24 - 1) / 200)
# P = 1.25 (N - OS) / 2^24 FSS with OS at half of 2^24 (two-sided) or a tenth (one-sided): in
# both cases the ends of the range lie at 10 % and 90 %. The time of an average as a multiple
# of the single conversion is from memory.
DLH = CommandedKind(
    {0xAA: 1, 0xAC: 2, 0xAD: 4, 0xAE: 8, 0xAF: 16},
    5e-3,
    0.1 * 2**24,
    0.9 * 2**24,
    -40.0,
    2**24 / 125,
)

_POWERED, _BUSY, _MEMORY_ERROR, _SATURATED = 0x40, 0x20, 0x04, 0x01
_FULL = 2**24 - 1


class Commanded(Part):
    """ABP2 or DLH.

    A command (first byte 0xAA, for the DLH also the averages) starts a conversion; a read
    hands out the status byte, then pressure and temperature with three bytes each. While the
    conversion runs the status says busy, the old values stand, and commands do nothing.

    The sample is taken at the instant of the command, the later ones of an average one
    conversion apart: the averaging inside one conversion is left out, so pulsation reaches the
    count undamped. The count stops at the ends of 24 bits, where bit 0 is set (the place is
    from memory). In a fault window the memory error bit is set. Before the first command the
    values are zero, and the low bits that DS-0355 leaves undefined follow the pressure.
    """

    def __init__(
        self,
        address: int,
        errors: Imperfections,
        element: Element,
        temperature_c: Quantity,
        *,
        kind: CommandedKind,
        range_pa: tuple[float, float],
    ) -> None:
        super().__init__(address, errors)
        self._element = element
        self._temperature_c = temperature_c
        self._kind = kind
        self._low_pa = range_pa[0]
        self._counts_per_pa = (kind.count_high - kind.count_low) / (range_pa[1] - range_pa[0])

    def _power_up(self, time_s: float) -> None:
        self._ready_s = time_s
        self._values = bytes(6)
        self._status = _POWERED
        self._pending: tuple[float, float] | None = None  # pressure and time of the command
        self._count = 0
        self._fresh = False

    def _take(self, data: bytes, time_s: float) -> None:
        kind = self._kind
        samples = kind.samples.get(data[0])
        if samples is None or time_s < self._ready_s:
            return
        self._finish()
        times_s = [time_s + i * kind.conversion_s for i in range(samples)]
        mean_pa = sum(self._element.at(each) for each in times_s) / samples
        self._pending = mean_pa, time_s
        self._ready_s = time_s + samples * kind.conversion_s - ROUNDING_S

    def _finish(self) -> None:
        if self._pending is None:
            return
        kind = self._kind
        pressure_pa, started_s = self._pending
        self._pending = None
        exact = kind.count_low + (pressure_pa - self._low_pa) * self._counts_per_pa
        self._count = to_count(exact, 0, _FULL)
        kelvins = self._temperature_c(started_s) - kind.temperature_low_c
        temperature = to_count(kelvins * kind.temperature_counts_per_k, 0, _FULL)
        self._values = self._count.to_bytes(3, "big") + temperature.to_bytes(3, "big")
        self._status = _POWERED | (_SATURATED if not 0 <= round(exact) <= _FULL else 0)
        self._fresh = True

    def _give(self, length: int, time_s: float) -> bytes:
        busy = time_s < self._ready_s
        if not busy:
            self._finish()
        status = self._status | (_BUSY if busy else 0)
        if self._faulty(time_s):
            status |= _MEMORY_ERROR
        if self._fresh and not busy and length >= 4:
            self._fresh = False
            self._served(time_s, self._count, status)
        return bytes((status,)) + self._values

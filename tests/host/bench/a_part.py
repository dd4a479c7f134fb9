"""One sensor part of the bench with the true values it sees, for the tests of the parts."""

from collections.abc import Callable

from pullcurve.bench.parts import Imperfections, Part, PhysicalValues, build_part

RANGE_PA = (-2500.0, 2500.0)
RANGED = ("HSC", "SSC", "MS4525DO", "ABP2", "DLH")
COMMAND = b"\xaa\x00\x00"


def constant(value: float) -> Callable[[float], float]:
    return lambda time_s: value


def values(dp=0.0, pressure=84_300.0, temperature=20.0, humidity=0.4) -> PhysicalValues:
    return PhysicalValues(
        differential_pressure_pa=dp if callable(dp) else constant(dp),
        pressure_pa=pressure if callable(pressure) else constant(pressure),
        temperature_c=temperature if callable(temperature) else constant(temperature),
        humidity=constant(humidity),
    )


def build(part: str, truth: PhysicalValues | None = None, seed=1, range_pa=RANGE_PA, **errors):
    rated = range_pa if part in RANGED else None
    return build_part(part, 0x28, truth or values(), Imperfections(**errors), seed, rated)


def registers(part: Part, first: int, length: int, time_s: float) -> bytes:
    part.write(bytes([first]), time_s)
    return part.read(length, time_s)


def frame(part: Part, time_s: float) -> bytes:
    """The whole frame of a part with a rated range, by its own kind of transfer."""
    data = part.read(4, time_s)
    if data[0] == 0x40 and data[1:4] == bytes(3):
        part.write(COMMAND, time_s)
        return part.read(7, time_s + 5e-3)
    return data


def pressure_count(data: bytes) -> int:
    if len(data) == 4:
        return int.from_bytes(data[:2], "big") & 0x3FFF
    return int.from_bytes(data[1:4], "big")

"""Sensor parts as the I2C bus sees them, built from a truth and its imperfections.

They are written from data sheets, independently of the firmware's drivers, so that each side
checks the other.
"""

import math
import random

from pullcurve.bench.parts.bosch import Bosch
from pullcurve.bench.parts.differential import (
    ABP2,
    DLH,
    HSC,
    MS4525DO,
    Commanded,
    CommandedKind,
    FreeRunning,
    FreeRunningKind,
)
from pullcurve.bench.parts.lps22hb import Lps22hb
from pullcurve.bench.parts.mcp9600 import Mcp9600
from pullcurve.bench.parts.part import (
    REFERENCE_TEMPERATURE_C,
    Element,
    Imperfections,
    Nack,
    Part,
    PhysicalValues,
    Quantity,
)
from pullcurve.bench.parts.sensirion import SHT3X, SHT4X, Sensirion
from pullcurve.errors import ScenarioError

__all__ = ["PART_NAMES", "Imperfections", "Nack", "Part", "PhysicalValues", "build_part"]

_RANGED: dict[str, FreeRunningKind | CommandedKind] = {
    "HSC": HSC,
    "SSC": HSC,  # the same frame and counts, a wider error band
    "MS4525DO": MS4525DO,
    "ABP2": ABP2,
    "DLH": DLH,
}
_SENSIRION = {"SHT3x": SHT3X, "SHT4x": SHT4X}

PART_NAMES = (*_RANGED, "BME280", "BMP280", "LPS22HB", *_SENSIRION, "MCP9600")


def build_part(
    part: str,
    address: int,
    values: PhysicalValues,
    imperfections: Imperfections,
    seed: int,
    range_pa: tuple[float, float] | None,
) -> Part:
    """A simulated part.

    part: one of PART_NAMES. address: 7 bits. range_pa: both ends of the rated range of a part
    that is sold in ranges, None for the others. Such a part measures values'
    differential pressure, or the absolute pressure where there is none. A pressure part whose
    temperature is not given stands at 25 C. Equal seed, truth and transfers give equal bytes.
    Raises ScenarioError for what cannot be built.
    """
    if part not in PART_NAMES:
        raise ScenarioError(
            f"sensor part {part}: not one the bench knows; it knows {', '.join(PART_NAMES)}"
        )
    if not 0x08 <= address <= 0x77:
        raise ScenarioError(
            f"sensor part {part}: address {address:#04x} is not a free 7-bit address; "
            "these are 0x08 to 0x77"
        )
    rng = random.Random(seed)  # noqa: S311  (noise, not a secret)
    errors = imperfections
    true_c = values.temperature_c or _reference_temperature_c

    def element(quantity: Quantity | None, name: str) -> Element:
        return Element(_needed(part, quantity, name), true_c, errors, rng, range_pa)

    def seen_c(time_s: float) -> float:
        return true_c(time_s) + errors.temperature_error_k

    def seen_humidity() -> Quantity:
        truth = _needed(part, values.humidity, "humidity")
        return lambda time_s: truth(time_s) + errors.humidity_error

    kind = _RANGED.get(part)
    if kind is not None:
        ends = _rated_range(part, range_pa)
        truth = values.differential_pressure_pa or values.pressure_pa
        pressure = element(truth, "differential_pressure_pa or pressure_pa")
        if isinstance(kind, FreeRunningKind):
            phase = rng.random()
            return FreeRunning(
                address, errors, pressure, seen_c, kind=kind, range_pa=ends, phase=phase
            )
        return Commanded(address, errors, pressure, seen_c, kind=kind, range_pa=ends)
    if range_pa is not None:
        raise ScenarioError(f"sensor part {part}: it comes in one range; leave the range out")
    if part in _SENSIRION:
        temperature = element(values.temperature_c, "temperature_c")
        return Sensirion(address, errors, temperature, seen_humidity(), _SENSIRION[part])
    if part == "MCP9600":
        return Mcp9600(address, errors, element(values.temperature_c, "temperature_c"))
    pressure = element(values.pressure_pa, "pressure_pa")
    if part == "LPS22HB":
        return Lps22hb(address, errors, pressure, seen_c)
    humidity = seen_humidity() if part == "BME280" else None
    return Bosch(address, errors, pressure, seen_c, humidity)


def _reference_temperature_c(time_s: float) -> float:  # noqa: ARG001
    return REFERENCE_TEMPERATURE_C


def _needed(part: str, quantity: Quantity | None, name: str) -> Quantity:
    if quantity is None:
        raise ScenarioError(f"sensor part {part}: needs a true value of {name}; give one")
    return quantity


def _rated_range(part: str, range_pa: tuple[float, float] | None) -> tuple[float, float]:
    if range_pa is None:
        raise ScenarioError(
            f"sensor part {part}: sold in many ranges; give both ends of this one in pascal"
        )
    low, high = range_pa
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise ScenarioError(
            f"sensor part {part}: range {low:g} to {high:g} Pa; the low end comes first"
        )
    return range_pa

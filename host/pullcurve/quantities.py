"""Units at the edges: text that people write into SI floats, and SI floats into print.

Inside the package every number is SI; only rotational speed stays in rev/min, and its
names say so (`speed_rpm`). The factors are exact fractions, so `5.693 in` and
`144.6022 mm` give the same float to the last bit.

A unit never says gauge or absolute, actual or standard: the key or the column does.

Sources of the factors: the international yard and pound agreement of 1959 (inch, pound);
the standard acceleration of free fall of the 3rd CGPM, 1901; NIST Special Publication
811:2008, appendix B (conventional inches of water and of mercury; inch of water at 60 °F,
from a measured density, five digits).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final, Literal, NamedTuple, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Kind = Literal[
    "length",
    "area",
    "volume",
    "pressure",
    "temperature",
    "temperature_difference",
    "volume_flow",
    "mass_flow",
    "velocity",
    "speed",
    "ratio",
]
_Value = TypeVar("_Value", float, "NDArray[np.float64]")


class Unit(NamedTuple):
    """SI value = number * factor + offset; only temperatures have an offset."""

    factor: Fraction
    offset: Fraction = Fraction(0)


_INCH = Fraction("0.0254")
_FOOT = 12 * _INCH
_POUND = Fraction("0.45359237")
_FREE_FALL = Fraction("9.80665")
_MM = Fraction(1, 1000)
_WATER = 1000 * _FREE_FALL  # Pa per metre, conventional
_MERCURY = Fraction("13595.1") * _FREE_FALL
_KELVIN_PER_F = Fraction(5, 9)
_ZERO_CELSIUS = Fraction("273.15")


def _scaled(**factors: Fraction | int) -> dict[str, Unit]:
    return {unit.replace("_per_", "/"): Unit(Fraction(factor)) for unit, factor in factors.items()}


# The spelling that stands first in each kind is SI.
UNITS: Final[dict[Kind, dict[str, Unit]]] = {
    "length": _scaled(m=1, cm=10 * _MM, mm=_MM, **{"in": _INCH}, ft=_FOOT),
    "area": _scaled(m2=1, cm2=(10 * _MM) ** 2, mm2=_MM**2, in2=_INCH**2, ft2=_FOOT**2),
    "volume": _scaled(m3=1, L=_MM, cm3=(10 * _MM) ** 3, in3=_INCH**3, ft3=_FOOT**3),
    "pressure": _scaled(
        Pa=1,
        hPa=100,
        kPa=1000,
        mbar=100,
        bar=100_000,
        psi=_POUND * _FREE_FALL / _INCH**2,
        inH2O=_INCH * _WATER,  # conventional: 249.08891 Pa
        inH2O_60F=Fraction("248.84"),
        mmH2O=_MM * _WATER,
        inHg=_INCH * _MERCURY,  # conventional: 3386.38864 Pa
        mmHg=_MM * _MERCURY,
    ),
    "temperature": {
        "K": Unit(Fraction(1)),
        "C": Unit(Fraction(1), _ZERO_CELSIUS),
        "°C": Unit(Fraction(1), _ZERO_CELSIUS),
        "F": Unit(_KELVIN_PER_F, Fraction("459.67") * _KELVIN_PER_F),
        "°F": Unit(_KELVIN_PER_F, Fraction("459.67") * _KELVIN_PER_F),
    },
    "temperature_difference": {
        "K": Unit(Fraction(1)),
        "C": Unit(Fraction(1)),
        "°C": Unit(Fraction(1)),
        "F": Unit(_KELVIN_PER_F),
        "°F": Unit(_KELVIN_PER_F),
    },
    "volume_flow": _scaled(
        m3_per_s=1,
        m3_per_min=Fraction(1, 60),
        m3_per_h=Fraction(1, 3600),
        L_per_s=_MM,
        L_per_min=_MM / 60,
        ft3_per_min=_FOOT**3 / 60,
        cfm=_FOOT**3 / 60,  # read, never printed: it says no state
    ),
    "mass_flow": _scaled(
        kg_per_s=1, kg_per_h=Fraction(1, 3600), lb_per_s=_POUND, lb_per_min=_POUND / 60
    ),
    "velocity": _scaled(m_per_s=1, ft_per_s=_FOOT, ft_per_min=_FOOT / 60),
    "speed": {"rpm": Unit(Fraction(1)), "rev/min": Unit(Fraction(1))},
    "ratio": {"%": Unit(Fraction(1, 100))},
}

# Exact or conventional, for code that computes in SI and speaks of other units.
INCH_M: Final = float(UNITS["length"]["in"].factor)
PSI_PA: Final = float(UNITS["pressure"]["psi"].factor)
INHG_PA: Final = float(UNITS["pressure"]["inHg"].factor)
CFM_M3_S: Final = float(UNITS["volume_flow"]["cfm"].factor)
FREE_FALL: Final = float(_FREE_FALL)  # m/s², standard
ZERO_CELSIUS: Final = float(_ZERO_CELSIUS)  # K

_EXAMPLES: Final[dict[Kind, str]] = {
    "length": '"5.693 in" or "5 11/16 in"',
    "area": '"12.5 cm2"',
    "volume": '"0.565 ft3"',
    "pressure": '"94.1 kPa"',
    "temperature": '"12 C"',
    "temperature_difference": '"0.5 K"',
    "volume_flow": '"1300 ft3/min"',
    "mass_flow": '"0.4 kg/s"',
    "velocity": '"60 m/s"',
    "speed": '"2200 rpm"',
    "ratio": '"1.5 %"',
}

# The exponent has two digits at most, so that no text can ask for a number of any size.
_QUANTITY = re.compile(
    r"(?P<sign>[+-]?)"
    r"(?:(?:(?P<whole>[0-9]+) +)?(?P<fraction>[0-9]+/[0-9]+)"
    r"|(?P<decimal>(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?))"
    r"\s*(?P<unit>[^\s0-9.,+/-]\S*)"
)
_LONGEST = 60


def to_si(text: object, kind: Kind) -> float:
    """A number with its unit, as a person writes it, in SI (speed: rev/min).

    text: `5.693 in`, `5 11/16 in`, `-12.5 C`, `1.5 %`; a decimal point, no thousands
        separator; unit spellings are those of UNITS[kind], with m³ as good as m3, and RPM as
        good as rpm.
    Raises ValueError with a sentence that says what would be right. Nothing is guessed:
    a number without a unit is refused.
    """
    match = (
        _QUANTITY.fullmatch(text.strip())
        if isinstance(text, str) and len(text) <= _LONGEST
        else None
    )
    if match is None:
        comma = isinstance(text, str) and "," in text
        raise ValueError(_refusal(text, kind, "write the figure without a comma" if comma else ""))
    spelling = match["unit"].replace("³", "3").replace("²", "2")
    unit = UNITS[kind].get(spelling.lower() if kind == "speed" else spelling)
    if unit is None:
        raise ValueError(_refusal(text, kind, _hint(spelling, kind)))
    if match["fraction"]:
        above, below = (int(part) for part in match["fraction"].split("/"))
        if below == 0 or (match["whole"] and above >= below):
            raise ValueError(_refusal(text, kind, "that fraction cannot be meant"))
        number = int(match["whole"] or 0) + Fraction(above, below)
    else:
        number = Fraction(match["decimal"])
    if match["sign"] == "-":
        number = -number
    return float(number * unit.factor + unit.offset)


def _refusal(text: object, kind: Kind, hint: str = "") -> str:
    shown = repr(text)
    if len(shown) > _LONGEST:
        shown = shown[:_LONGEST] + "..."
    units = ", ".join(UNITS[kind])
    wanted = f"wanted a number and one of the units {units}, such as {_EXAMPLES[kind]}"
    if len(UNITS[kind]) == 1:
        wanted = f"wanted a number and {units}, such as {_EXAMPLES[kind]}"
    name = kind.replace("_", " ")
    return f"{shown} cannot be read as a {name}: {hint + '; ' if hint else ''}{wanted}"


def _hint(spelling: str, kind: Kind) -> str:
    """What to say of a unit that hides a second statement, or has the wrong capitals."""
    if kind == "pressure":
        stem = re.sub(r"\(?[gad]\)?$", "", spelling)
        if stem != spelling and stem in UNITS["pressure"]:
            return f"gauge or absolute is no part of a unit, the key says which: write {stem}"
    if kind == "volume_flow":
        if spelling.lower() in {"scfm", "acfm", "icfm"}:
            return "standard or actual is no part of a unit, the key says which: write ft3/min"
        if spelling.lower() in {"slpm", "nlpm", "sl/min", "nl/min"}:
            return "standard or actual is no part of a unit, the key says which: write L/min"
        if spelling in {"Nm3/h", "Sm3/h"}:
            return "standard or actual is no part of a unit, the key says which: write m3/h"
    for known in UNITS[kind]:
        if known.lower() == spelling.lower():
            return f"capitals count: write {known}"
    return f"{spelling!r} is no unit known here"


@dataclass(frozen=True)
class DisplayUnit:
    """A unit for print: SI value = shown value * factor + offset.

    The label says the unit alone. Place and state (actual where, or standard) belong
    beside it, in the heading or the sentence.
    """

    label: str
    factor: float
    offset: float

    def from_si(self, value: _Value) -> _Value:
        """The value to show for an SI value."""
        return (value - self.offset) / self.factor

    def difference_from_si(self, value: _Value) -> _Value:
        """The difference, step or uncertainty to show for one in SI: no offset."""
        return value / self.factor


def _shown(kind: Kind, label: str) -> DisplayUnit:
    unit = UNITS[kind][label.replace("³", "3")]
    return DisplayUnit(label, float(unit.factor), float(unit.offset))


@dataclass(frozen=True)
class UnitSystem:
    """The units of one printed page, a field per quantity."""

    name: str
    volume_flow: DisplayUnit
    mass_flow: DisplayUnit
    differential_pressure: DisplayUnit
    vacuum: DisplayUnit
    station_pressure: DisplayUnit
    temperature: DisplayUnit
    length: DisplayUnit
    velocity: DisplayUnit
    speed: DisplayUnit


US: Final = UnitSystem(
    name="US",
    volume_flow=_shown("volume_flow", "ft³/min"),
    mass_flow=_shown("mass_flow", "lb/min"),
    differential_pressure=_shown("pressure", "inH2O"),
    vacuum=_shown("pressure", "inHg"),
    station_pressure=_shown("pressure", "inHg"),
    temperature=_shown("temperature", "°F"),
    length=_shown("length", "in"),
    velocity=_shown("velocity", "ft/min"),
    speed=_shown("speed", "rpm"),
)
SI: Final = UnitSystem(
    name="SI",
    volume_flow=_shown("volume_flow", "m³/h"),
    mass_flow=_shown("mass_flow", "kg/s"),
    differential_pressure=_shown("pressure", "Pa"),
    vacuum=_shown("pressure", "kPa"),
    station_pressure=_shown("pressure", "kPa"),
    temperature=_shown("temperature", "°C"),
    length=_shown("length", "mm"),
    velocity=_shown("velocity", "m/s"),
    speed=_shown("speed", "rpm"),
)
UNIT_SYSTEMS: Final = {"us": US, "si": SI}

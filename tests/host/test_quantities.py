"""Units at the edges, against pint's definitions and against NIST SP 811."""

import re
from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.quantities import SI, UNITS, US, DisplayUnit, Kind, to_si

PINT = pint.UnitRegistry()
# Pint's own name of each spelling, and of the SI unit of each kind.
PINT_UNITS = {
    "inH2O": "inch_H2O",
    "inH2O_60F": "inch_H2O_60F",
    "mmH2O": "mm_H2O",
    "cfm": "ft**3/min",
    "C": "delta_degC",
    "°C": "delta_degC",
    "F": "delta_degF",
    "°F": "delta_degF",
    "%": "percent",
    "rpm": "rpm",
    "rev/min": "revolution/min",
}
PINT_SI = {
    "length": "m",
    "area": "m**2",
    "volume": "m**3",
    "pressure": "Pa",
    "temperature": "K",
    "temperature_difference": "K",
    "volume_flow": "m**3/s",
    "mass_flow": "kg/s",
    "velocity": "m/s",
    "speed": "rpm",
    "ratio": "",
}


def _pint_name(unit: str) -> str:
    return re.sub(r"\b([cm]?m|in|ft)([23])\b", r"\1**\2", PINT_UNITS.get(unit, unit))


@pytest.mark.parametrize(("kind", "unit"), [(k, u) for k, units in UNITS.items() for u in units])
def test_factors_agree_with_pint(kind: Kind, unit: str) -> None:
    expected = PINT.Quantity(1.0, _pint_name(unit)).to(PINT_SI[kind]).magnitude
    # Pint derives the inch of water at 60 °F from a rounded density.
    tolerance = 1e-6 if unit == "inH2O_60F" else 1e-9
    assert float(UNITS[kind][unit].factor) == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        # NIST SP 811:2008, appendix B.8, to the digits printed there.
        ("1 inH2O", "pressure", 249.0889),
        ("1 inH2O_60F", "pressure", 248.84),
        ("1 inHg", "pressure", 3386.389),
        ("1 mmHg", "pressure", 133.3224),
        ("1 psi", "pressure", 6894.757),
        ("1 ft3/min", "volume_flow", 4.719474e-4),
        ("1 ft/min", "velocity", 5.08e-3),
        ("1 lb/min", "mass_flow", 7.559873e-3),
        # Fixed points of the Fahrenheit scale.
        ("32 F", "temperature", 273.15),
        ("212 °F", "temperature", 373.15),
        ("9 F", "temperature_difference", 5.0),
    ],
)
def test_published_factors(text: str, kind: Kind, expected: float) -> None:
    assert to_si(text, kind) == pytest.approx(expected, rel=5e-7)


def test_the_same_size_in_two_units_is_the_same_float() -> None:
    assert to_si("5.693 in", "length") == to_si("144.6022 mm", "length") == 0.1446022
    assert to_si("5 11/16 in", "length") == to_si("5.6875 in", "length")
    assert to_si("-1/2 in", "length") == to_si("-.5 in", "length") == -0.0127
    assert to_si("1300 cfm", "volume_flow") == to_si("1300 ft³/min", "volume_flow")
    assert to_si("1.5 %", "ratio") == 0.015


@pytest.mark.parametrize(
    ("text", "kind", "advice"),
    [
        ("5,693 in", "length", "5.693 in"),  # decimal comma, or thousands: nobody knows
        ("2,196 rpm", "speed", "without a comma"),
        ("5 693 in", "length", "5.693 in"),
        ("5 17/16 in", "length", "fraction"),
        ("5/0 in", "length", "fraction"),
        ("5-11/16 in", "length", "5 11/16 in"),
        ("nan m", "length", "5.693 in"),
        ("1e999999 m", "length", "5.693 in"),
        ("٤ in", "length", "5.693 in"),
        ("5.693", "length", "units m, cm, mm, in, ft"),
        (5.693, "length", "units m, cm, mm, in, ft"),
        (None, "pressure", "94.1 kPa"),
        ("5 psig", "pressure", "write psi"),
        ("5 bar(a)", "pressure", "write bar"),
        ("94.1 kpa", "pressure", "write kPa"),
        ("1300 scfm", "volume_flow", "write ft3/min"),
        ("1300 Nm3/h", "volume_flow", "write m3/h"),
        ("20", "temperature", "12 C"),
        ("0.4", "ratio", "1.5 %"),
    ],
)
def test_nothing_is_guessed(text: object, kind: Kind, advice: str) -> None:
    with pytest.raises(ValueError, match="cannot be read as") as caught:
        to_si(text, kind)
    assert advice in str(caught.value)


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(), st.from_regex(r"[-+0-9./eE ]{1,12} ?(in|mm|kPa|%)")))
def test_any_text_gives_a_finite_number_or_a_sentence(text: str) -> None:
    for kind in ("length", "ratio"):
        try:
            outcome = to_si(text, kind)
        except ValueError as error:
            outcome = str(error)
        if isinstance(outcome, str):
            assert "cannot be read as" in outcome
        else:
            assert abs(outcome) < 1e160  # 60 characters and an exponent of two digits


@settings(max_examples=100, deadline=None)
@given(st.decimals(-9999, 9999, places=3), st.sampled_from(["°F", "°C", "F", "C", "K"]))
def test_temperatures_keep_their_meaning(number: object, unit: str) -> None:
    """The reading is exact, so it can be computed a second way in whole fractions."""
    value = Fraction(str(number))
    kelvin = {
        "F": (value - 32) * Fraction(5, 9) + Fraction("273.15"),
        "C": value + Fraction("273.15"),
        "K": value,
    }[unit.removeprefix("°")]
    assert to_si(f"{number} {unit}", "temperature") == float(kelvin)


KIND_OF_FIELD: dict[str, Kind] = {
    "volume_flow": "volume_flow",
    "mass_flow": "mass_flow",
    "differential_pressure": "pressure",
    "vacuum": "pressure",
    "station_pressure": "pressure",
    "temperature": "temperature",
    "length": "length",
    "velocity": "velocity",
    "speed": "speed",
}


@pytest.mark.parametrize("system", [US, SI], ids=lambda system: system.name)
@pytest.mark.parametrize("field", KIND_OF_FIELD)
def test_what_is_printed_can_be_typed_in_again(system: object, field: str) -> None:
    unit: DisplayUnit = getattr(system, field)
    back = to_si(f"{unit.from_si(293.15):.12f} {unit.label}", KIND_OF_FIELD[field])
    assert back == pytest.approx(293.15, rel=1e-9)
    step = unit.from_si(300.0) - unit.from_si(290.0)
    assert unit.difference_from_si(10.0) == pytest.approx(step, rel=1e-12)
    assert "cfm" not in unit.label

"""Rounding for print, against the GUM's own example and the rule's properties."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.rounding import measured, minutes, percent, significant


@pytest.mark.parametrize(
    ("value", "u95", "shown"),
    [
        # JCGM 100:2008, 7.2.6 (from memory): y = 10.057 62 ohm, u = 27 milliohm gives 10.058.
        (10.05762, 0.027, ("10.058", "0.027")),
        (1037.4, 123.0, ("1040", "120")),
        (778.25, 99.6, ("780", "100")),
        (0.6125, 0.00996, ("0.613", "0.010")),
        (-0.04, 1.25, ("0.0", "1.3")),
        (-4.06, 1.25, ("−4.1", "1.3")),
        (2620.0, 0.0, ("2620.00", "0")),
    ],
)
def test_two_digits_of_uncertainty_decide(value: float, u95: float, shown: tuple[str, str]) -> None:
    assert measured(value, u95) == shown


@given(
    value=st.floats(-1e6, 1e6),
    u95=st.floats(1e-4, 1e5),
)
@settings(max_examples=200, deadline=None)
def test_what_is_shown_lies_within_half_its_last_place(value: float, u95: float) -> None:
    shown = measured(value, u95)
    width = Decimal(shown.u95)
    place = Decimal(1).scaleb(width.adjusted() - 1)
    assert width % place == 0
    assert abs(Decimal(repr(u95)) - width) <= place / 2
    number = Decimal(shown.value.replace("−", "-"))
    assert number % place == 0
    assert abs(Decimal(repr(value)) - number) <= place / 2


def test_single_numbers() -> None:
    assert significant(0.00012345, 2) == "0.00012"
    assert significant(123456.0, 3) == "123000"
    assert significant(0.0, 3) == "0"
    assert percent(0.9135) == "91\N{NO-BREAK SPACE}%"
    assert percent(0.0004) == "under 0.1\N{NO-BREAK SPACE}%"
    assert percent(0.0) == "0\N{NO-BREAK SPACE}%"
    assert minutes(59.6) == "1:00"
    assert minutes(-75.0) == "−1:15"

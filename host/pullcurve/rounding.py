"""Numbers for print: a value never shows more digits than its uncertainty earns.

Source: JCGM 100:2008 (GUM) 7.2.6: an uncertainty is given to two significant digits at most,
and the estimate to the same decimal place.
"""

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Final, NamedTuple

_MINUS: Final = "−"
NO_BREAK: Final = "\N{NO-BREAK SPACE}"


class Measured(NamedTuple):
    """A value and the half-width of its 95 % interval, both as text."""

    value: str
    u95: str

    def __str__(self) -> str:
        return f"{self.value}{NO_BREAK}±{NO_BREAK}{self.u95}"


def measured(value: float, u95: float) -> Measured:
    """`value` and `u95`, of one unit and finite, by the rule above.

    An uncertainty of zero gives no place to round to: six significant digits are shown then.
    """
    if u95 == 0:
        return Measured(significant(value, 6), "0")
    width = _to_digits(u95, 2)
    return Measured(text(_to_place(value, _last_place(width, 2))), text(width))


class Ranged(NamedTuple):
    """A value and the ends of its 95 % interval, all as text."""

    value: str
    low: str
    high: str

    def __str__(self) -> str:
        return f"{self.value} ({self.low} to {self.high})"


def ranged(value: float, low: float, high: float, width: float = 0.0) -> Ranged:
    """A value with an interval that need not lie evenly about it, by the same rule.

    width: half-width that sets the last place, where it is not this interval's own.
    """
    half = width or max(value - low, high - value)
    if half <= 0:
        return Ranged(*(significant(each, 6) for each in (value, low, high)))
    place = _last_place(_to_digits(half, 2), 2)
    return Ranged(*(text(_to_place(each, place)) for each in (value, low, high)))


def rounded(value: float, width: float) -> Decimal:
    """A value to the place that a half-width earns; to six digits where that is nothing."""
    if width <= 0:
        return _to_digits(value, 6)
    return _to_place(value, _last_place(_to_digits(width, 2), 2))


def adding_up(parts: Sequence[float], start: float, end: float, width: float) -> list[Decimal]:
    """Parts that take a start to an end, rounded, so that a reader who subtracts them from the
    start as it is shown comes to the end as it is shown.

    Where the rounded parts miss it, those that rounding moved farthest give way, by one in the
    last place.
    """
    shown = [rounded(part, width) for part in parts]
    off = rounded(start, width) - rounded(end, width) - sum(shown)
    if width <= 0 or not off:
        return shown
    one = Decimal(1).scaleb(_last_place(_to_digits(width, 2), 2)).copy_sign(off)
    moved = [(Decimal(repr(float(p))) - s) / one for p, s in zip(parts, shown, strict=True)]
    for i in sorted(range(len(parts)), key=lambda i: -moved[i])[: int(off / one)]:
        shown[i] += one
    return shown


def significant(value: float, digits: int) -> str:
    """`value` to so many significant digits, never with an exponent."""
    return text(_to_digits(value, digits))


def count(value: float) -> str:
    """A large number without decimals, its digits in groups of three."""
    return f"{value:,.0f}".replace(",", NO_BREAK).replace("-", _MINUS)


def counted(number: int, noun: str, plural: str = "") -> str:
    """`1 record`, `2 records`: `plural` where that is not the noun with an s."""
    return f"{count(number)} {noun if number == 1 else plural or noun + 's'}"


def times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{count(number)} times")


def percent(fraction: float, digits: int = 2) -> str:
    """A fraction as per cent, with its sign; what is under 0.1 % is not told closer."""
    if 0 < abs(fraction) < 0.001:
        return f"under 0.1{NO_BREAK}%"
    return f"{significant(100 * fraction, digits)}{NO_BREAK}%"


def minutes(seconds: float) -> str:
    """A time within the run, as minutes and seconds."""
    whole = round(abs(seconds))
    return f"{_MINUS if seconds < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"


def _last_place(number: Decimal, digits: int) -> int:
    return number.adjusted() - digits + 1


def _to_place(value: float, place: int) -> Decimal:
    # repr is the shortest text of a float: 0.25 and 2.675 round as a reader would round them.
    return (Decimal(repr(float(value))).scaleb(-place).quantize(Decimal(1), ROUND_HALF_UP)).scaleb(
        place
    )


def _to_digits(value: float, digits: int) -> Decimal:
    if value == 0:
        return Decimal(0)
    first = _to_place(value, _last_place(Decimal(repr(float(value))), digits))
    # 99.6 became 100, which has a digit more than was asked for.
    return _to_place(float(first), _last_place(first, digits))


def text(number: Decimal) -> str:
    """Never with an exponent."""
    if number == 0:
        number = abs(number)
    return f"{number:f}".replace("-", _MINUS)

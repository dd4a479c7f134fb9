"""Troubles in words: what was seen, what to do, and what it costs."""

from collections.abc import Iterable, Sequence
from typing import Final, Protocol

from pullcurve.quantities import UNITS, UnitSystem
from pullcurve.report.result import RunResult, Trouble
from pullcurve.rounding import NO_BREAK, count, minutes, significant

CONSEQUENCES: Final = {
    "withheld": "What it spoils is not stated.",
    "widened": "The intervals are wider for it.",
    "none": "The numbers stand as they are.",
}
_IN_SHORT: Final = {
    "withheld": "Results withheld, because of",
    "widened": "Intervals widened, because of",
    "none": "Seen, without harm to the numbers",
}


def kind_words(trouble: Trouble) -> str:
    """`zero_moved` as `Zero moved`."""
    return trouble.kind.replace("_", " ").capitalize()


class Told(Protocol):
    """A number of the evidence, as reduction and result have it."""

    @property
    def name(self) -> str: ...
    @property
    def quantity(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def digits(self) -> int: ...
    @property
    def signed(self) -> bool: ...


def evidence_words(pattern: str, numbers: Sequence[Told], units: UnitSystem) -> str:
    """The evidence of a trouble, its numbers in the units of the page."""
    for number in numbers:
        pattern = pattern.replace(f"{{{number.name}}}", _told(number, units))
    return pattern


def told_evidence(trouble: Trouble, units: UnitSystem) -> str:
    """The same of a result's trouble."""
    if not trouble.numbers:
        return trouble.evidence
    return evidence_words(trouble.pattern, trouble.numbers, units)


def _told(number: Told, units: UnitSystem) -> str:
    if number.quantity == "height":  # a page tells it in both units
        feet = number.value / float(UNITS["length"]["ft"].factor)
        return f"{count(number.value)}{NO_BREAK}m ({count(feet)}{NO_BREAK}ft)"
    warmth = number.quantity == "temperature_difference"
    unit = units.temperature if warmth else getattr(units, number.quantity)
    value = unit.difference_from_si(number.value)
    plus = "+" if number.signed and value > 0 else ""
    return f"{plus}{significant(value, number.digits)}{NO_BREAK}{unit.label}"


def when(trouble: Trouble) -> str:
    """The subject, and the time where the trouble has one."""
    if trouble.start_s is None:
        return trouble.subject
    if trouble.end_s is None:
        return f"{trouble.subject}, from {minutes(trouble.start_s)}"
    return f"{trouble.subject}, {minutes(trouble.start_s)} to {minutes(trouble.end_s)}"


def read_first(result: RunResult) -> list[str]:
    """The shortest account of what spoils the result, empty when nothing does."""
    said = []
    for consequence, words in _IN_SHORT.items():
        kinds = _kinds([each for each in result.troubles if each.consequence == consequence])
        if kinds:
            said.append(f"{words}: {kinds}.")
    warnings = dict.fromkeys(
        remark.subject for remark in result.remarks if remark.weight == "warning"
    )
    if warnings:
        said.append(f"Warnings: {', '.join(warnings)}.")
    return said


def speed_doubt(troubles: Iterable[Trouble], shaft: str) -> str:
    """Why the speeds taken from a shaft are not to be trusted, empty when they are."""
    return next(
        (
            each.evidence
            for each in troubles
            if each.kind == "wrong_marks" and each.subject == shaft.replace("_", " ")
        ),
        "",
    )


def _kinds(troubles: Sequence[Trouble]) -> str:
    return ", ".join(dict.fromkeys(trouble.kind.replace("_", " ") for trouble in troubles))

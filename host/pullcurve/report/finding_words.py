"""Findings in words, by their rows of the catalogue: what was seen, what to do, what it costs."""

from collections.abc import Iterable, Sequence
from math import isinf
from typing import Final

from pullcurve.checks.catalogue import CATALOGUE, Finding, Kind, Limit, Value
from pullcurve.measure.points import Withheld
from pullcurve.quantities import SI, UNITS, UnitSystem
from pullcurve.report.result import Remark, RunResult, Trouble, TroubleNumber
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


def kind_words(trouble: Trouble | Finding) -> str:
    """`zero_moved` as `Zero moved`."""
    return trouble.kind.replace("_", " ").capitalize()


def withheld_because(reason: Withheld) -> str:
    """Why no flow is stated for a point."""
    return CATALOGUE[Kind(reason)].withheld


def result_trouble(finding: Finding) -> Trouble:
    """A trouble as the result has it: its evidence in SI, and as a pattern for other units."""
    pattern, numbers = _pattern(finding), _numbers(finding)
    return Trouble(
        kind=finding.kind.value,
        subject=finding.subject,
        evidence=_filled(pattern, numbers, SI),
        pattern=pattern,
        numbers=numbers,
        action=action_words(finding),
        consequence=finding.consequence,
        start_s=finding.start_s,
        end_s=finding.end_s,
    )


def result_remark(finding: Finding) -> Remark:
    return Remark(
        weight="warning" if finding.grade == "warning" else "note",
        subject=finding.subject,
        text=evidence_words(finding, SI),
        action=action_words(finding),
    )


def evidence_words(finding: Finding, units: UnitSystem) -> str:
    """The evidence of a finding, its numbers in the units of the page."""
    return _filled(_pattern(finding), _numbers(finding), units)


def action_words(finding: Finding) -> str:
    """What to do about a finding, empty when nothing."""
    action = finding.row.action_of(finding.case)
    return action.format(subject=finding.subject, **_texts(finding))


def told_evidence(trouble: Trouble, units: UnitSystem) -> str:
    """The evidence of a result's trouble, its numbers in the units of the page."""
    if not trouble.numbers:
        return trouble.evidence
    return _filled(trouble.pattern, trouble.numbers, units)


def _pattern(finding: Finding) -> str:
    """The evidence with all in it but the numbers that have a unit."""
    return finding.row.evidence_of(finding.case).format(**_texts(finding))


def _texts(finding: Finding) -> dict[str, str]:
    return {
        name: f"{{{name}}}" if row.quantity else _value_text(finding.values[name], row.form)
        for name, row in finding.row.fields.items()
        if name in finding.values
    }


def _value_text(value: Value, form: str) -> str:
    if isinstance(value, Limit):
        return _limit_text(value)
    if "|" in form:
        one, many = form.split("|")
        return f"{value} {one if value == 1 else many}"
    return format(value, form)


def _numbers(finding: Finding) -> tuple[TroubleNumber, ...]:
    needed = finding.row.names(finding.case)
    return tuple(
        TroubleNumber(
            name=name,
            quantity=row.quantity,
            value=finding.number(name),
            digits=row.digits,
            signed=row.signed,
        )
        for name, row in finding.row.fields.items()
        if row.quantity and name in needed
    )


def _filled(pattern: str, numbers: Sequence[TroubleNumber], units: UnitSystem) -> str:
    for number in numbers:
        pattern = pattern.replace(f"{{{number.name}}}", _number_text(number, units))
    return pattern


def _number_text(number: TroubleNumber, units: UnitSystem) -> str:
    if number.quantity == "height":  # a page tells it in both units
        feet = number.value / float(UNITS["length"]["ft"].factor)
        return f"{count(number.value)}{NO_BREAK}m ({count(feet)}{NO_BREAK}ft)"
    warmth = number.quantity == "temperature_difference"
    unit = units.temperature if warmth else getattr(units, number.quantity)
    value = unit.difference_from_si(number.value)
    plus = "+" if number.signed and value > 0 else ""
    return f"{plus}{significant(value, number.digits)}{NO_BREAK}{unit.label}"


def _limit_text(limit: Limit) -> str:
    """What was crossed, by which value, and what is wanted by whom."""
    ends = [_of_limit(limit.quantity, end, 4) for end in (limit.least, limit.greatest)]
    if isinf(limit.greatest):
        wanted = f"at least {ends[0]}"
    elif limit.least == 0:
        wanted = f"at most {ends[1]}"
    else:
        wanted = f"{ends[0]} to {ends[1]}"
    # As many digits as tell the value from the limit.
    shown = (_of_limit(limit.quantity, limit.value, digits) for digits in range(3, 17))
    value = next((text for text in shown if text not in ends), ends[0])
    return f"{limit.quantity.capitalize()} {value}: wanted {wanted} ({limit.source})."


def _of_limit(quantity: str, value: float, digits: int) -> str:
    if quantity.endswith("bore"):
        return f"{value * 1000:.{digits}g} mm"
    if quantity == "Reynolds number":
        return f"{float(f'{value:.{digits}g}'):,.0f}".replace(",", " ")
    unit = {"straight length": " bores of the pipe", "differential pressure": " Pa"}
    return f"{value:.{max(digits, 4)}g}{unit.get(quantity, '')}"


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

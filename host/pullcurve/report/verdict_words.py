"""The verdict in words: a cause, its size with its interval, and what would decide where none is
certain. Light, as `sentences`."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from pullcurve.diagnosis.result import Candidate, Cause, DecidingReading, RunDiagnosis
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.contradiction_words import veto_reasons
from pullcurve.report.ledger_words import as_billed
from pullcurve.report.next_steps import (
    NextStep,
    likely_places,
    next_steps,
    reading_words,
)
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import shown_range
from pullcurve.rounding import NO_BREAK, Ranged, measured, percent, ranged, significant

_SIGMAS_95: Final = 1.96
_SURE: Final = 0.99
_NAMED_AT_MOST: Final = 3  # candidates in the first sentence
_MOST: Final = 0.8  # of the probability, that those hold where they can
_LOST_TO: Final = frozenset(("worn_clearances", "leak"))  # what takes a healthy blower's flow

NOUNS: Final = {
    "low_speed": "an engine that turns too slowly",
    "slipping_belt": "a slipping belt",
    "worn_clearances": "worn clearances in the blower",
    "leak": "air that comes in unasked",
    "restriction": "a choked way for the air",
}
PLACES: Final = {
    ("leak", "a"): "at hose, tank or door",
    ("leak", "b"): "at the filter's lid",
    ("leak", "c"): "at the blower (relief valve, last joint)",
    ("restriction", "intake"): "in hose or port",
    ("restriction", "filter"): "in the filter",
    ("restriction", "pipe"): "between filter and blower",
}
HEADINGS: Final = {
    "low_speed": "Low speed",
    "slipping_belt": "Slipping belt",
    "worn_clearances": "Worn clearances",
    "leak_a": "Air that comes in at hose, tank or door",
    "leak_b": "Air that comes in at the filter's lid",
    "leak_c": "Air that comes in at the blower",
    "restriction_intake": "Hose or port choked",
    "restriction_filter": "Filter loaded",
    "restriction_pipe": "Way from filter to blower choked",
    "healthy": "A machine in good order",
    "unsure": "A second look",
    "no_fit": "Readings that contradict each other",
    "typed_engine_speed": "The engine's speed, as typed",
    "belt_ratio": "Two shafts and a belt that do not belong together",
    "rated_speed": "Speeds and marks of the rig",
    "typed_reading": "The typed reading",
    "baseline": "The baseline",
}


def verdict_sentences(said: RunDiagnosis, units: UnitSystem) -> list[str]:
    """The verdict; the first sentence leads the page."""
    if said.vetoed_by:
        return [
            f"No verdict on the machine: {veto_reasons(said)}.",
            "Nothing is said of the machine until that is put right.",
        ]
    certain = [_certain(said, name) for name in said.certain]
    if said.label == "healthy":
        return [_healthy(said, units), f"{_sure(said)}."]
    if said.decided:
        return [f"{_joined(certain)}.", *_taken(said, units), f"{_sure(said)}."]
    rest = [_without(candidate, said.certain) for candidate in said.candidates]
    lost = "" if certain else _lost(said, rest, units)
    if lost:
        return [lost, "This run cannot tell which."]
    open_ones = _alternatives(rest, more=bool(certain))
    if certain:
        return [f"{_joined(certain)}.", f"Not decided is what else there is: {open_ones}."]
    return [f"Not decided: {open_ones}."]


def _lost(said: RunDiagnosis, rest: Sequence[Candidate], units: UnitSystem) -> str:
    """What is lost for sure, where only its cause is open; empty where more is."""
    told_ones = _likeliest(rest)
    takes = {cause for candidate in told_ones for cause in candidate.causes}
    ledger = said.ledger
    if ledger is None or ledger.lost.low_m3_s <= 0 or not takes <= _LOST_TO:
        return ""
    if not all(candidate.causes for candidate in told_ones):
        return ""
    unit = units.volume_flow
    whole, lost = (as_billed(ledger, step, unit) for step in (ledger.healthy, ledger.lost))
    ways = ", or to ".join(candidate_words(each) for each in told_ones)
    return (
        f"Of the {whole.value} {unit.label} that a blower in good order would take in here, "
        f"{lost} are lost: either to {ways}."
    )


def _likeliest(candidates: Sequence[Candidate]) -> list[Candidate]:
    """Enough of them to hold most of the probability, and not too many for a sentence."""
    chosen, covered = [], 0.0
    for candidate in candidates[:_NAMED_AT_MOST]:
        chosen.append(candidate)
        covered += candidate.probability
        if covered >= _MOST and len(chosen) > 1:
            break
    return chosen


def _sure(said: RunDiagnosis) -> str:
    of = probability_words(said.probability or 0.0)
    return f"Probability of this answer among all that were weighed: {of}"


def probability_words(p: float) -> str:
    """Per cent; no model is good for more than two digits of it, nor for certainty."""
    if p > _SURE:
        return f"over {100 * _SURE:.0f}{NO_BREAK}%"
    return percent(p) if p >= 1 - _SURE else f"under {100 * (1 - _SURE):.0f}{NO_BREAK}%"


def _taken(said: RunDiagnosis, units: UnitSystem) -> list[str]:
    """What the causes that are named take of the flow."""
    ledger, unit, parts = said.ledger, units.volume_flow, []
    if ledger is None:
        return []
    steps = {step.name: step for step in ledger.steps}
    for cause, words in (("low_speed", "the low speed"), ("slipping_belt", "the belt")):
        if cause in said.certain:
            step = steps["governor" if cause == "low_speed" else "belt"]
            parts.append(f"{words} takes {shown_range(step.volume, unit)} {unit.label}")
    named = _LOST_TO & set(said.certain)
    if named:
        alone = "wear takes" if "worn_clearances" in named else "the leak takes"
        verb = alone if len(named) == 1 else "wear and leak together take"
        parts.append(f"{verb} {as_billed(ledger, ledger.lost, unit)} {unit.label}")
    text = capital(" and ".join(parts))
    return [f"{text} of the flow at the blower's inlet."] if parts else []


def _healthy(said: RunDiagnosis, units: UnitSystem) -> str:
    sentence = "Nothing is wrong with this machine that the run could show"
    if said.ledger is None:
        return f"{sentence}."
    unit = units.volume_flow
    moved = as_billed(said.ledger, said.ledger.metered, unit)
    should = as_billed(said.ledger, said.ledger.healthy, unit).value
    return (
        f"{sentence}: of the {should} {unit.label} that a blower in good order would take in here, "
        f"it moves {moved} {unit.label}."
    )


def sized(cause: Cause) -> str:
    """`21 % (14 % to 27 %)`."""
    if cause.size is None or cause.low is None or cause.high is None:
        return "an amount that cannot be told"
    shown = _per_cent(cause.size, cause)
    return f"{shown.value}{NO_BREAK}% ({shown.low} to {shown.high}{NO_BREAK}%)"


def _per_cent(value: float, cause: Cause) -> Ranged:
    """A value beside the ends of a cause's interval, to the place that this earns."""
    size, low, high = (
        value if each is None else each for each in (cause.size, cause.low, cause.high)
    )
    width = max(100 * (high - size), 100 * (size - low), 1.0)
    return ranged(100 * value, 100 * low, 100 * high, width)


def _speeds(said: RunDiagnosis, cause: Cause) -> str:
    """The two speeds behind a low one, and their own difference where that is told another way
    than what all readings together say."""
    engine, rated = said.engine_speed_rpm, said.rated_engine_speed_rpm
    if engine is None or rated is None or cause.size is None:
        return ""
    speeds = f"{engine:.0f} instead of {rated:.0f}{NO_BREAK}rpm"
    alone = _per_cent(1 - engine / rated, cause).value
    if alone == _per_cent(cause.size, cause).value:
        return f": {speeds}"
    return f" by all readings together (its own speed, {speeds}, makes {alone}{NO_BREAK}%)"


def _certain(said: RunDiagnosis, name: str) -> str:
    """A cause that is named, with its size."""
    cause = said.cause[name]
    size = sized(cause)
    if name == "low_speed":
        return f"the engine turns {size} slower than rated{_speeds(said, cause)}"
    if name == "slipping_belt":
        return f"the belt slips: the blower turns {size} slower than engine and pulleys ask"
    if name == "worn_clearances":
        return (
            "the blower's clearances are worn: slip beyond that of a healthy blower takes "
            f"{size} of its turns"
        )
    where = _where(name, likely_places(said, name))
    if name == "leak":
        return f"air comes in unasked {where}: {size} of all that the blower takes in"
    return f"the air's way is choked {where}: put right, the machine would take in {size} more air"


def _where(cause: str, places: Sequence[str]) -> str:
    return " or ".join(PLACES[cause, place] for place in places)


def _joined(sentences: Sequence[str]) -> str:
    return capital("; and ".join(sentences))


def _without(candidate: Candidate, certain: Sequence[str]) -> Candidate:
    left = tuple(cause for cause in candidate.causes if cause not in certain)
    return replace(candidate, causes=left)


def _alternatives(candidates: Sequence[Candidate], *, more: bool) -> str:
    told_ones = _likeliest(candidates)
    words = list(dict.fromkeys(candidate_words(each, more=more) for each in told_ones))
    text = f"either {', or '.join(words)}" if len(words) > 1 else words[0]
    left = len(candidates) - len(told_ones)
    if left > 0:
        text += f" ({'one answer' if left == 1 else f'{left} answers'} less likely below)"
    return text


def candidate_words(candidate: Candidate, *, more: bool = False) -> str:
    """`worn clearances in the blower and air that comes in at the filter's lid`."""
    if not candidate.causes:
        return "nothing more" if more else "nothing at all, a machine in good order"
    return " together with ".join(cause_words(candidate, cause) for cause in candidate.causes)


def cause_words(candidate: Candidate, cause: str) -> str:
    place = candidate.places.get(cause)
    if place is None:
        return NOUNS[cause]
    where = PLACES[cause, place]
    return f"air that comes in {where}" if cause == "leak" else f"a choked way {where}"


def reading_sentences(said: RunDiagnosis, units: UnitSystem) -> list[str]:
    """The one reading that would decide, and by how much it would differ."""
    reading = said.deciding_reading
    if reading is None:
        return []
    first, second = (candidate_words(each) for each in said.candidates[:2])
    value, other, apart, known = (
        _reading(reading, each, units)
        for each in (
            reading.under_first,
            reading.under_second,
            reading.difference,
            _SIGMAS_95 * reading.spread,
        )
    )
    what = reading_words(reading.name)
    lead = (
        f"The one reading that would decide between the two likeliest: {what}."
        if reading.decides
        else f"No single reading decides between the two likeliest for sure. The best is {what}."
    )
    return [
        lead,
        f"With {first} it would be about {value}, with {second} about {other}: {apart} apart. "
        f"Chance, and what is not known of the machine, can move that by {known}.",
    ]


def _reading(reading: DecidingReading, value: float, units: UnitSystem) -> str:
    number, label = reading_in(reading, value, units)
    return f"{number}{NO_BREAK}{label}"


def reading_in(reading: DecidingReading, value: float, units: UnitSystem) -> tuple[str, str]:
    """A value of a deciding reading as number and unit: place of the spread's second digit."""
    scale: dict[str, DisplayUnit] = {
        "rpm": units.speed,
        "Pa": units.vacuum,
        "K": units.temperature,
    }
    if reading.unit == "1":
        spread, shown, label = 100 * _SIGMAS_95 * reading.spread, 100 * value, "%"
    else:
        unit = scale[reading.unit]
        spread = unit.difference_from_si(_SIGMAS_95 * reading.spread)
        shown = unit.difference_from_si(value)
        label = unit.label
    return measured(shown, spread).value if spread else significant(shown, 3), label


def first_step(result: RunResult, said: RunDiagnosis) -> NextStep | None:
    """The next thing to do, as the verdict tells it; None where none is known."""
    for heading in next_steps(said):
        for step in heading.steps:
            return step
    actions = [trouble.action for trouble in result.troubles if trouble.kind in said.vetoed_by]
    return NextStep(actions[0], ()) if actions and actions[0] else None


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]

"""What the page shows of the diagnosis, ready for the template."""

from collections.abc import Mapping
from typing import Final

from pullcurve.diagnosis.result import FlowLedger, NoDiagnosis, RunDiagnosis
from pullcurve.quantities import UnitSystem
from pullcurve.report.ledger_words import (
    ahead_sentence,
    bill,
    item_words,
    ledger_caption,
    ledger_title,
    reference_sentence,
    relieved_rows,
)
from pullcurve.report.next_steps import DEFERS, next_steps, reading_words
from pullcurve.report.physics_words import physics_sentences, spoil_sentences
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import shown_range
from pullcurve.report.tables import NONE, Column, Table
from pullcurve.report.verdict_words import (
    HEADINGS,
    NOUNS,
    candidate_words,
    capital,
    first_step,
    probability_words,
    reading_sentences,
    sized,
    verdict_sentences,
)

_NOTHING: Final = dict.fromkeys(
    (
        *("verdict", "bill", "bill_title", "bill_caption", "reference", "candidates", "deciding"),
        *("steps", "relieved", "mass_ledger", "causes", "spoil", "physics", "first_step"),
        *("baseline", "defers", "why_none"),
    )
)
_FINEST: Final = 0.2  # of the shortfall's half-width: no line is told closer
_TOTALS: Final = {
    "rated": "rated flow",
    "healthy": "a blower in good order here",
    "metered": "where the meter stands",
    "shortfall": "rated less metered",
    "lost": "good order less metered",
}


def on_page(result: RunResult, units: UnitSystem) -> Mapping[str, object]:
    """Names of the template; None for what is not there."""
    said = result.diagnosis
    if isinstance(said, NoDiagnosis):
        return _NOTHING | {"why_none": said.why_none}
    shown = _NOTHING | {
        "why_none": "",
        "verdict": verdict_sentences(said, units),
        "first_step": first_step(result, said),
        "baseline": said.baseline,
        "candidates": _candidates(said),
        "deciding": reading_sentences(said, units),
        "steps": [(_heading(heading.about), heading.steps) for heading in next_steps(said)],
        "defers": DEFERS,
        "causes": _causes(said),
        "spoil": spoil_sentences(said, units),
        "physics": physics_sentences(result, said, units),
    }
    if said.ledger is not None:
        ledger = said.ledger
        ahead = ahead_sentence(ledger, units)
        shown |= {
            "bill": bill(result, ledger, units),
            "bill_title": ledger_title(result, ledger, units),
            "bill_caption": ledger_caption(result, ledger, units),
            "reference": " ".join(filter(None, (reference_sentence(ledger, units), ahead))),
            "relieved": _relieved(result, ledger, units),
            "mass_ledger": _mass_ledger(result, ledger, units),
        }
    return shown


def _heading(about: tuple[str, str]) -> str:
    kind, name = about
    return f"To read: {reading_words(name)}" if kind == "reading" else HEADINGS[name]


def _candidates(said: RunDiagnosis) -> Table | None:
    if len(said.candidates) < 2:
        return None
    return Table(
        (Column("what the data leave open"), Column("probability", kind="number")),
        tuple(
            (capital(candidate_words(each)), probability_words(each.probability))
            for each in said.candidates
        ),
    )


def _causes(said: RunDiagnosis) -> Table | None:
    if not said.causes:
        return None
    return Table(
        (
            Column("cause"),
            Column("probability", kind="number"),
            Column("size, if it is there", kind="short"),
            Column("of what"),
        ),
        tuple(
            (
                capital(NOUNS[cause.name]),
                probability_words(cause.probability),
                NONE if cause.size is None else sized(cause),
                _OF_WHAT[cause.name],
            )
            for cause in said.causes
        ),
        "Probability that the cause is there, alone or with another. Size with its 95 % interval, "
        "in the cases in which it is there.",
    )


_OF_WHAT: Final = {
    "low_speed": "the engine's rated speed",
    "slipping_belt": "the speed that engine and pulleys ask of the blower",
    "worn_clearances": "the blower's turns",
    "leak": "all the air that the blower takes in",
    "restriction": "the air that it takes in: what more there would be",
}


def _relieved(result: RunResult, ledger: FlowLedger, units: UnitSystem) -> Table | None:
    rows = relieved_rows(result, ledger, units)
    if not rows:
        return None
    return Table(
        (
            Column("the same machine at the same speed"),
            Column("standard flow through the meter", units.volume_flow.label, "number"),
            Column("95 % interval", units.volume_flow.label, "short"),
            Column("change", kind="number"),
        ),
        tuple(
            (words, flow.value, f"{flow.low} to {flow.high}", change)
            for words, flow, change in rows
        ),
        f"Standard flow at {result.reference_conditions}. A restriction shows as vacuum and costs "
        "the blower no health, so it is no step of the ledger. The intervals are those of the "
        "flow; most of their width is common to all rows.",
    )


def _mass_ledger(result: RunResult, ledger: FlowLedger, units: UnitSystem) -> Table:
    volume, mass, position = units.volume_flow, units.mass_flow, result.meter.position
    whole = (ledger.rated, *ledger.steps, ledger.healthy, ledger.metered)
    rows = []
    for step in (*whole, ledger.shortfall, ledger.lost):
        volumes = max(step.volume.half, _FINEST * ledger.shortfall.volume.half)
        kilograms = max(step.mass.half, _FINEST * ledger.shortfall.mass.half)
        flows = shown_range(step.volume, volume, volumes)
        masses = shown_range(step.mass, mass, kilograms)
        name = _TOTALS.get(step.name) or f"less {item_words(step.name, position)}"
        rows.append(
            (
                name,
                flows.value,
                "as stated" if step is ledger.rated else f"{flows.low} to {flows.high}",
                masses.value,
                f"{masses.low} to {masses.high}",
            )
        )
    return Table(
        (
            Column("item"),
            Column("flow at the blower's inlet", volume.label, "number"),
            Column("95 % interval", volume.label, "short"),
            Column("mass flow", mass.label, "number"),
            Column("95 % interval", mass.label, "short"),
        ),
        tuple(rows),
        "The interval of a mass carries that of the density at the blower's inlet as well.",
    )

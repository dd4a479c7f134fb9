"""What to do next, from the reviewed text in next_steps.toml."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

from pullcurve.checks.catalogue import CATALOGUE, Kind
from pullcurve.diagnosis.result import RunDiagnosis

DEFERS: Final = (
    "Local codes, site rules, the maker's manual and licensed trades come before these steps."
)
_LIKELY_PLACE: Final = 0.15  # of a cause's places: those below it are not looked at


@dataclass(frozen=True)
class NextStep:
    do: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Heading:
    """Steps that belong together; `about` names their cause and place, or what they are for."""

    about: tuple[str, str]
    steps: tuple[NextStep, ...]


@cache
def _text() -> Mapping[str, Any]:
    return tomllib.loads((files("pullcurve.report") / "next_steps.toml").read_text("utf-8"))


def _steps(entries: Sequence[Mapping[str, Any]]) -> tuple[NextStep, ...]:
    cautions = _text()["cautions"]
    return tuple(
        NextStep(entry["do"], tuple(cautions[name] for name in entry["cautions"]))
        for entry in entries
    )


def reading_words(name: str) -> str:
    """What a deciding reading is."""
    return str(_text()["readings"][name]["what"])


def veto_words(kind: str) -> str:
    """Why a finding of this kind leaves no verdict."""
    return CATALOGUE[Kind(kind)].veto


def likely_places(said: RunDiagnosis, cause: str) -> list[str]:
    """The places of a cause that are worth a look, the likeliest first; none for a cause that has
    only one place."""
    places = said.cause[cause].places
    whole = sum(places.values())
    ordered = sorted(places, key=lambda place: -places[place])
    return [place for place in ordered if places[place] >= _LIKELY_PLACE * whole]


def next_steps(said: RunDiagnosis) -> list[Heading]:
    """What is to be done, in order: the deciding reading, then the causes that are certain."""
    text = _text()
    if said.vetoed_by:
        return [
            Heading(("veto", kind), _steps(text["vetoes"][key]["steps"]))
            for kind in said.vetoed_by
            if (key := CATALOGUE[Kind(kind)].steps)
        ]
    found = []
    reading = said.deciding_reading
    if reading is not None:
        found.append(
            Heading(("reading", reading.name), _steps(text["readings"][reading.name]["steps"]))
        )
    for cause in said.certain:
        keys = [f"{cause}_{place}" for place in likely_places(said, cause)] or [cause]
        found += [Heading((cause, key), _steps(text["causes"][key])) for key in keys]
    if not found:
        name = "healthy" if said.decided else "unsure"
        found.append(Heading((name, name), _steps(text[name])))
    return found

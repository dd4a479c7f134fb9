"""What a person says of a run, in plain words, as the fields of a note."""

import re
from typing import NamedTuple

PLACES = ("hose", "port", "tank", "clean pipe", "blower inlet")
KINDS = ("engine_speed", "vacuum", "plate", "hose", "words")

HELP = (
    "engine 2900 rpm | vacuum 10 inHg at tank | plate on, bore 2 in | plate on | plate off | "
    "hose 50 ft of 4 in | any other words"
)

_NUMBER = r"\d[^,]*?"
_FORMS = (
    ("engine_speed", re.compile(rf"engine\s+({_NUMBER})()", re.IGNORECASE)),
    (
        "vacuum",
        re.compile(
            rf"vacuum\s+({_NUMBER})\s+(?:at\s+(?:the\s+)?)?({'|'.join(PLACES)})", re.IGNORECASE
        ),
    ),
    ("plate", re.compile(r"plate\s+(off|on(?:,?\s+bore\s+.+)?)()", re.IGNORECASE)),
    ("hose", re.compile(r"hose\s+(.+)()", re.IGNORECASE)),
)


class Spoken(NamedTuple):
    """The fields of a note: its kind, what was typed, and where a gauge sits."""

    what: str
    value: str
    place: str


def understand(text: str) -> Spoken:
    """The note in a typed line. What fits no form of HELP is kept as words.

    Raises ValueError with a sentence for a gauge reading without its place, without which it
    says nothing.
    """
    text = " ".join(text.split())
    for what, form in _FORMS:
        match = form.fullmatch(text)
        if match is not None:
            return Spoken(what, match[1], match[2].lower())
    if re.match(r"vacuum\s+\d", text, re.IGNORECASE):
        raise ValueError(
            "a vacuum needs the place of its gauge, such as 'vacuum 10 inHg at tank'; places: "
            + ", ".join(PLACES)
        )
    return Spoken("words", text, "")

"""What a question to a person is, and how typed answers are read."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

Value: TypeAlias = "str | int | float | Sequence[Value] | Mapping[str, Value]"
Answers = Mapping[str, Value]  # by full key; what was left out is not in it


class GoBack(Exception):  # noqa: N818 - no error: the person takes an answer back
    """The answer before this one has to be given again; says why."""


def never(_: Answers) -> bool:
    return False


def always(_: Answers) -> bool:
    return True


@dataclass(frozen=True)
class Question:
    """One thing that is asked.

    `key` is the rig's own, such as `meter.pipe_bore`; one without a dot steers what else is
    asked and is not written. Enter alone gives `default`; without one it leaves the key out,
    or is refused where the key is `needed`. `read` makes an answer into TOML's value and raises
    ValueError with a sentence, or GoBack. What is not asked does not stand in the file, unless
    it is `shown` as a comment.
    """

    key: str
    words: str
    read: Callable[[str], Value] = str
    examples: tuple[str, ...] = ()  # the first also stands in the file where the key is left out
    default: str = ""
    without: str = ""  # what is taken where the key is left out
    comment: str = ""  # stands above the key in the file
    caution: str = ""  # said before the question
    choices: Mapping[str, str] = field(default_factory=dict)
    asked: Callable[[Answers], bool] = always
    shown: bool = False
    needed: Callable[[Answers], bool] = never


def number(text: str) -> float:
    """A number without a unit."""
    if re.fullmatch(r"-?([0-9]{1,15}(\.[0-9]{1,15})?|\.[0-9]{1,15})", text) is None:
        raise ValueError(
            f"{text!r} is no plain number: wanted digits and a decimal point, without a unit"
        )
    return float(text)


def whole_number(text: str) -> int:
    """A whole number without a unit."""
    if re.fullmatch(r"-?[0-9]{1,15}", text) is None:
        raise ValueError(f"{text!r} is no whole number")
    return int(text)


def yes_or_no(text: str) -> bool:
    """One of the choices yes and no."""
    return text == "yes"


def two_ends(text: str) -> list[str]:
    """The two ends of a range, written with `to` between them."""
    ends = re.split(r"\s+to\s+", text)
    if len(ends) != 2:
        raise ValueError("wanted both ends with 'to' between them: -1 psi to 1 psi")
    return ends


def sheet_rows(text: str) -> list[list[float]]:
    """Figures of a data sheet, three numbers each, with semicolons between them."""
    rows = []
    for figure in text.split(";"):
        words = figure.split()
        if len(words) != 3:
            raise ValueError(
                f"{figure.strip()!r}: wanted three numbers, speed in rpm, vacuum and flow, with "
                "spaces between them: 2750 8 1405"
            )
        rows.append([number(word) for word in words])
    return rows


_PIECE = re.compile(
    r"(?P<length>.+?) of (?P<bore>.+?) (?P<wall>smooth|corrugated|unknown)(?P<fittings>(,.*)?)"
)
_FITTING = re.compile(r"([0-9]{1,3}) (bend|elbow|coupling)s?")


def hose_pieces(text: str) -> list[Mapping[str, Value]]:
    """The pieces of a hose, with semicolons between them."""
    pieces: list[Mapping[str, Value]] = []
    for piece in text.split(";"):
        match = _PIECE.fullmatch(piece.strip())
        if match is None:
            raise ValueError(
                f"{piece.strip()!r}: wanted length, bore and wall: 70 ft of 5 in smooth, 2 bends"
            )
        found: dict[str, Value] = {name: match[name] for name in ("length", "bore", "wall")}
        for said in filter(None, map(str.strip, match["fittings"].split(","))):
            fitting = _FITTING.fullmatch(said)
            if fitting is None:
                raise ValueError(f"{said!r}: wanted a count of bends, elbows or couplings")
            found[f"{fitting[2]}s"] = int(fitting[1])
        pieces.append(found)
    return pieces

"""What the guide asks, and the note that an answer makes."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from secrets import token_hex
from typing import Any, Final, NamedTuple

from pullcurve.rig.models import Rig
from pullcurve.run_log.notes import PLACES

OF_HOLD: Final = ("engine_speed", "vacuum")
OF_SWEEP: Final = ("plate", "hose")
_VACUUM_UNITS: Final = {
    "us": ("inHg", "inH2O", "psi", "kPa", "mbar"),
    "si": ("kPa", "mbar", "mmHg", "inHg", "psi"),
}
_LENGTH_UNITS: Final = {
    "us": (("ft", "in", "m"), ("in", "mm")),
    "si": (("m", "ft"), ("mm", "cm", "in")),
}


class Field(NamedTuple):
    """`options` empty: a number; else one of these."""

    name: str
    label: str
    options: tuple[str, ...] = ()


class Button(NamedTuple):
    name: str
    label: str


@dataclass(frozen=True)
class Question:
    """`hold`: the key of that which it is about, empty where it is about the sweep."""

    name: str
    label: str
    fields: tuple[Field, ...]
    buttons: tuple[Button, ...]
    caution: str = ""
    hold: str = ""


@dataclass
class Hold:
    """`key`: of this hold alone, in whatever sweep, log and watch."""

    speed_rpm: float
    start_s: float
    end_s: float
    answered: set[str] = field(default_factory=set)
    key: str = field(default_factory=lambda: token_hex(4))


class Noted(NamedTuple):
    """A line for the log, as a person would type it, and when it holds: `where` in words, empty
    where it holds from now on."""

    text: str
    at: str = ""
    where: str = ""


class Questions:
    """Those that are open still: of the sweep, and of its newest hold."""

    def __init__(self, rig: Rig, units: str) -> None:
        self._never: set[str] = set()
        self._told: set[str] = set()  # of the questions for the whole sweep
        self._place = "tank" if rig.meter.position == "port" else ""  # with no hose on it
        self._pressure_units = _VACUUM_UNITS[units]
        self._length_units = _LENGTH_UNITS[units]
        if rig.pickups.engine_shaft is not None:
            self._never.add("engine_speed")
        if rig.meter.position == "port" or rig.machine.hose:
            self._never.add("hose")
        if rig.sensors.blower_air is not None:
            self._never.add("vacuum")

    def next_sweep(self) -> None:
        self._told.discard("plate")

    def of_sweep(self) -> tuple[Question, ...]:
        names = [name for name in OF_SWEEP if name not in self._told | self._never]
        return tuple(self._question(name) for name in names)

    def of_hold(self, holds: Sequence[Hold]) -> tuple[Question, ...]:
        if not holds:
            return ()
        names = [name for name in OF_HOLD if name not in holds[-1].answered | self._never]
        return tuple(self._question(name, holds[-1].key, len(holds)) for name in names)

    def answer(
        self,
        question: str,
        button: str,
        said: Mapping[str, str],
        key: str,
        holds: Sequence[Hold],
    ) -> Noted | None:
        """The note that an answer makes; None where it makes none.

        What is typed is not judged here. Call `answered` once the note is written. Both raise
        ValueError with a sentence where the question is not open.
        """

        def of(name: str) -> str:
            return str(said.get(name, "")).strip()

        hold = self._open(question, button, key, holds)
        if button == "never":
            return None
        text = {
            "engine_speed": f"engine {of('reading')} rpm",
            "vacuum": f"vacuum {of('reading')} {of('unit')} at {of('place')}",
            "hose": f"hose {of('length')} {of('length_unit')} of {of('bore')} {of('bore_unit')}",
            "plate": f"plate on, bore {of('bore')} {of('unit')}" if of("bore") else "plate on",
        }[question]
        if question == "vacuum" and of("place"):
            self._place = of("place")
        if hold is None:
            return Noted(f"{question} off" if button == "off" else text)
        at = f"{(hold.start_s + hold.end_s) / 2:.0f} s"
        return Noted(text, at, f"in hold {holds.index(hold) + 1}")

    def answered(self, question: str, button: str, key: str, holds: Sequence[Hold]) -> None:
        """The answer is in the log."""
        hold = self._open(question, button, key, holds)
        if button == "never":
            self._never.add(question)
        elif hold is not None:
            hold.answered.add(question)
        else:
            self._told.add(question)

    def _open(self, question: str, button: str, key: str, holds: Sequence[Hold]) -> Hold | None:
        """The hold that an open question is about; None where it is about the sweep."""
        hold = None
        if question in OF_HOLD:
            hold = next((hold for hold in holds if hold.key == key), None)
            if hold is None:
                raise ValueError(texts()["refused"]["gone"])
        answered = self._never | (self._told if hold is None else hold.answered)
        words = texts()["questions"].get(question, {})
        if question in answered or button not in _buttons(words):
            raise ValueError(texts()["refused"]["closed"])
        return hold

    def _question(self, name: str, key: str = "", number: int = 0) -> Question:
        words = texts()["questions"][name]
        lengths, bores = self._length_units
        places = tuple(sorted(PLACES, key=lambda place: place != self._place))
        options = {
            "vacuum": {"unit": self._pressure_units, "place": places},
            "plate": {"unit": bores},
            "hose": {"length_unit": lengths, "bore_unit": bores},
        }.get(name, {})
        fields = {
            "engine_speed": ("reading",),
            "vacuum": ("reading", "unit", "place"),
            "plate": ("bore", "unit"),
            "hose": ("length", "length_unit", "bore", "bore_unit"),
        }[name]
        return Question(
            name,
            words["label"].format(number=number),
            tuple(Field(each, words[each], options.get(each, ())) for each in fields),
            tuple(Button(each, words[each]) for each in _buttons(words)),
            words.get("caution", ""),
            key,
        )


def _buttons(words: Mapping[str, str]) -> list[str]:
    return [name for name in ("write", "never", "on", "off") if name in words]


@cache
def texts() -> dict[str, Any]:
    """Every word of the guide."""
    text = (files("pullcurve.live") / "guide_texts.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)

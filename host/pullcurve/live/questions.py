"""What the guide asks, and the note that an answer makes."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
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
    name: str
    label: str
    fields: tuple[Field, ...]
    buttons: tuple[Button, ...]
    caution: str = ""


@dataclass
class Hold:
    speed_rpm: float
    start_s: float
    end_s: float
    answered: set[str] = field(default_factory=set)


class Noted(NamedTuple):
    """A line for the log, as a person would type it, and when it holds."""

    text: str
    at: str


class Questions:
    """Those that are open still: of the sweep, and of its newest hold."""

    def __init__(self, rig: Rig, units: str) -> None:
        self._never: set[str] = set()
        self._told: set[str] = set()  # of the questions for the whole sweep
        self._place = ""
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
        return tuple(self._question(name, number=len(holds)) for name in names)

    def answer(
        self, question: str, button: str, said: Mapping[str, str], holds: Sequence[Hold]
    ) -> Noted | None:
        """The note that an answer makes; None where it makes none.

        What is typed is not judged here. Call `answered` once the note is written.
        """

        def of(name: str) -> str:
            return str(said.get(name, "")).strip()

        if button == "never":
            return None
        at = _hold_time(holds) if question in OF_HOLD else ""
        text = {
            "engine_speed": f"engine {of('reading')} rpm",
            "vacuum": f"vacuum {of('reading')} {of('unit')} at {of('place')}",
            "hose": f"hose {of('length')} {of('length_unit')} of {of('bore')} {of('bore_unit')}",
            "plate": f"plate on, bore {of('bore')} {of('unit')}" if of("bore") else "plate on",
        }.get(question)
        if text is None:
            return None
        if question == "vacuum" and of("place"):
            self._place = of("place")
        return Noted(f"{question} off" if button == "off" else text, at)

    def answered(self, question: str, button: str, holds: Sequence[Hold]) -> None:
        """The answer is in the log."""
        if button == "never":
            self._never.add(question)
        elif question in OF_HOLD and holds:
            holds[-1].answered.add(question)
        else:
            self._told.add(question)

    def _question(self, name: str, **filled: int) -> Question:
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
        buttons = ("write", "never") if "write" in words else ("on", "off")
        return Question(
            name,
            words["label"].format(**filled),
            tuple(Field(each, words[each], options.get(each, ())) for each in fields),
            tuple(Button(each, words[each]) for each in buttons),
            words.get("caution", ""),
        )


def _hold_time(holds: Sequence[Hold]) -> str:
    return f"{(holds[-1].start_s + holds[-1].end_s) / 2:.0f} s" if holds else ""


@cache
def texts() -> dict[str, Any]:
    """Every word of the guide."""
    text = (files("pullcurve.live") / "guide_texts.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)

"""The kinds of findings, and the row of each in catalogue.toml.

A detector makes a `Finding` with `found`: its kind, what it is about, and the values of its
evidence. All that is said of it, and how every page, guide and metric takes it, is its row's.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum, auto
from importlib.resources import files
from string import Formatter
from typing import Any, Final, Literal, NamedTuple, get_args

Grade = Literal["trouble", "warning", "note", "contradiction"]
Consequence = Literal["none", "widened", "withheld"]
Quantity = Literal["differential_pressure", "station_pressure", "height", "temperature_difference"]


class Kind(StrEnum):
    """Every kind of finding."""

    TUBES_REVERSED = auto()
    SENSOR_CLIPPED = auto()
    WATER_IN_LINE = auto()
    NO_ZERO = auto()
    ZERO_MOVED = auto()
    WRONG_MARKS = auto()
    MARK_MISSED = auto()
    PICKUP_DROPOUT = auto()
    ABOVE_RATED_SPEED = auto()
    PICKUP_RESTARTED = auto()
    SEA_LEVEL_PRESSURE = auto()
    IMPOSSIBLE_PRESSURE = auto()
    NO_SOLUTION = auto()
    METER_LIMIT = auto()
    OUTSIDE_LIMIT = auto()
    STRAIGHTENER_MISSING = auto()
    STRAIGHTENER_CLOGGED = auto()
    STRAIGHT_FLOW_UNSTATED = auto()
    BOARD_WARMED = auto()
    RECORDS_LOST = auto()
    RECORDS_DROPPED = auto()
    RECORDS_MISSING = auto()
    CLOCK_JUMP = auto()
    BOARD_RESET = auto()
    SENSOR_LOST = auto()
    BOARD_SAYS = auto()
    BOARD_LATE = auto()
    LOG_CUT_OFF = auto()
    NO_SETTLED_POINT = auto()
    NOTE_MISPLACED = auto()
    NOTE_UNUSED = auto()
    BELT_RATIO_BELOW_ONE = auto()
    BORE_COPIED = auto()
    COEFFICIENT_TOO_SHARP = auto()
    TAP_SENSOR_UNNAMED = auto()
    STATION_PRESSURE_UNKNOWN = auto()
    TEMPERATURE_UNKNOWN = auto()
    BROCHURE_BEYOND_DISPLACEMENT = auto()
    RATED_BEYOND_SHEET = auto()
    HOSE_MEETS_OTHER_PORT = auto()
    RELIEF_TOO_DEEP = auto()
    TYPED_ENGINE_SPEED = auto()
    BELT_RATIO = auto()
    RATED_SPEED = auto()
    TYPED_READING = auto()
    BASELINE = auto()
    NO_FIT = auto()


class Limit(NamedTuple):
    """A limit of use that is crossed: bores in m, a straight length in bores, pressures in Pa."""

    quantity: str
    value: float  # the one farthest outside
    least: float
    greatest: float
    source: str


Value = float | int | str | Limit


@dataclass(frozen=True)
class Field:
    """How a value of the evidence is written: as a quantity in the units of the page, as a
    `limit`, as a count of "one|many", or by a `form` of Python's."""

    form: str
    quantity: Quantity | None = None
    digits: int = 2
    signed: bool = False

    @classmethod
    def parse(cls, text: str) -> "Field":
        name, _, how = text.partition(":")
        if name not in get_args(Quantity):
            return cls(text)
        quantity: Any = name
        return cls("", quantity, int(how.strip("+") or 2), "+" in how)


@dataclass(frozen=True)
class Row:
    """What the catalogue says of a kind; catalogue.toml explains each."""

    grade: Grade
    check: str = ""
    spoils: Consequence = "none"
    withheld: str = ""
    veto: str = ""
    subject: str = ""
    evidence: str = ""
    cases: Mapping[str, str] = field(default_factory=dict)
    action: str = ""
    actions: Mapping[str, str] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    guide: Literal["", "stop", "mend"] = ""
    live: bool = False
    steps: str = ""
    fields: Mapping[str, Field] = field(default_factory=dict)

    def evidence_of(self, case: str) -> str:
        """The evidence's sentence of a case, with the names of its values in braces."""
        return self.evidence.replace("{case}", self.cases[case] if case else "")

    def action_of(self, case: str) -> str:
        """What to do in a case, behind its cautions."""
        action = self.actions.get(case, self.action)
        return "".join(_CAUTIONS[name] for name in self.cautions) + action if action else ""

    def names(self, case: str) -> set[str]:
        """The values that the words of a case need."""
        words = self.evidence_of(case) + self.action_of(case)
        return {name for _, name, _, _ in Formatter().parse(words) if name} - {"subject"}


@dataclass(frozen=True)
class Finding:
    """Something that a run or a rig shows. `values` are in SI, by the names of the evidence's
    fields; `consequence` is what was done about it: nothing, intervals widened, or results
    withheld."""

    kind: Kind
    subject: str
    consequence: Consequence
    case: str = ""
    values: Mapping[str, Value] = field(default_factory=dict)
    start_s: float | None = None
    end_s: float | None = None

    @property
    def row(self) -> Row:
        return CATALOGUE[self.kind]

    @property
    def grade(self) -> Grade:
        return self.row.grade

    def number(self, name: str) -> float:
        """The value of a field that is a number."""
        value = self.values[name]
        if isinstance(value, str | Limit):
            raise TypeError(f"{self.kind}: {name} is no number")
        return float(value)


def found(
    kind: Kind,
    subject: str = "",
    *,
    case: str = "",
    spoils: Consequence | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    **values: Value,
) -> Finding:
    """A finding of a kind; what is not said of it is as its row says.

    Raises ValueError where a value is missing that its words need.
    """
    row = CATALOGUE[kind]
    if bool(row.cases) != bool(case) or not row.names(case) <= set(values) <= set(row.fields):
        raise ValueError(f"{kind}: {case!r} with {sorted(values)} is not what its row asks for")
    consequence = row.spoils if spoils is None else spoils
    return Finding(kind, subject or row.subject, consequence, case, values, start_s, end_s)


def _read() -> tuple[Mapping[str, str], Mapping[Kind, Row]]:
    text = (files("pullcurve.checks") / "catalogue.toml").read_text("utf-8")
    tables = tomllib.loads(text)
    cautions = tables.pop("cautions")
    rows = {}
    for name, entries in tables.items():
        parsed = {key: Field.parse(how) for key, how in entries.pop("fields", {}).items()}
        cautions_of = tuple(entries.pop("cautions", ()))
        rows[Kind(name)] = Row(**entries, cautions=cautions_of, fields=parsed)
    return cautions, rows


_CAUTIONS, _ROWS = _read()
CATALOGUE: Final = _ROWS
# Kinds that leave no verdict on the machine.
VETOES: Final = frozenset(kind for kind, row in CATALOGUE.items() if row.veto)

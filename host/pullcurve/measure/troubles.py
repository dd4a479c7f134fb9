"""What spoils a measurement: each trouble with its evidence, what to do, and what it costs."""

from typing import Literal, NamedTuple

STOPPED = "With the engine stopped and locked out, "  # begins what may be done only then

Quantity = Literal["differential_pressure", "station_pressure", "height", "temperature_difference"]


class Number(NamedTuple):
    """A number of a trouble's evidence, in SI; the report tells it in the units of its page."""

    name: str  # of its place in the evidence, in braces there
    quantity: Quantity
    value: float
    digits: int = 2
    signed: bool = False


class Trouble(NamedTuple):
    """`kind` is a code of one or more words; `evidence` says what was seen, with numbers. Those
    that have a unit stand in `numbers`, and by their names in the evidence.

    `consequence` is what was done about it: nothing, intervals widened, or results withheld.
    """

    kind: str
    subject: str
    evidence: str
    action: str
    consequence: Literal["none", "widened", "withheld"]
    start_s: float | None = None
    end_s: float | None = None
    numbers: tuple[Number, ...] = ()

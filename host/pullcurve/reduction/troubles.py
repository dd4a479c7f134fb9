"""What spoils a measurement: each trouble with its evidence, what to do, and what it costs."""

from typing import Literal, NamedTuple


class Trouble(NamedTuple):
    """`kind` is a code of one or more words; `evidence` says what was seen, with numbers.

    `consequence` is what was done about it: nothing, intervals widened, or results withheld.
    """

    kind: str
    subject: str
    evidence: str
    action: str
    consequence: Literal["none", "widened", "withheld"]
    start_s: float | None = None
    end_s: float | None = None

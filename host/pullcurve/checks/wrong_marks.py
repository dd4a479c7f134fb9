"""Whether a shaft carries as many marks as the rig says.

Speeds and limits are judgements: a rotary-lobe blower of a suction machine turns with 2000 to
4500 rev/min at full throttle (common practice, no source).
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pullcurve.checks.mark_pattern import MOST_MARKS, pattern

if TYPE_CHECKING:
    from pullcurve.examine import Run

SLOW_RPM, FAST_RPM = 1800.0, 5000.0  # a top speed outside which marks are doubted
LOWEST_TOP_RPM, USUAL_TOP_RPM = 1300.0, 2800.0  # of the speeds that are possible


@dataclass(frozen=True)
class MarksDoubt:
    """`seems`: how many marks the shaft seems to carry; `possible`: all numbers that fit;
    `evidence`: a sentence."""

    seems: int
    possible: tuple[int, ...]
    evidence: str


def marks_doubt(run: "Run", shaft: str) -> MarksDoubt | None:
    """Why the rig's number of marks of a shaft is doubted, None where it is not."""
    marks = run.channels.marks[shaft]
    typed = marks.marks_per_turn
    found = pattern(marks.interval, marks.interval_mark)
    top = np.nan
    if shaft == run.channels.blower_shaft_from:  # else the speed tells nothing of these marks
        turning = run.channels.table["speed_rpm"]
        top = float(turning[turning > 0].quantile(0.98))
    repeats = found.repeats_after if found else 1
    part = found.part_of(typed) if found and top < SLOW_RPM else None
    if found and found.contradicts(typed) and repeats != typed:
        possible = _possible(repeats, typed, top)
        seems, evidence = repeats, f"the intervals between marks repeat after every {repeats}."
    elif part is not None:
        possible = _possible(part, typed, top)
        seems = part if part > 1 else _likeliest(possible, typed, top)
        alike = "are all alike" if part == 1 else f"repeat after every {part}"
        evidence = (
            f"the intervals between marks {alike}, and with {typed} the top speed would be "
            f"{top:.0f} rpm only; with {seems} it is {top * typed / seems:.0f} rpm."
        )
    elif top > FAST_RPM:
        possible = _possible(repeats, typed, top)
        seems = _likeliest(possible, typed, top)
        evidence = (
            f"with {typed} the blower would reach {top:.0f} rpm; with {seems} it is "
            f"{top * typed / seems:.0f} rpm."
        )
    else:
        return None
    counted = f"{typed} mark{'s' * (typed > 1)} a turn"
    return MarksDoubt(seems, possible, f"The rig says {counted}, but {evidence}")


def _possible(seems: int, typed: int, top_rpm: float) -> tuple[int, ...]:
    """The numbers of marks that repeat so and give the blower a speed that blowers have."""
    fit = [
        number
        for number in range(seems, MOST_MARKS + 1, seems)
        if number != typed and LOWEST_TOP_RPM <= top_rpm * typed / number <= FAST_RPM
    ]
    return tuple(fit) or (seems,)


def _likeliest(possible: tuple[int, ...], typed: int, top_rpm: float) -> int:
    """The number with which the top speed is nearest to the usual one."""
    return min(possible, key=lambda number: abs(np.log(top_rpm * typed / number / USUAL_TOP_RPM)))

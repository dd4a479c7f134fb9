"""What the tables of a rig file share: quantities with their units, and strictness.

A quantity is written as text with its unit and becomes SI; whatever cannot be is refused with
a sentence.
"""

from __future__ import annotations

from functools import partial
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict

from pullcurve.quantities import Kind, to_si


class Table(BaseModel):
    """A table of a rig file."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


def quantity(kind: Kind) -> BeforeValidator:
    """Text with a unit of this kind, made SI."""
    return BeforeValidator(partial(to_si, kind=kind))


def between(low: float, high: float, sentence: str) -> AfterValidator:
    """A value that can be; outside, the sentence says what can."""

    def check(value: float) -> float:
        if not low <= value <= high:
            raise ValueError(sentence)
        return value

    return AfterValidator(check)


def _relative_uncertainty(value: float) -> float:
    if not 0.0 < value <= 0.30:
        raise ValueError(
            f"{value:.3g} is no plausible relative uncertainty (95 %): more than 0 %, at most 30 %"
        )
    return value


Length = Annotated[float, quantity("length")]
Pressure = Annotated[float, quantity("pressure")]
Temperature = Annotated[
    float,
    quantity("temperature"),
    between(233.15, 333.15, "no plausible air temperature: -40 C to 60 C"),
]
RelativeUncertainty = Annotated[float, quantity("ratio"), AfterValidator(_relative_uncertainty)]

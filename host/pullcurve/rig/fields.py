"""What the tables of a rig file share: quantities with their units, and strictness.

A quantity is written as text with its unit and becomes SI; whatever cannot be is refused with
a sentence.
"""

from __future__ import annotations

from functools import partial
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict
from pydantic_core import ErrorDetails, PydanticCustomError

from pullcurve.quantities import Kind, to_si


class Table(BaseModel):
    """A table of a rig file."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


def misfit(sentence: str, *at: str | int) -> PydanticCustomError:
    """The error for values that are possible each by itself, and not together.

    at: the key, from the table that is checked, whose line the message shall name.
    """
    return PydanticCustomError("misfit", "{error}", {"error": sentence, "at": at})


def place_of(error: ErrorDetails) -> tuple[str | int, ...]:
    """The path of the key that an error is about."""
    return (*error["loc"], *(error["ctx"]["at"] if error["type"] == "misfit" else ()))


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
Speed = Annotated[
    float,
    quantity("speed"),
    between(100.0, 10_000.0, "no plausible speed of an engine or a blower: 100 to 10000 rpm"),
]
Flow = Annotated[
    float,
    quantity("volume_flow"),
    between(
        0.003, 30.0, "no plausible flow of a suction machine: 0.003 to 30 m3/s (6 to 63000 cfm)"
    ),
]
Bore = Annotated[
    Length,
    between(0.02, 0.6, "no plausible bore of a suction pipe: 20 mm to 600 mm (0.8 to 24 in)"),
]
RelativeUncertainty = Annotated[float, quantity("ratio"), AfterValidator(_relative_uncertainty)]

"""What every result is made of, and its way to and from JSON.

A result is a frozen dataclass of the floor that works it out. pydantic checks it, writes it and
gives its JSON schema, all from that one definition (`TypeAdapter`). Values are SI and the unit
ends each name; `low` and `high` are the ends of a 95 % interval, `u95` its half-width.
"""

from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Final, TypeVar

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError

from pullcurve.errors import ResultError

NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]
Number = Annotated[int, Field(ge=1)]  # of something that is counted from 1

# Of the class that a file holds, as `__pydantic_config__`; the parts within it take it over.
STRICT: Final = ConfigDict(extra="forbid", allow_inf_nan=False, revalidate_instances="always")

T = TypeVar("T")


def doc(text: str) -> Any:
    """Describe a field in the JSON schema."""
    return Field(description=text)


@dataclass(frozen=True)
class Interval:
    """A value with the ends of its 95 % interval."""

    value: float
    low: float
    high: float

    @property
    def half(self) -> float:
        """The wider of its two halves."""
        return max(self.high - self.value, self.value - self.low)


@dataclass(frozen=True)
class Quantity:
    """A value with the half-width of its 95 % interval."""

    value: float
    u95: NotNegative


def to_json(result: Any) -> str:
    """Write a result as JSON, in lines.

    Raises
    ------
    pydantic.ValidationError
        Where it breaks its own schema: a number that is none, a share above one.
    """
    kind: Any = type(result)
    adapter = _adapter(kind)
    return adapter.dump_json(adapter.validate_python(result), indent=1).decode() + "\n"


def from_json(kind: type[T], text: str | bytes) -> T:
    """Read a result of one kind.

    Raises
    ------
    ResultError
        Where the text is no such result, or one of another `schema_version`.
    """
    wanted: Any = kind
    adapter: TypeAdapter[T] = _adapter(wanted)
    try:
        return adapter.validate_json(text)
    except ValidationError as fault:
        raise ResultError(_why_not(kind, fault)) from None


def json_schema(kind: type) -> dict[str, Any]:
    """Give the JSON schema of a kind of result."""
    return _adapter(kind).json_schema()


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


def _why_not(kind: type, fault: ValidationError) -> str:
    for error in fault.errors():
        if error["loc"] == ("schema_version",):
            return (
                f"a {kind.__name__} of schema_version {error['input']!r}, which this version of "
                f"pullcurve does not read: make it again from its run log"
            )
    first = fault.errors()[0]
    place = ".".join(map(str, first["loc"])) or "the whole text"
    return f"no {kind.__name__}: {place}: {first['msg']}"

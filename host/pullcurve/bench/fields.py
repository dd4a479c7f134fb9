"""The fields that all tables of a scenario are made of."""

from typing import Annotated, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]


def _in_order(window: tuple[float, float]) -> tuple[float, float]:
    if window[0] >= window[1]:
        raise ValueError(f"the window {list(window)} must end after it starts")
    return window


Window = Annotated[tuple[NotNegative, NotNegative], AfterValidator(_in_order)]


class Table(BaseModel):
    """A table of the scenario's file: unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Stretch(Table):
    """Something that is there between two times."""

    from_s: NotNegative
    to_s: NotNegative

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.from_s >= self.to_s:
            raise ValueError(f"'to_s' {self.to_s:g} must come after 'from_s' {self.from_s:g}")
        return self

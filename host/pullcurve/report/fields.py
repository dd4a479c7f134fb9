"""What the parts of a result are made of."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]


class Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

"""How wrong each sensor part may be, from sensor_parts.toml."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Final

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from collections.abc import Mapping

Bound = Annotated[float, Field(gt=0.0)]
OfSpan = Annotated[float, Field(gt=0.0, lt=0.1)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class DifferentialPressureAccuracy(_Entry):
    """Published limits of a differential-pressure part, each a fraction of full-scale span.

    The full-scale span is the whole range, end to end: 5000 Pa for a +-2500 Pa part.
    The properties split the published bands into what a flow budget needs, as half-widths
    of rectangular distributions. The split is a judgement, not the sheets' own.
    """

    error_band: OfSpan = Field(description="total error band, zero error included")
    error_band_zeroed: OfSpan | None = Field(
        default=None, description="total error band after zeroing, where the sheet has one"
    )
    drift: OfSpan = Field(description="long-term stability, not part of the error band")
    nonlinearity: OfSpan = Field(description="nonlinearity, hysteresis and repeatability")
    source: str

    @property
    def zero_bound(self) -> float:
        """Zero error before any zeroing, fraction of span: it may take the whole band."""
        return self.error_band + self.drift

    @property
    def gain_bound(self) -> float:
        """Gain error, relative to the reading.

        What zeroing and nonlinearity leave of the band, taken as an error at the end of the
        range, which a two-sided part reaches at half its span. Where no band after zeroing
        is published, zeroing is taken to remove half of what nonlinearity leaves.
        """
        if self.error_band_zeroed is None:
            return self.error_band - self.nonlinearity
        return 2.0 * (self.error_band_zeroed - self.nonlinearity)


class Accuracy(_Entry):
    """Half-width of a rectangular distribution of the error, in SI units of the quantity."""

    bound: Bound
    source: str


class SensorPart(_Entry):
    """A sensor part; None where it does not measure a quantity well enough to be used."""

    differential_pressure: DifferentialPressureAccuracy | None = None
    pressure: Accuracy | None = None
    temperature: Accuracy | None = None
    humidity: Accuracy | None = None


def _shipped_parts() -> Mapping[str, SensorPart]:
    text = files("pullcurve.rig").joinpath("sensor_parts.toml").read_text("utf-8")
    return MappingProxyType(
        {name: SensorPart.model_validate(part) for name, part in tomllib.loads(text).items()}
    )


SENSOR_PARTS: Final[Mapping[str, SensorPart]] = _shipped_parts()

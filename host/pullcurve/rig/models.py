"""The rig: meter, site, pickups, machine and sensors, as checked, frozen models.

A person writes a rig in TOML, with each quantity as text with its unit; in the models every
value is SI. Attributes bear the file's own key names, but `temperature` is `temperature_k`.
Uncertainties are expanded, 95 %. The descriptions of the fields end the sentence of an
error, so they are worded for the person who writes the file.
"""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Final, Literal, cast, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationInfo,
    field_validator,
    model_validator,
)

from pullcurve.quantities import Kind, to_si
from pullcurve.rig.sensor_parts import SENSOR_PARTS

# For a tube that no standard covers and nobody calibrated: a judgement, not a standard.
DEFAULT_COEFFICIENT: Final[dict[str, str | float]] = {
    "discharge_coefficient": 0.97,
    "discharge_coefficient_uncertainty": "4 %",
    "discharge_coefficient_source": "none given: plastic tube outside any standard, by judgement",
}

Position = Literal["port", "hose_end", "clean_pipe"]
Role = Literal[
    "meter_dp", "ambient_air", "meter_air", "blower_air", "tank_air", "discharge_temperature"
]
# What a part must measure, one of these at least, to play the role.
_NEEDED: Final[dict[Role, tuple[str, ...]]] = {
    "meter_dp": ("differential_pressure",),
    "ambient_air": ("pressure", "temperature"),
    "meter_air": ("pressure",),
    "blower_air": ("pressure",),
    "tank_air": ("pressure",),
    "discharge_temperature": ("temperature",),
}


def _quantity(kind: Kind) -> BeforeValidator:
    return BeforeValidator(partial(to_si, kind=kind))


def _between(low: float, high: float, sentence: str) -> AfterValidator:
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


Length = Annotated[float, _quantity("length")]
Pressure = Annotated[float, _quantity("pressure")]
Temperature = Annotated[
    float,
    _quantity("temperature"),
    _between(233.15, 333.15, "no plausible air temperature: -40 C to 60 C"),
]
RelativeUncertainty = Annotated[float, _quantity("ratio"), AfterValidator(_relative_uncertainty)]


_OWN_TABLE: Any = Field(
    default=None, description="a table of its own, such as [pickups.blower_shaft]"
)


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Meter(_Table):
    """The differential-pressure meter and where it stands.

    The inlet's loss means something in open air only; in the clean pipe it is not used.
    """

    kind: Literal["venturi"] = Field(description='the kind of meter, "venturi"')
    position: Position = Field(
        description='where the meter stands: "port" (open air, on the machine\'s port, hose off), '
        '"hose_end" (open air, far end of the hose) or "clean_pipe" (between filter and blower)'
    )
    pipe_bore: Annotated[
        Length,
        _between(0.02, 0.6, "no plausible bore of a suction pipe: 20 mm to 600 mm (0.8 to 24 in)"),
    ] = Field(description='the measured bore at the upstream tap, such as "4.026 in"')
    throat_bore: Length = Field(description='the measured bore of the throat, such as "3.068 in"')
    bore_uncertainty: Length = Field(
        default=0.0002,
        description='how well each bore is known (95 %), such as "0.1 mm"; 0.2 mm where it is '
        "left out: inside caliper, mean of four diameters (judgement)",
    )
    discharge_coefficient: Annotated[
        float, _between(0.8, 1.05, "no plausible discharge coefficient: 0.8 to 1.05")
    ] = Field(
        description="a number such as 0.984, with its uncertainty and source: all three, or none "
        "of them for a plastic tube outside any standard (0.97, 4 %)"
    )
    discharge_coefficient_uncertainty: RelativeUncertainty = Field(
        description='relative, 95 %, such as "1.0 %"; it belongs to discharge_coefficient'
    )
    discharge_coefficient_source: str = Field(
        min_length=1,
        description="where the discharge coefficient comes from: the standard and its year, the "
        "certificate, the traverse and its date",
    )
    inlet_loss: Annotated[float, _between(0.0, 5.0, "no plausible loss coefficient: 0 to 5")] = (
        Field(
            default=0.5,
            description="loss of the tube's inlet in velocity heads of its pipe, a number: 0.05 "
            "rounded, 0.5 flush, 1 or more with a straightener",
        )
    )
    inlet_loss_uncertainty: Annotated[
        float, _between(0.0, 5.0, "no plausible uncertainty of a loss coefficient: 0 to 5")
    ] = Field(default=0.5, description="how well inlet_loss is known (95 %), a number such as 0.2")

    @property
    def beta(self) -> float:
        """Diameter ratio, throat to pipe."""
        return self.throat_bore / self.pipe_bore

    @model_validator(mode="before")
    @classmethod
    def _default_coefficient(cls, data: Any) -> Any:
        if isinstance(data, dict) and not DEFAULT_COEFFICIENT.keys() & data.keys():
            return {**data, **DEFAULT_COEFFICIENT}
        return data

    @field_validator("throat_bore")
    @classmethod
    def _throat_fits_pipe(cls, throat: float, info: ValidationInfo) -> float:
        if throat <= 0.0:
            raise ValueError("the throat's bore must be more than zero")
        pipe = info.data.get("pipe_bore")
        if pipe is None:
            return throat
        if throat >= pipe:
            raise ValueError(
                f"the throat ({throat * 1000:.4g} mm) must be smaller than the pipe "
                f"({pipe * 1000:.4g} mm): are the two bores swapped?"
            )
        if not 0.2 <= throat / pipe <= 0.85:
            raise ValueError(
                f"throat over pipe is {throat / pipe:.3f}: a meter has 0.2 to 0.85; are both "
                "bores in the unit they were measured in?"
            )
        return throat

    @field_validator("bore_uncertainty")
    @classmethod
    def _bores_known(cls, uncertainty: float, info: ValidationInfo) -> float:
        throat = info.data.get("throat_bore")
        if uncertainty <= 0.0 or (throat is not None and uncertainty > 0.05 * throat):
            raise ValueError(
                f"{uncertainty * 1000:.4g} mm is no plausible uncertainty of a bore (95 %): more "
                "than zero, at most a twentieth of the throat"
            )
        return uncertainty

    @field_validator("inlet_loss", "inlet_loss_uncertainty")
    @classmethod
    def _inlet_in_open_air(cls, value: float, info: ValidationInfo) -> float:
        if info.data.get("position") == "clean_pipe":
            raise ValueError(
                "a meter in the clean pipe has no open inlet: take this key out, the pressure at "
                "its upstream tap is measured by meter_air"
            )
        return value


class Site(_Table):
    """Where the machine stood, and what no sensor measures there."""

    altitude: Annotated[
        Length, _between(-450.0, 6000.0, "no plausible altitude of a site: -450 m to 6000 m")
    ] = Field(description='height above mean sea level, such as "1500 m" or "4900 ft"')
    station_pressure: (
        Annotated[
            Pressure,
            _between(40e3, 110e3, "no plausible absolute pressure of open air: 40 kPa to 110 kPa"),
        ]
        | None
    ) = Field(
        default=None,
        description='absolute, at the site, not reduced to sea level, such as "84.3 kPa"',
    )
    temperature_k: Temperature | None = Field(
        default=None, alias="temperature", description='of the open air, such as "20 C"'
    )
    humidity: (
        Annotated[float, _quantity("ratio"), _between(0.0, 1.0, "humidity is 0 % to 100 %")] | None
    ) = Field(default=None, description='relative humidity of the open air, such as "40 %"')


class Pickup(_Table):
    """An optical pickup on a shaft."""

    marks_per_turn: Annotated[
        int, _between(1, 60, "no plausible number of marks on a shaft: 1 to 60")
    ] = Field(description="reflecting marks or slots in one turn of this shaft, a whole number")


class Pickups(_Table):
    """The shafts that are watched; one at least."""

    blower_shaft: Pickup | None = _OWN_TABLE
    engine_shaft: Pickup | None = _OWN_TABLE

    @model_validator(mode="after")
    def _one_at_least(self) -> Pickups:
        if self.blower_shaft is None and self.engine_shaft is None:
            raise ValueError("no shaft is watched: add [pickups.blower_shaft], or engine_shaft")
        return self


class Machine(_Table):
    """What is known of the suction machine."""

    belt_ratio: (
        Annotated[
            float,
            _between(0.2, 5.0, "no plausible belt ratio, blower turns per engine turn: 0.2 to 5"),
        ]
        | None
    ) = Field(default=None, description="blower turns per engine turn, a number such as 1.2")


def _range(ends: object) -> tuple[float, float]:
    if not isinstance(ends, list) or len(ends) != 2:
        raise ValueError('wanted the two ends of the range, such as ["-2.5 kPa", "2.5 kPa"]')
    low, high = (to_si(end, "pressure") for end in ends)
    if low >= high:
        raise ValueError("the low end of the range must come first and be less than the high end")
    return low, high


class Sensor(_Table):
    """A sensor that was bought; the board announces what it really finds."""

    part: str = Field(description='the part\'s name, such as "HSC"')
    range: Annotated[tuple[float, float], BeforeValidator(_range)] | None = Field(
        default=None,
        description='rated ends of a differential-pressure part, such as ["-2.5 kPa", "2.5 kPa"]',
    )

    @field_validator("part")
    @classmethod
    def _known(cls, part: str) -> str:
        if part not in SENSOR_PARTS:
            raise ValueError(f"{part!r} is no part known here: {', '.join(SENSOR_PARTS)}")
        return part

    @field_validator("range")
    @classmethod
    def _has_ranges(
        cls, ends: tuple[float, float] | None, info: ValidationInfo
    ) -> tuple[float, float] | None:
        part = SENSOR_PARTS.get(info.data.get("part", ""))
        if part is not None and part.differential_pressure is None:
            raise ValueError(f"{info.data['part']} comes in one range only: take this key out")
        return ends


class Sensors(_Table):
    """The sensors by the role they play."""

    meter_dp: Sensor | None = _OWN_TABLE
    ambient_air: Sensor | None = _OWN_TABLE
    meter_air: Sensor | None = _OWN_TABLE
    blower_air: Sensor | None = _OWN_TABLE
    tank_air: Sensor | None = _OWN_TABLE
    discharge_temperature: Sensor | None = _OWN_TABLE

    @field_validator(*get_args(Role))
    @classmethod
    def _measures_what_the_role_needs(
        cls, sensor: Sensor | None, info: ValidationInfo
    ) -> Sensor | None:
        if sensor is None:
            return sensor
        role = cast("Role", info.field_name)
        part = SENSOR_PARTS[sensor.part]
        if not any(getattr(part, quantity) is not None for quantity in _NEEDED[role]):
            fit = [
                name
                for name, other in SENSOR_PARTS.items()
                if any(getattr(other, quantity) is not None for quantity in _NEEDED[role])
            ]
            wanted = " or ".join(_NEEDED[role]).replace("_", " ")
            raise ValueError(f"{sensor.part} measures no {wanted}; these do: {', '.join(fit)}")
        return sensor


class Rig(_Table):
    """All that was on the machine during a run."""

    name: str = Field(default="unnamed rig", min_length=1, description="free words, in quotes")
    meter: Meter = Field(description="the table [meter]")
    site: Site = Field(description="the table [site], with the altitude at least")
    pickups: Pickups = Field(
        description="the table [pickups.blower_shaft] or [pickups.engine_shaft], or both"
    )
    machine: Machine = Field(
        default_factory=Machine, validate_default=True, description="the table [machine]"
    )
    sensors: Sensors = Field(
        default_factory=Sensors, description="tables such as [sensors.meter_dp]"
    )
    _text: str = PrivateAttr(default="")
    _file: str = PrivateAttr(default="rig")

    def model_post_init(self, context: Any, /) -> None:
        if context is not None:
            self._text, self._file = context

    @property
    def text(self) -> str:
        """The file as the person wrote it, to be kept in the run log."""
        return self._text

    @property
    def file(self) -> str:
        """What messages call the file."""
        return self._file

    @field_validator("machine")
    @classmethod
    def _blower_speed_is_known(cls, machine: Machine, info: ValidationInfo) -> Machine:
        pickups = info.data.get("pickups")
        if pickups is not None and pickups.blower_shaft is None and machine.belt_ratio is None:
            raise ValueError(
                "only the engine's shaft is watched, so the blower's speed needs belt_ratio, "
                "blower turns per engine turn"
            )
        return machine

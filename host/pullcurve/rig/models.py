"""The rig: meter, site, pickups, machine and sensors, as checked, frozen models.

A person writes a rig in TOML, with each quantity as text with its unit; in the models every
value is SI. Attributes bear the file's own key names, but `temperature` is `temperature_k`.
Uncertainties are expanded, 95 %. The descriptions of the fields end the sentence of an
error, so they are worded for the person who writes the file.
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, cast, get_args

from pydantic import (
    BeforeValidator,
    Field,
    PrivateAttr,
    ValidationInfo,
    field_validator,
    model_validator,
)

from pullcurve.quantities import to_si
from pullcurve.rig.fields import Length, Pressure, Table, Temperature, between, quantity
from pullcurve.rig.machine import Machine
from pullcurve.rig.meter import OPEN_INLETS, Meter
from pullcurve.rig.sensor_parts import SENSOR_PARTS

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

_OWN_TABLE: Any = Field(
    default=None, description="a table of its own, such as [pickups.blower_shaft]"
)


class Site(Table):
    """Where the machine stood, and what no sensor measures there."""

    altitude: Annotated[
        Length, between(-450.0, 6000.0, "no plausible altitude of a site: -450 m to 6000 m")
    ] = Field(description='height above mean sea level, such as "620 m" or "2030 ft"')
    station_pressure: (
        Annotated[
            Pressure,
            between(40e3, 110e3, "no plausible absolute pressure of open air: 40 kPa to 110 kPa"),
        ]
        | None
    ) = Field(
        default=None,
        description='absolute, at the site, not reduced to sea level, such as "94.1 kPa"',
    )
    temperature_k: Temperature | None = Field(
        default=None, alias="temperature", description='of the open air, such as "12 C"'
    )
    humidity: (
        Annotated[float, quantity("ratio"), between(0.0, 1.0, "humidity is 0 % to 100 %")] | None
    ) = Field(default=None, description='relative humidity of the open air, such as "55 %"')


class Pickup(Table):
    """An optical pickup on a shaft."""

    marks_per_turn: Annotated[
        int, between(1, 60, "no plausible number of marks on a shaft: 1 to 60")
    ] = Field(description="reflecting marks or slots in one turn of this shaft, a whole number")


class Pickups(Table):
    """The shafts that are watched; one at least."""

    blower_shaft: Pickup | None = _OWN_TABLE
    engine_shaft: Pickup | None = _OWN_TABLE

    @model_validator(mode="after")
    def _one_at_least(self) -> Pickups:
        if self.blower_shaft is None and self.engine_shaft is None:
            raise ValueError("no shaft is watched: add [pickups.blower_shaft], or engine_shaft")
        return self


def _range(ends: object) -> tuple[float, float]:
    if not isinstance(ends, list) or len(ends) != 2:
        raise ValueError('wanted the two ends of the range, such as ["-2.5 kPa", "2.5 kPa"]')
    low, high = (to_si(end, "pressure") for end in ends)
    if low >= high:
        raise ValueError("the low end of the range must come first and be less than the high end")
    return low, high


class Sensor(Table):
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


class Sensors(Table):
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


class Rig(Table):
    """All that was on the machine during a run."""

    name: str = Field(default="unnamed rig", min_length=1, description="free words, in quotes")
    meter: Meter = Field(description="the table [meter]")
    site: Site = Field(description="the table [site], with the altitude at least")
    pickups: Pickups = Field(
        description="the table [pickups.blower_shaft] or [pickups.engine_shaft], or both"
    )
    machine: Machine = Field(
        default_factory=lambda: Machine.model_validate({}),
        validate_default=True,
        description="the table [machine]",
    )
    sensors: Sensors = Field(
        default_factory=Sensors, description="tables such as [sensors.meter_dp]"
    )
    _text: str = PrivateAttr(default="")
    _written: str = PrivateAttr(default="")
    _file: str = PrivateAttr(default="rig")

    def model_post_init(self, context: Any, /) -> None:
        if context is not None:
            self._text, self._written, self._file = context

    @property
    def text(self) -> str:
        """All that is needed to read the rig again, to be kept in the run log: the file with the
        rows of the blower's data sheet in place of the name of their file."""
        return self._text

    @property
    def written(self) -> str:
        """The file as the person wrote it."""
        return self._written

    @property
    def file(self) -> str:
        """What messages call the file."""
        return self._file

    @field_validator("sensors")
    @classmethod
    def _upstream_is_the_open(cls, sensors: Sensors, info: ValidationInfo) -> Sensors:
        meter = info.data.get("meter")
        if meter is not None and meter.kind in OPEN_INLETS and sensors.meter_air is not None:
            raise ValueError(
                f"a {meter.kind.replace('_', ' ')} has no upstream tap for meter_air: the air "
                "ahead of it is the open air, which ambient_air measures"
            )
        return sensors

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

"""The result of a run: what the JSON file holds and what every other output is made from.

Values are SI; the unit ends each name. `u95` is the half-width of the 95 % interval. Times are
board seconds since the first block. Names are those of the glossary in DEVELOPERS.md.
"""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

NotNegative = Annotated[float, Field(ge=0)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Quantity(_Frozen):
    """A value with the half-width of its 95 % interval."""

    value: float
    u95: NotNegative


class Flow(_Frozen):
    """Volume flow at one place and state, in cubic metres a second."""

    value_m3_s: float
    u95_m3_s: NotNegative
    basis: Literal["measured", "modelled"]
    pressure_pa: float = Field(description="absolute pressure of the air there")
    temperature_c: float = Field(description="temperature of the air there")


class SettledPoint(_Frozen):
    point: int = Field(ge=1, description="number in the order of time")
    sweep: int = Field(ge=1)
    hold: int = Field(ge=1, description="number within its sweep")
    start_s: float
    end_s: float
    speed_rpm: Quantity = Field(description="of the blower's shaft")
    differential_pressure_pa: Quantity
    mass_flow_kg_s: Quantity
    flow_tap: Flow = Field(description="actual flow at the meter's upstream tap")
    flow_port: Flow | None = Field(description="actual flow at the machine's port")
    flow_inlet: Flow | None = Field(
        description="the metered mass at the state of the air at the blower's inlet"
    )
    standard_flow_m3_s: Quantity
    vacuum_blower_pa: Quantity | None
    vacuum_tank_pa: Quantity | None
    discharge_temperature_c: float | None
    pulsation_ratio: NotNegative = Field(
        description="standard deviation of the differential pressure over its mean"
    )
    reynolds_number: float = Field(description="of the pipe ahead of the throat")
    remarks: tuple[str, ...] = ()


class Zero(_Frozen):
    """A stretch with the engine off, from which the sensor's zero is taken."""

    start_s: float
    end_s: float
    zero_pa: Quantity


class Note(_Frozen):
    """What a person said during the run or afterwards."""

    time_s: float | None
    what: str
    value: str
    place: str
    at: str = Field(description="as it was typed: empty for the moment of typing")


class Remark(_Frozen):
    """Something about the run that the reader must know, in words."""

    weight: Literal["note", "warning"]
    subject: str
    text: str = Field(description="what was seen and what it means")
    action: str = Field(description="what to do about it, empty when nothing")


class Contribution(_Frozen):
    """One input's part in the uncertainty of a point's standard flow."""

    source: str
    share: NotNegative = Field(description="of the variance, all together 1")
    u95_percent: NotNegative = Field(description="of the flow, from this input alone")
    shared: Literal["point", "run", "meter"] = Field(
        description="independent for each point, common to the run's points, or to the meter's runs"
    )


class DataQuality(_Frozen):
    records: int
    lost: int = Field(description="records whose numbers are missing")
    duplicated: int
    late: int
    damaged: dict[str, int] = Field(description="lines that are no record, by reason")
    board_starts: int
    samples: int
    stale_samples: int
    faulty_samples: int
    clipped_samples: int


class MeterFacts(_Frozen):
    kind: str
    position: Literal["port", "hose_end", "clean_pipe"]
    pipe_bore_m: float
    throat_bore_m: float
    discharge_coefficient: float
    discharge_coefficient_u95: float
    discharge_coefficient_source: str


class SiteFacts(_Frozen):
    altitude_m: float
    station_pressure_pa: float
    station_pressure_source: Literal["measured", "typed"]
    temperature_c: float
    temperature_source: Literal["measured", "typed"]
    humidity: float | None
    humidity_source: Literal["measured", "typed", "assumed"]


class Provenance(_Frozen):
    log_name: str
    log_sha256: str
    rig_name: str
    board: str
    board_id: str
    firmware: str
    pullcurve: str
    started: datetime | None = Field(description="host time of the first block, with its zone")
    sensors: tuple[str, ...] = Field(description="role and part of each, in words")


class TimeStrip(_Frozen):
    """Speed and differential pressure over the run, thinned for drawing."""

    time_s: tuple[float, ...]
    speed_rpm: tuple[float | None, ...]
    differential_pressure_pa: tuple[float | None, ...]


class RunResult(_Frozen):
    """Everything that is said of one run."""

    schema_version: Literal[1] = 1
    title: str
    headline: str = Field(description="the result in one sentence")
    reference_conditions: str = Field(
        description="of the standard flow, e.g. '101 325 Pa, 20 °C, dry'"
    )
    duration_s: float
    points: tuple[SettledPoint, ...]
    zeros: tuple[Zero, ...]
    zero_half_width_pa: NotNegative = Field(
        description="half-width of the rectangular distribution of the zero's error"
    )
    budget: tuple[Contribution, ...] = Field(description="of the fastest settled point")
    notes: tuple[Note, ...]
    remarks: tuple[Remark, ...]
    quality: DataQuality
    meter: MeterFacts
    site: SiteFacts
    strip: TimeStrip
    provenance: Provenance

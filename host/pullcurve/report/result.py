"""The result of a run: what the JSON file holds and what every other output is made from.

Values are SI; the unit ends each name. `u95` is the half-width of the 95 % interval. Times are
board seconds since the first block. Names are those of the glossary in DEVELOPERS.md.
"""

from datetime import datetime
from typing import Literal

from pydantic import Field, model_validator

from pullcurve.report.diagnosis_result import NoDiagnosis, RunDiagnosis
from pullcurve.report.fields import Frozen, NotNegative, Share

Source = Literal["measured", "typed", "assumed", "unknown"]


class Quantity(Frozen):
    """A value with the half-width of its 95 % interval."""

    value: float
    u95: NotNegative


class SharedInputs(Frozen):
    """Parts of a value's standard uncertainty that other values share, by the input's name.

    Each is sensitivity times standard uncertainty, with its sign and in the value's unit. The
    covariance of two values of one run is the sum of the products of their parts over both
    mappings; that of two runs with one meter the sum over `meter` alone. Inputs that are not
    named are 0.
    """

    run: dict[str, float] = Field(description="one error for all points of the run")
    meter: dict[str, float] = Field(description="one error for all runs with the meter")


class MeteredQuantity(Quantity):
    """A flow that follows from the meter, with what it shares with other flows."""

    shared_inputs: SharedInputs


class Flow(Frozen):
    """Volume flow at one place and state, in cubic metres a second."""

    value_m3_s: float
    u95_m3_s: NotNegative
    basis: Literal["measured", "modelled"] = Field(
        description="whether the state of the air there was measured"
    )
    pressure_pa: float = Field(description="absolute pressure of the air there")
    temperature_c: float = Field(description="temperature of the air there")
    shared_inputs: SharedInputs


class Contribution(Frozen):
    """One input's part in the uncertainty of a point's standard flow."""

    source: str
    share: Share = Field(description="of the variance, all together 1")
    u95_m3_s: NotNegative = Field(
        description="its part of the interval; the root of the sum of squares is the whole"
    )
    shared: Literal["point", "run", "meter"] = Field(
        description="independent for each point, common to the run's points, or to the meter's runs"
    )


class SettledPoint(Frozen):
    """A stretch in which speed and flow held still. Its flows are null where it is withheld."""

    point: int = Field(ge=1, description="number in the order of time")
    sweep: int = Field(ge=1)
    hold: int = Field(ge=1, description="number within its sweep")
    start_s: float
    end_s: float
    withheld: str | None = Field(
        default=None, description="why no flow is stated for this point, null where one is"
    )
    speed_rpm: Quantity = Field(description="of the blower's shaft")
    differential_pressure_pa: Quantity
    mass_flow_kg_s: MeteredQuantity | None
    flow_tap: Flow | None = Field(description="actual flow at the meter's upstream tap")
    flow_port: Flow | None = Field(description="actual flow at the machine's port")
    flow_inlet: Flow | None = Field(
        description="the metered mass at the state of the air at the blower's inlet"
    )
    standard_flow_m3_s: MeteredQuantity | None
    budget: tuple[Contribution, ...] = Field(
        description="of the standard flow, the largest part first"
    )
    vacuum_blower_pa: Quantity | None
    vacuum_tank_pa: Quantity | None
    discharge_temperature_c: float | None
    pulsation_ratio: NotNegative = Field(
        description="standard deviation of the differential pressure over its mean"
    )
    pulsation_error: Quantity = Field(
        description="what pulsation makes of the root of the mean differential pressure, relative; "
        "taken off the flows"
    )
    reynolds_number: float | None = Field(description="of the meter")
    discharge_coefficient: float | None = Field(description="as used at this Reynolds number")
    expansibility: float | None
    remarks: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _withheld_or_stated(self) -> "SettledPoint":
        flows = (self.mass_flow_kg_s, self.flow_tap, self.standard_flow_m3_s)
        if any((flow is None) != (self.withheld is not None) for flow in flows):
            raise ValueError("a point states its flows, or says why they are withheld")
        return self

    @property
    def standard_flow(self) -> MeteredQuantity:
        """The standard flow of a point that states one."""
        if self.standard_flow_m3_s is None:
            raise ValueError(f"the flow of point {self.point} is withheld")
        return self.standard_flow_m3_s


class RejectedStretch(Frozen):
    """A stretch that was looked at and gives no settled point."""

    start_s: float
    end_s: float
    speed_rpm: float
    reason: str


class Zero(Frozen):
    """A stretch with the engine off, from which the sensor's zero is taken."""

    start_s: float
    end_s: float
    zero_pa: Quantity


class Note(Frozen):
    """What a person said during the run or afterwards."""

    time_s: float | None
    what: str
    value: str
    place: str
    at: str = Field(description="as it was typed: empty for the moment of typing")


class TroubleNumber(Frozen):
    """A number in the evidence of a trouble."""

    name: str = Field(description="of its place in the pattern")
    quantity: Literal[
        "differential_pressure", "station_pressure", "height", "temperature_difference"
    ]
    value: float = Field(description="in SI units")
    digits: int = Field(description="worth telling")
    signed: bool


class Trouble(Frozen):
    """What spoils the measurement, or might have."""

    kind: str = Field(pattern=r"^[a-z][a-z0-9_]*$", description="a code of one or more words")
    subject: str
    evidence: str = Field(description="what was seen, with numbers in SI units")
    pattern: str = Field(
        default="", description="the same, with a name in braces for each of the numbers"
    )
    numbers: tuple[TroubleNumber, ...] = ()
    action: str = Field(description="what to do about it, empty when nothing")
    consequence: Literal["none", "widened", "withheld"] = Field(
        description="what was done: nothing, intervals widened, or results withheld"
    )
    start_s: float | None = None
    end_s: float | None = None


class Remark(Frozen):
    """Something about the run that the reader may want to know, in words."""

    weight: Literal["note", "warning"]
    subject: str
    text: str = Field(description="what was seen and what it means")
    action: str = Field(description="what to do about it, empty when nothing")


class ChannelQuality(Frozen):
    """How much of the run one channel covers."""

    channel: str = Field(description="its column in the glossary")
    covered: Share = Field(description="of the run's time")
    gaps: int
    longest_gap_s: NotNegative
    longest_gap_start_s: float | None
    stale: Share | None = Field(
        description="share of the readings that were not yet renewed, null for a shaft's speed"
    )
    faulty: Share | None = Field(
        description="share of the readings that failed, null for a shaft's speed"
    )


class DataQuality(Frozen):
    records: int
    lost: int = Field(description="records whose numbers are missing")
    duplicated: int
    late: int
    damaged: dict[str, int] = Field(description="lines that are no record, by reason")
    board_starts: int
    samples: int = Field(description="of the differential pressure that were used")
    stale_samples: int
    faulty_samples: int
    clipped_samples: int
    channels: tuple[ChannelQuality, ...]


class MeterCoefficient(Frozen):
    """A discharge coefficient and where it comes from."""

    value: float
    u95: NotNegative
    source: str


class MeterFacts(Frozen):
    kind: str
    position: Literal["port", "hose_end", "clean_pipe"]
    pipe_bore_m: float | None = Field(description="null for an inlet that draws from the open")
    throat_bore_m: float
    straight_length_m: float | None = Field(
        description="straight pipe ahead, null where it is not stated"
    )
    discharge_coefficient: MeterCoefficient | None = Field(
        description="as the rig states it, null where the standard of the kind gives it"
    )


class SpeedFacts(Frozen):
    """Where the blower's speed comes from."""

    shaft: Literal["blower_shaft", "engine_shaft"]
    marks_per_turn: int
    belt_ratio: float | None = Field(
        description="blower turns per engine turn where the engine's shaft is watched, else null"
    )


class SensorLimit(Frozen):
    """How wrong a sensor may be: half-width of a rectangular distribution."""

    quantity: Literal["zero_pa", "gain", "linearity_pa", "pressure_pa", "temperature_k", "humidity"]
    half_width: NotNegative
    source: str = Field(description="the data sheet, and what of it is remembered or judged")


class SensorFacts(Frozen):
    role: str
    part: str
    range_pa: tuple[float, float] | None = Field(
        description="rated ends of a differential-pressure part"
    )
    limits: tuple[SensorLimit, ...]


class SiteFacts(Frozen):
    altitude_m: float
    station_pressure_pa: float | None
    station_pressure_source: Source
    temperature_c: float | None
    temperature_source: Source
    humidity: float | None
    humidity_source: Source


class Provenance(Frozen):
    log_name: str
    log_sha256: str
    log_format: int
    rig_name: str
    rig_sha256: str | None = Field(description="of the rig file's text, null where there is none")
    board: str
    board_id: str
    firmware: str
    record_format: int
    pullcurve: str
    libraries: dict[str, str] = Field(description="versions of what the numbers depend on")
    started: datetime | None = Field(description="host time of the first block, with its zone")


class TimeStrip(Frozen):
    """Speed and differential pressure over the run, thinned for drawing."""

    time_s: tuple[float, ...]
    speed_rpm: tuple[float | None, ...]
    differential_pressure_pa: tuple[float | None, ...]


class RunResult(Frozen):
    """Everything that is said of one run."""

    schema_version: Literal[1] = 1
    title: str
    headline: str = Field(description="the result in one sentence")
    reference_conditions: str = Field(
        description="of the standard flow, e.g. '101 325 Pa, 20 °C, dry'"
    )
    duration_s: float
    diagnosis: RunDiagnosis | NoDiagnosis = Field(
        description="what the run says of its machine, or why it says nothing"
    )
    points: tuple[SettledPoint, ...]
    rejected: tuple[RejectedStretch, ...]
    zeros: tuple[Zero, ...]
    zero_half_width_pa: NotNegative = Field(
        description="half-width of the rectangular distribution of the zero's error"
    )
    troubles: tuple[Trouble, ...] = Field(description="the gravest first")
    remarks: tuple[Remark, ...]
    notes: tuple[Note, ...]
    quality: DataQuality
    meter: MeterFacts
    speed: SpeedFacts
    sensors: tuple[SensorFacts, ...]
    site: SiteFacts
    strip: TimeStrip
    provenance: Provenance

    @property
    def stated(self) -> tuple[SettledPoint, ...]:
        """The settled points that state a flow."""
        return tuple(point for point in self.points if point.withheld is None)

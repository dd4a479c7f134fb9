"""The result of a run: what the JSON file holds and what every other output is made from.

Values are SI; the unit ends each name. `u95` is the half-width of the 95 % interval. Times are
board seconds since the first block. Names are those of the glossary in DEVELOPERS.md.
"""

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from pydantic import ConfigDict, Field

from pullcurve.checks.data_quality import DataQuality
from pullcurve.diagnosis.result import NoDiagnosis, RunDiagnosis
from pullcurve.measure.facts import MeterFacts, SensorFacts, SiteFacts, SpeedFacts
from pullcurve.measure.note_placing import Note
from pullcurve.measure.points import RejectedStretch, SettledPoint, Zero
from pullcurve.results import STRICT, NotNegative, doc
from pullcurve.run_log.provenance import Provenance


@dataclass(frozen=True)
class TroubleNumber:
    """A number in the evidence of a trouble."""

    name: Annotated[str, doc("of its place in the pattern")]
    quantity: Literal[
        "differential_pressure", "station_pressure", "height", "temperature_difference"
    ]
    value: Annotated[float, doc("in SI units")]
    digits: Annotated[int, doc("worth telling")]
    signed: bool


@dataclass(frozen=True, kw_only=True)
class Trouble:
    """What spoils the measurement, or might have."""

    kind: Annotated[
        str, Field(pattern=r"^[a-z][a-z0-9_]*$", description="a code of one or more words")
    ]
    subject: str
    evidence: Annotated[str, doc("what was seen, with numbers in SI units")]
    pattern: Annotated[str, doc("the same, with a name in braces for each of the numbers")] = ""
    numbers: tuple[TroubleNumber, ...] = ()
    action: Annotated[str, doc("what to do about it, empty when nothing")]
    consequence: Annotated[
        Literal["none", "widened", "withheld"],
        doc("what was done: nothing, intervals widened, or results withheld"),
    ]
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True)
class Remark:
    """Something about the run that the reader may want to know, in words."""

    weight: Literal["note", "warning"]
    subject: str
    text: Annotated[str, doc("what was seen and what it means")]
    action: Annotated[str, doc("what to do about it, empty when nothing")]


@dataclass(frozen=True)
class TimeStrip:
    """Speed and differential pressure over the run, thinned for drawing."""

    time_s: tuple[float, ...]
    speed_rpm: tuple[float | None, ...]
    differential_pressure_pa: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class RunResult:
    """Everything that is said of one run."""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    schema_version: Literal[2] = 2
    title: str
    headline: Annotated[str, doc("the result in one sentence")]
    reference_conditions: Annotated[str, doc("of the standard flow, e.g. '101 325 Pa, 20 °C, dry'")]
    duration_s: float
    diagnosis: Annotated[
        RunDiagnosis | NoDiagnosis, doc("what the run says of its machine, or why it says nothing")
    ]
    points: tuple[SettledPoint, ...]
    rejected: tuple[RejectedStretch, ...]
    zeros: tuple[Zero, ...]
    zero_half_width_pa: Annotated[
        NotNegative, doc("half-width of the rectangular distribution of the zero's error")
    ]
    troubles: Annotated[tuple[Trouble, ...], doc("the gravest first")]
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

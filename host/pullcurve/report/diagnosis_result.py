"""The part of a run's result that says what the machine lost, and to what.

Names are those of the glossary in DEVELOPERS.md. Values are SI, the unit ends each name; `low`
and `high` are the ends of the 95 % interval, which need not lie evenly about the value. All is at
the fastest hold of the first sweep, where nothing else is said.
"""

from typing import Literal

from pydantic import Field

from pullcurve.report.fields import Frozen, NotNegative, Share


class Interval(Frozen):
    """A value with the ends of its 95 % interval."""

    value: float
    low: float
    high: float

    @property
    def half(self) -> float:
        """The wider of its two halves."""
        return max(self.high - self.value, self.value - self.low)


class LedgerStep(Frozen):
    """An amount of the ledger: as volume in the state of the air at the blower's inlet, and as
    mass. A step takes away; a negative one gives."""

    name: str
    value_m3_s: float
    low_m3_s: float
    high_m3_s: float
    value_kg_s: float
    low_kg_s: float
    high_kg_s: float

    @property
    def volume(self) -> Interval:
        return Interval(value=self.value_m3_s, low=self.low_m3_s, high=self.high_m3_s)

    @property
    def mass(self) -> Interval:
        return Interval(value=self.value_kg_s, low=self.low_kg_s, high=self.high_kg_s)


class RatedFlow(Frozen):
    """The figure that the ledger starts from."""

    source: str = Field(description="what it is taken from")
    speed_rpm: float = Field(description="of the blower")
    flow_m3_s: float = Field(description="at the blower's inlet, in the air of the sheet")
    sheet_pressure_pa: float = Field(description="absolute, at the blower's inlet by the sheet")
    sheet_temperature_c: float
    standard_flow_there_m3_s: float = Field(description="the same as standard flow")
    standard_flow_here_m3_s: float = Field(
        description="standard flow of the same volume and pressure ratio in the air of this site"
    )


class FlowLedger(Frozen):
    """`rated` less all `steps` is `metered`."""

    point: int = Field(ge=1, description="number of the settled point that it is drawn up for")
    speed_rpm: float = Field(description="of the shaft that is watched, as turns of the blower")
    inlet_pressure_pa: float = Field(description="absolute, at the blower's inlet")
    inlet_temperature_c: float
    rated: LedgerStep
    steps: tuple[LedgerStep, ...]
    healthy: LedgerStep = Field(description="what a healthy blower would take in here, now")
    metered: LedgerStep = Field(description="where the meter stands, by all readings together")
    shortfall: LedgerStep = Field(description="rated less metered")
    lost: LedgerStep = Field(description="healthy less metered")
    ahead_of_meter: LedgerStep = Field(
        description="air that came in unasked before the meter: part of what was metered"
    )
    relieved: tuple[LedgerStep, ...] = Field(
        description="the metered flow, were one restriction taken out of the air's way"
    )
    rated_from: RatedFlow


class Cause(Frozen):
    """One cause, with the size that it has if it is there.

    low_speed: 1 - engine speed / rated; slipping_belt: 1 - blower speed / (engine speed x belt
    ratio); worn_clearances: slip beyond healthy / blower speed; leak: its mass flow / the
    blower's; restriction: what the blower's mass flow would gain were it put right.
    """

    name: str
    probability: Share
    size: float | None = Field(description="null where the data leave no room for the cause")
    low: float | None
    high: float | None
    places: dict[str, Share] = Field(description="probability of each place that it may be at")


class Candidate(Frozen):
    """A set of causes that the data leave open; empty for a healthy machine."""

    causes: tuple[str, ...]
    probability: Share
    places: dict[str, str] = Field(description="likeliest place of each of its causes with a place")


class DecidingReading(Frozen):
    """The one reading that would tell the first candidate from the second.

    In `unit`, which is SI; a ratio is a plain number. `spread` is the standard uncertainty of the
    difference.
    """

    name: str
    unit: Literal["rpm", "Pa", "K", "1"]
    under_first: float
    under_second: float
    difference: NotNegative
    spread: NotNegative
    decides: bool = Field(description="whether the difference is twice the spread or more")


class HealthyPoint(Frozen):
    """Standard flow at the meter's place of this machine in good order, at a settled point."""

    point: int = Field(ge=1)
    speed_rpm: float
    standard_flow_m3_s: float
    standard_flow_low_m3_s: float
    standard_flow_high_m3_s: float


class WearAlone(Frozen):
    """What it would take if wear were all: told where far less than the healthy flow is metered."""

    slip_ratio: Interval = Field(description="slip over that of a healthy blower")
    blanked_vacuum_pa: Interval = Field(
        description="at which such a blower would only turn its own air round; no test"
    )


class CarryingPlace(Frozen):
    """One place of the hose against what the spoil needs."""

    place: Literal["hose_end", "widest_bore"]
    bore_m: float
    velocity_m_s: Interval
    needed_low_m_s: float
    needed_high_m_s: float
    needed_flow_low_m3_s: float = Field(description="actual flow there, in the open air's state")
    needed_flow_high_m3_s: float
    largest_stone_low_m: float = Field(description="lifted upright with margin, as a sphere")
    largest_stone_high_m: float = Field(description="that just hangs, as broken stone")
    answer: Literal["carries", "doubtful", "falls_short"]


class SpoilCarried(Frozen):
    """Whether what enters at the hose's end still carries the spoil that the rig names."""

    spoil: str
    basis: Literal["measured", "modelled"] = Field(
        description="modelled where the hose was off during the run"
    )
    flow_m3_s: Interval = Field(description="actual flow at the hose's end, in the open air")
    places: tuple[CarryingPlace, ...]
    source: str = Field(description="of the recommended velocity")
    caution: str


class SpeedsAtOdds(Frozen):
    """Speeds at the fastest hold that no engine and no belt explains."""

    kind: Literal["typed_engine_speed", "belt_ratio", "rated_speed"] = Field(
        description="the engine's speed as typed against the blower's; both pickups against the "
        "belt ratio; a pickup against the rated speed"
    )
    engine_typed: str = Field(description="as it was typed, empty where a pickup gave it")
    engine_rpm: float | None
    rated_engine_rpm: float | None
    blower_rpm: float | None
    rated_blower_rpm: float
    belt_ratio: float | None


class RunDiagnosis(Frozen):
    """What a run says of its machine. Where a trouble of the meter vetoes a verdict, nothing is
    said of the machine: `ledger` is null, and `causes` and `candidates` are empty."""

    why_none: None = None
    label: str = Field(description="healthy, one cause, a pair joined by +, undecided, or vetoed")
    decided: bool
    probability: Share | None = Field(description="of the label, or of the likeliest candidate")
    certain: tuple[str, ...] = Field(description="causes that are there in any case")
    candidates: tuple[Candidate, ...] = Field(description="the likeliest first")
    vetoed_by: tuple[str, ...] = Field(
        description="kinds of troubles of the measurement, and of contradictions"
    )
    speeds_at_odds: SpeedsAtOdds | None
    doubted: tuple[str, ...] = Field(
        description="typed readings without which the others fit together"
    )
    causes: tuple[Cause, ...]
    deciding_reading: DecidingReading | None
    ledger: FlowLedger | None
    healthy_band: tuple[HealthyPoint, ...]
    wear_alone: WearAlone | None
    engine_speed_rpm: float | None = Field(description="at the fastest hold, where it is known")
    rated_engine_speed_rpm: float | None
    brochure_flow_m3_s: float | None = Field(description="as printed: it says no state of the air")
    spoil: SpoilCarried | None
    spoil_why_none: str = Field(description="why nothing is said of the spoil, empty where it is")
    baseline: str = Field(description="name of the earlier run's log, empty without one")

    @property
    def cause(self) -> dict[str, Cause]:
        return {cause.name: cause for cause in self.causes}


class NoDiagnosis(Frozen):
    why_none: str = Field(description="what is missing for a diagnosis")

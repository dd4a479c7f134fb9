"""What a run says of its machine: ledger, causes, verdict and what follows from them.

Names are those of the glossary in DEVELOPERS.md. Values are SI, the unit ends each name; `low`
and `high` are the ends of the 95 % interval, which need not lie evenly about the value. All is at
the fastest hold of the first sweep, where nothing else is said.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from pullcurve.checks.catalogue import Kind
from pullcurve.results import Interval, NotNegative, Number, Share, doc

Place = Literal["hose_end", "widest_bore"]
OddSpeed = Literal[Kind.TYPED_ENGINE_SPEED, Kind.BELT_RATIO, Kind.RATED_SPEED]


@dataclass(frozen=True)
class LedgerStep:
    """An amount of the ledger: as volume in the state of the air at the blower's inlet, and as
    mass. A step takes away; a negative one gives."""

    name: str
    value_m3_s: float
    low_m3_s: float
    high_m3_s: float
    value_kg_s: float
    low_kg_s: float
    high_kg_s: float

    @classmethod
    def of(cls, name: str, volume: Interval, mass: Interval) -> "LedgerStep":
        return cls(name, volume.value, volume.low, volume.high, mass.value, mass.low, mass.high)

    @property
    def volume(self) -> Interval:
        return Interval(self.value_m3_s, self.low_m3_s, self.high_m3_s)

    @property
    def mass(self) -> Interval:
        return Interval(self.value_kg_s, self.low_kg_s, self.high_kg_s)


@dataclass(frozen=True)
class RatedFlow:
    """The figure that the ledger starts from."""

    source: Annotated[str, doc("what it is taken from")]
    speed_rpm: Annotated[float, doc("of the blower")]
    flow_m3_s: Annotated[float, doc("at the blower's inlet, in the air of the sheet")]
    sheet_pressure_pa: Annotated[float, doc("absolute, at the blower's inlet by the sheet")]
    sheet_temperature_k: float
    standard_flow_there_m3_s: Annotated[float, doc("the same as standard flow")]
    standard_flow_here_m3_s: Annotated[
        float, doc("standard flow of the same volume and pressure ratio in the air of this site")
    ]


@dataclass(frozen=True)
class FlowLedger:
    """`rated` less all `steps` is `metered`."""

    point: Annotated[Number, doc("number of the settled point that it is drawn up for")]
    speed_rpm: Annotated[float, doc("of the shaft that is watched, as turns of the blower")]
    inlet_pressure_pa: Annotated[float, doc("absolute, at the blower's inlet")]
    inlet_temperature_k: float
    rated: LedgerStep
    steps: tuple[LedgerStep, ...]
    healthy: Annotated[LedgerStep, doc("what a healthy blower would take in here, now")]
    metered: Annotated[LedgerStep, doc("where the meter stands, by all readings together")]
    shortfall: Annotated[LedgerStep, doc("rated less metered")]
    lost: Annotated[LedgerStep, doc("healthy less metered")]
    ahead_of_meter: Annotated[
        LedgerStep, doc("air that came in unasked before the meter: part of what was metered")
    ]
    relieved: Annotated[
        tuple[LedgerStep, ...],
        doc("the metered flow, were one restriction taken out of the air's way"),
    ]
    rated_from: RatedFlow


@dataclass(frozen=True)
class Cause:
    """One cause, with the size that it has if it is there.

    low_speed: 1 - engine speed / rated; slipping_belt: 1 - blower speed / (engine speed x belt
    ratio); worn_clearances: slip beyond healthy / blower speed; leak: its mass flow / the
    blower's; restriction: what the blower's mass flow would gain were it put right.
    """

    name: str
    probability: Share
    size: Annotated[float | None, doc("null where the data leave no room for the cause")]
    low: float | None
    high: float | None
    places: Annotated[dict[str, Share], doc("probability of each place that it may be at")]


@dataclass(frozen=True)
class Candidate:
    """A set of causes that the data leave open; empty for a healthy machine."""

    causes: tuple[str, ...]
    probability: Share
    places: Annotated[dict[str, str], doc("likeliest place of each of its causes with a place")]


@dataclass(frozen=True)
class DecidingReading:
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
    decides: Annotated[bool, doc("whether the difference is twice the spread or more")]


@dataclass(frozen=True)
class HealthyPoint:
    """Standard flow at the meter's place of this machine in good order, at a settled point."""

    point: Number
    speed_rpm: float
    standard_flow_m3_s: float
    standard_flow_low_m3_s: float
    standard_flow_high_m3_s: float


@dataclass(frozen=True)
class WearAlone:
    """What it would take if wear were all: told where far less than the healthy flow is metered."""

    slip_ratio: Annotated[Interval, doc("slip over that of a healthy blower")]
    blanked_vacuum_pa: Annotated[
        Interval, doc("at which such a blower would only turn its own air round; no test")
    ]


@dataclass(frozen=True)
class CarryingPlace:
    """One place of the hose against what the spoil needs."""

    place: Place
    bore_m: float
    velocity_m_s: Interval
    needed_low_m_s: float
    needed_high_m_s: float
    needed_flow_low_m3_s: Annotated[float, doc("actual flow there, in the open air's state")]
    needed_flow_high_m3_s: float
    largest_stone_low_m: Annotated[float, doc("lifted upright with margin, as a sphere")]
    largest_stone_high_m: Annotated[float, doc("that just hangs, as broken stone")]
    answer: Literal["carries", "doubtful", "falls_short"]


@dataclass(frozen=True)
class SpoilCarried:
    """Whether what enters at the hose's end still carries the spoil that the rig names."""

    spoil: str
    basis: Annotated[
        Literal["measured", "modelled"], doc("modelled where the hose was off during the run")
    ]
    flow_m3_s: Annotated[Interval, doc("actual flow at the hose's end, in the open air")]
    places: tuple[CarryingPlace, ...]
    source: Annotated[str, doc("of the recommended velocity")]
    caution: str


@dataclass(frozen=True)
class SpeedsAtOdds:
    """Speeds at the fastest hold that no engine and no belt explains."""

    kind: Annotated[
        OddSpeed,
        doc(
            "the engine's speed as typed against the blower's; both pickups against the belt "
            "ratio; a pickup against the rated speed"
        ),
    ]
    engine_typed: Annotated[str, doc("as it was typed, empty where a pickup gave it")]
    engine_rpm: float | None
    rated_engine_rpm: float | None
    blower_rpm: float | None
    rated_blower_rpm: float
    belt_ratio: float | None


@dataclass(frozen=True, kw_only=True)
class RunDiagnosis:
    """What a run says of its machine. Where a trouble of the meter vetoes a verdict, nothing is
    said of the machine: `ledger` is null, and `causes` and `candidates` are empty."""

    why_none: None = None
    label: Annotated[str, doc("healthy, one cause, a pair joined by +, undecided, or vetoed")]
    decided: bool
    probability: Annotated[Share | None, doc("of the label, or of the likeliest candidate")]
    certain: Annotated[tuple[str, ...], doc("causes that are there in any case")]
    candidates: Annotated[tuple[Candidate, ...], doc("the likeliest first")]
    vetoed_by: Annotated[
        tuple[str, ...], doc("kinds of troubles of the measurement, and of contradictions")
    ]
    speeds_at_odds: SpeedsAtOdds | None
    doubted: Annotated[tuple[str, ...], doc("typed readings without which the others fit together")]
    causes: tuple[Cause, ...]
    deciding_reading: DecidingReading | None
    ledger: FlowLedger | None
    healthy_band: tuple[HealthyPoint, ...]
    wear_alone: WearAlone | None
    engine_speed_rpm: Annotated[float | None, doc("at the fastest hold, where it is known")]
    rated_engine_speed_rpm: float | None
    brochure_flow_m3_s: Annotated[float | None, doc("as printed: it says no state of the air")]
    spoil: SpoilCarried | None
    spoil_why_none: Annotated[str, doc("why nothing is said of the spoil, empty where it is")]
    baseline: Annotated[str, doc("name of the earlier run's log, empty without one")]

    @property
    def cause(self) -> dict[str, Cause]:
        return {cause.name: cause for cause in self.causes}


@dataclass(frozen=True)
class NoDiagnosis:
    why_none: Annotated[str, doc("what is missing for a diagnosis")]

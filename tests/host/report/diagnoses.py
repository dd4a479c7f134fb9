"""Invented diagnoses of the grit unit, one for each kind of verdict, for the report's tests."""

from dataclasses import replace

from host.report.results import result
from pullcurve.diagnosis.result import (
    Candidate,
    CarryingPlace,
    Cause,
    DecidingReading,
    FlowLedger,
    HealthyPoint,
    LedgerStep,
    RatedFlow,
    RunDiagnosis,
    SpoilCarried,
    WearAlone,
)
from pullcurve.report.result import RunResult
from pullcurve.results import Interval

DENSITY = 1.077  # kg/m3 at the blower's inlet
PLACES = {
    "leak": {"a": 0.05, "b": 0.15, "c": 0.80},
    "restriction": {"intake": 0.9, "filter": 0.06, "pipe": 0.04},
}
SIZES = {
    "low_speed": (0.0752, 0.0689, 0.0820),
    "slipping_belt": (0.11, 0.09, 0.13),
    "worn_clearances": (0.217, 0.145, 0.271),
    "leak": (0.19, 0.10, 0.27),
    "restriction": (0.15, 0.12, 0.19),
}


def step(name: str, value: float, low: float, high: float) -> LedgerStep:
    return LedgerStep(
        name=name,
        value_m3_s=value,
        low_m3_s=low,
        high_m3_s=high,
        value_kg_s=value * DENSITY,
        low_kg_s=low * DENSITY,
        high_kg_s=high * DENSITY,
    )


def ledger(*, lost: float = 0.165, governor: float = 0.0) -> FlowLedger:
    """Of 0.733 m3/s rated; `lost` is what a healthy blower would have moved more."""
    belt, slip, ahead = 0.004, 0.031, 0.014
    healthy = 0.733 - governor - belt - slip
    metered = healthy - lost
    return FlowLedger(
        point=6,
        speed_rpm=2620.0,
        inlet_pressure_pa=88_500.0,
        inlet_temperature_k=285.15,
        rated=step("rated", 0.733, 0.733, 0.733),
        steps=(
            step("governor", governor, governor - 0.004, governor + 0.004),
            step("belt", belt, 0.0, 0.008),
            step("slip", slip, 0.020, 0.044),
            step("wear_and_leak_behind", lost - ahead, lost - ahead - 0.02, lost - ahead + 0.02),
            step("leak_ahead", ahead, 0.0, 0.045),
        ),
        healthy=step("healthy", healthy, healthy - 0.012, healthy + 0.012),
        metered=step("metered", metered, metered - 0.02, metered + 0.02),
        shortfall=step("shortfall", 0.733 - metered, 0.713 - metered, 0.753 - metered),
        lost=step("lost", lost, lost - 0.02, lost + 0.02),
        ahead_of_meter=step("ahead_of_meter", 0.0, 0.0, 0.0),
        relieved=(
            step("clean_filter", metered * 1.02, metered, metered * 1.04),
            step("clear_intake", metered, metered - 0.02, metered + 0.02),
            step("open_port", metered * 1.11, metered * 1.08, metered * 1.14),
        ),
        rated_from=RatedFlow(
            source="data sheet, 2750 rpm and its least vacuum",
            speed_rpm=2750.0,
            flow_m3_s=0.733,
            sheet_pressure_pa=101_325.0,
            sheet_temperature_k=293.15,
            standard_flow_there_m3_s=0.733,
            standard_flow_here_m3_s=0.6974,
        ),
    )


def causes(*likely: str) -> tuple[Cause, ...]:
    return tuple(
        Cause(
            name=name,
            probability=0.97 if name in likely else 0.02,
            size=size[0] if name in likely else None,
            low=size[1] if name in likely else None,
            high=size[2] if name in likely else None,
            places={
                place: p * (0.97 if name in likely else 0.02)
                for place, p in PLACES.get(name, {}).items()
            },
        )
        for name, size in SIZES.items()
    )


def candidate(*named: str, probability: float = 0.5) -> Candidate:
    places = {"leak": "c", "restriction": "intake"}
    return Candidate(
        causes=named,
        probability=probability,
        places={name: places[name] for name in named if name in places},
    )


HEALTHY = RunDiagnosis(
    label="healthy",
    decided=True,
    probability=0.82,
    certain=(),
    candidates=(candidate(probability=0.82),),
    vetoed_by=(),
    speeds_at_odds=None,
    doubted=(),
    causes=causes(),
    deciding_reading=None,
    ledger=ledger(lost=0.016),
    healthy_band=(
        HealthyPoint(
            point=6,
            speed_rpm=2620.0,
            standard_flow_m3_s=0.602,
            standard_flow_low_m3_s=0.587,
            standard_flow_high_m3_s=0.617,
        ),
    ),
    wear_alone=None,
    engine_speed_rpm=2096.0,
    rated_engine_speed_rpm=2200.0,
    brochure_flow_m3_s=0.7079211648,
    spoil=None,
    spoil_why_none="",
    baseline="",
)


def single(*named: str) -> RunDiagnosis:
    """One cause, or a pair that is told."""
    return replace(
        HEALTHY,
        label="+".join(named),
        probability=0.94,
        certain=named,
        candidates=(candidate(*named, probability=0.94),),
        causes=causes(*named),
        ledger=ledger(governor=0.054 if "low_speed" in named else 0.0),
    )


TWIN = replace(
    HEALTHY,
    label="undecided",
    decided=False,
    probability=0.5,
    candidates=(candidate("worn_clearances"), candidate("leak", probability=0.45)),
    causes=causes("worn_clearances", "leak"),
    ledger=ledger(),
    deciding_reading=DecidingReading(
        name="discharge_temperature",
        unit="K",
        under_first=28.6,
        under_second=16.2,
        difference=12.4,
        spread=3.86,
        decides=True,
    ),
)
VETOED = replace(
    HEALTHY,
    label="vetoed",
    decided=False,
    probability=None,
    candidates=(),
    vetoed_by=("tubes_reversed",),
    causes=(),
    ledger=None,
    healthy_band=(),
)
FAR_BELOW = replace(
    single("worn_clearances"),
    ledger=ledger(lost=0.42),
    wear_alone=WearAlone(
        slip_ratio=Interval(value=27.0, low=24.0, high=31.0),
        blanked_vacuum_pa=Interval(value=4350.0, low=3500.0, high=5400.0),
    ),
)
GRAVEL = SpoilCarried(
    spoil="gravel",
    basis="modelled",
    flow_m3_s=Interval(value=0.595, low=0.565, high=0.625),
    places=(
        CarryingPlace(
            place="hose_end",
            bore_m=0.127,
            velocity_m_s=Interval(value=47.0, low=44.6, high=49.3),
            needed_low_m_s=45.0,
            needed_high_m_s=74.0,
            needed_flow_low_m3_s=0.570,
            needed_flow_high_m3_s=0.937,
            largest_stone_low_m=0.016,
            largest_stone_high_m=0.044,
            answer="doubtful",
        ),
    ),
    source="judgement",
    caution="wears hose and bends",
)


def diagnosed(said: RunDiagnosis) -> RunResult:
    """The sweep of six holds with a diagnosis."""
    return replace(result(), diagnosis=said)

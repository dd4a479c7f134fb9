"""What a report says of a run by physics. The facts told are common practice, no source; each
stands alone, and its figures are the run's.
"""

from dataclasses import replace

import pytest

from host.report.diagnoses import FAR_BELOW, HEALTHY, TWIN, diagnosed, single
from host.report.results import result
from pullcurve.diagnosis.result import (
    CarryingPlace,
    FlowLedger,
    RunDiagnosis,
    SpoilCarried,
    WearAlone,
)
from pullcurve.quantities import SI, US
from pullcurve.report.page import page
from pullcurve.report.physics_words import physics_sentences, spoil_sentences
from pullcurve.report.result import RunResult
from pullcurve.results import Interval

FT3_MIN = 0.3048**3 / 60
GRAVEL = SpoilCarried(
    spoil="gravel",
    basis="modelled",
    flow_m3_s=Interval(value=0.62, low=0.59, high=0.65),
    places=(
        CarryingPlace(
            place="hose_end",
            bore_m=0.127,
            velocity_m_s=Interval(value=48.9, low=46.6, high=51.3),
            needed_low_m_s=45.0,
            needed_high_m_s=74.0,
            needed_flow_low_m3_s=0.570,
            needed_flow_high_m3_s=0.937,
            largest_stone_low_m=0.017,
            largest_stone_high_m=0.048,
            answer="doubtful",
        ),
    ),
    source="judgement",
    caution="wears hose and bends",
)


def told(said: RunDiagnosis, run: RunResult | None = None) -> str:
    return " ".join(physics_sentences(run or diagnosed(said), said, US))


def ledger_of(said: RunDiagnosis) -> FlowLedger:
    assert said.ledger is not None
    return said.ledger


def test_far_below_the_report_says_what_wear_alone_would_take_and_asks_for_no_test() -> None:
    """Common practice, no source. 9000 (7500 to 10 800) Pa at 3386.389 Pa to the inch."""
    wear = WearAlone(
        slip_ratio=Interval(value=18.0, low=16.0, high=21.0),
        blanked_vacuum_pa=Interval(value=9000.0, low=7500.0, high=10_800.0),
    )
    said = replace(FAR_BELOW, wear_alone=wear)
    text, ledger = told(said), ledger_of(said)
    share = 100 * ledger.metered.value_m3_s / ledger.healthy.value_m3_s
    assert f"The meter sees {share:.0f} % of what a blower in good order would take in" in text
    assert "a slip 18.0 (16.0 to 21.0) times the healthy one" in text
    assert "at a vacuum of 2.66 (2.21 to 3.19) inHg: that is a consequence and no test" in text
    assert "look at speed, belt, relief valve, lids and doors as well" in text
    assert "consequence" not in told(HEALTHY)


def test_altitude_takes_mass_and_next_to_no_volume() -> None:
    """Common practice, no source."""
    rated = ledger_of(FAR_BELOW).rated_from
    thinner = 100 * (1 - rated.standard_flow_here_m3_s / rated.standard_flow_there_m3_s)
    assert f"the air here takes {thinner:.0f} % of the mass" in told(FAR_BELOW)
    assert "Altitude" not in told(HEALTHY)


def test_a_low_governor_loses_its_share_before_anything_is_worn() -> None:
    """Common practice, no source."""
    low = replace(single("low_speed"), engine_speed_rpm=2040.0, rated_engine_speed_rpm=2200.0)
    ledger = ledger_of(low)
    (lost,) = (step.value_m3_s for step in ledger.steps if step.name == "governor")
    share = 100 * lost / ledger.rated.value_m3_s
    flow = float(f"{lost / FT3_MIN:.2g}")
    text = told(low)
    assert f"the engine's 2040 rpm instead of 2200 take {flow:.0f} ft³/min" in text
    assert f"{share:.0f} % of the rated flow" in text
    assert "governed" not in told(HEALTHY)


@pytest.mark.parametrize(
    ("ratio", "words"), [(1.1, "110 % of"), (0.7, "70 % of"), (1.0, "as much as")]
)
def test_the_brochure_is_held_against_the_rated_flow(ratio: float, words: str) -> None:
    rated = ledger_of(HEALTHY).rated.value_m3_s
    said = replace(HEALTHY, brochure_flow_m3_s=ratio * rated)
    assert f"ft³/min are {words} what the blower is rated to take in" in told(said)
    silent = replace(HEALTHY, brochure_flow_m3_s=None)
    assert "brochure" not in told(silent)


def test_a_vacuum_alone_is_told_not_to_say_the_flow() -> None:
    """Common practice, no source."""
    assert "A vacuum alone does not tell the flow" in told(HEALTHY)
    silent = replace(diagnosed(HEALTHY), notes=())
    assert "A vacuum alone" not in told(HEALTHY, silent)


def test_half_the_differential_pressure_is_told_where_a_sweep_spans_it() -> None:
    """Common practice, no source."""
    assert "half of it is 71 % of the flow, not half" in told(HEALTHY)
    narrow = replace(result(((2500, 2620, 2750),)), diagnosis=HEALTHY)
    assert "71 %" not in told(HEALTHY, narrow)


def test_a_spoil_is_told_what_it_wants_and_from_where_that_is_known() -> None:
    heavy = replace(TWIN, spoil=GRAVEL)
    flow, place, source = spoil_sentences(heavy, SI)
    assert flow.startswith("At full speed 2230 (2120 to 2340) m³/h of open air enter")
    assert "modelled from this run and the rig's hose" in flow
    assert "the air runs 48.9 (46.6 to 51.3) m/s; gravel wants 45 to 74 m/s" in place
    assert "doubtful. The largest stone that it lifts upright: 17 mm with margin, 48 mm" in place
    assert source == "Source of what gravel wants: judgement; wears hose and bends."
    assert "Does it still carry the spoil?" in page(diagnosed(heavy), US)
    assert "gravel" not in told(heavy)


def test_an_unknown_spoil_is_told_with_the_kinds_that_are_known() -> None:
    unknown = replace(HEALTHY, spoil_why_none="no kind known here. Known are: dust.")
    assert spoil_sentences(unknown, US) == ["no kind known here. Known are: dust."]

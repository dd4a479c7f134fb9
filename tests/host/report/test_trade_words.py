"""Sayings of the trade against a run. Common practice, no source; the figures are the run's."""

from host.report.diagnoses import FAR_BELOW, GRAVEL, HEALTHY, TWIN, diagnosed, single
from host.report.results import result
from pullcurve.quantities import SI, US
from pullcurve.report.diagnosis_result import RunDiagnosis
from pullcurve.report.page import page
from pullcurve.report.result import RunResult
from pullcurve.report.trade_words import spoil_sentences, trade_sentences


def told(said: RunDiagnosis, run: RunResult | None = None) -> str:
    return " ".join(trade_sentences(run or diagnosed(said), said, US))


def test_far_below_the_report_says_what_wear_alone_would_take_and_asks_for_no_test() -> None:
    text = told(FAR_BELOW)
    assert "The meter sees 40 % of what a blower in good order would take in" in text
    assert "a slip 27.0 (24.0 to 31.0) times the healthy one" in text
    # 4350 (3500 to 5400) Pa, 1 inHg = 3386.389 Pa.
    assert "at a vacuum of 1.28 (1.03 to 1.59) inHg: that is a consequence and no test" in text
    assert "look at speed, belt, relief valve, lids and doors as well" in text
    assert "Altitude alone cannot do it: the air here takes 5 % of the mass" in text
    assert "Altitude" not in told(HEALTHY)


def test_a_low_governor_loses_its_share_before_anything_is_worn() -> None:
    text = told(single("low_speed"))
    assert "the engine's 2096 rpm instead of 2200 take 110 ft³/min, 7 % of the rated flow" in text
    assert "governed" not in told(HEALTHY)


def test_the_brochure_is_held_against_the_rated_flow() -> None:
    """1500 of 1553 ft³/min is no difference worth telling; 1400 ft³/min (0.6607 m3/s) is 90 %."""
    words = "ft³/min, without a word on place, vacuum and air. That is"
    assert f"sold as 1500 {words} as much as what its blower is rated" in told(HEALTHY)
    less = HEALTHY.model_copy(update={"brochure_flow_m3_s": 0.6607})
    assert f"sold as 1400 {words} 90 % of what its blower is rated" in told(less)


def test_a_typed_vacuum_is_told_not_to_say_the_flow() -> None:
    assert "A vacuum alone does not tell the flow" in told(HEALTHY)
    silent = diagnosed(HEALTHY).model_copy(update={"notes": ()})
    assert "A vacuum alone" not in told(HEALTHY, silent)


def test_half_the_differential_pressure_is_told_where_a_sweep_spans_it() -> None:
    assert "half of it is 71 % of the flow, not half" in told(HEALTHY)
    narrow = result(((2370, 2520, 2620),)).model_copy(update={"diagnosis": HEALTHY})
    assert "71 %" not in told(HEALTHY, narrow)


def test_heavy_spoil_is_told_of_the_2000_cubic_feet_and_of_its_hose() -> None:
    """2000 ft3/min in 5 in: 0.94389 m3/s over 12.6677e-3 m2 is 74.5 m/s, 14 700 ft/min."""
    heavy = TWIN.model_copy(update={"spoil": GRAVEL})
    assert "about 2000 ft³/min at the nozzle. In this hose's 5.00 in that would be 15" in told(
        heavy
    )
    flow, place, source = spoil_sentences(heavy, SI)
    assert flow.startswith("At full speed 2140 (2030 to 2250) m³/h of open air enter")
    assert "modelled from this run and the rig's hose" in flow
    assert "the air runs 47.0 (44.6 to 49.3) m/s; gravel wants 45 to 74 m/s" in place
    assert "doubtful. The largest stone that it lifts upright: 16 mm with margin, 44 mm" in place
    assert source == "Source of what gravel wants: judgement; wears hose and bends."
    assert "Does it still carry the spoil?" in page(diagnosed(heavy), US)


def test_an_unknown_spoil_is_told_with_the_kinds_that_are_known() -> None:
    unknown = HEALTHY.model_copy(update={"spoil_why_none": "no kind known here. Known are: dust."})
    assert spoil_sentences(unknown, US) == ["no kind known here. Known are: dust."]

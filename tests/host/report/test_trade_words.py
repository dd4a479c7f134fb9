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
    # 5600 (4500 to 6900) Pa, 1 inHg = 3386.389 Pa.
    assert "at a vacuum of 1.65 (1.33 to 2.04) inHg: that is a consequence and no test" in text
    assert "look at speed, belt, relief valve, lids and doors as well" in text
    assert "Altitude alone cannot do it: the air here takes 18 % of the mass" in text
    assert "Altitude" not in told(HEALTHY)


def test_a_low_governor_loses_its_share_before_anything_is_worn() -> None:
    text = told(single("low_speed"))
    assert "the engine's 2860 rpm instead of 3000 take 81 ft³/min, 7 % of the rated flow" in text
    assert "governed" not in told(HEALTHY)


def test_the_brochure_is_held_against_the_rated_flow() -> None:
    assert "sold as 1000 ft³/min, without a word on place, vacuum and air. That is 93 %" in told(
        HEALTHY
    )


def test_a_typed_vacuum_is_told_not_to_say_the_flow() -> None:
    assert "A vacuum alone does not tell the flow" in told(HEALTHY)
    silent = diagnosed(HEALTHY).model_copy(update={"notes": ()})
    assert "A vacuum alone" not in told(HEALTHY, silent)


def test_half_the_differential_pressure_is_told_where_a_sweep_spans_it() -> None:
    assert "half of it is 71 % of the flow, not half" in told(HEALTHY)
    narrow = result(((3100, 3300, 3432),)).model_copy(update={"diagnosis": HEALTHY})
    assert "71 %" not in told(HEALTHY, narrow)


def test_heavy_spoil_is_told_of_the_2000_cubic_feet_and_of_its_hose() -> None:
    """2000 ft3/min in 4 in: 0.94389 m3/s over 8.1073e-3 m2 is 116 m/s, 23 000 ft/min."""
    heavy = TWIN.model_copy(update={"spoil": GRAVEL})
    assert "about 2000 ft³/min at the nozzle. In this hose's 4.00 in that would be 23" in told(
        heavy
    )
    flow, place, source = spoil_sentences(heavy, SI)
    assert flow.startswith("At full speed 1332 (1260 to 1404) m³/h of open air enter")
    assert "modelled from this run and the rig's hose" in flow
    assert "the air runs 45.6 (43.2 to 48.1) m/s; gravel wants 45 to 74 m/s" in place
    assert "doubtful. The largest stone that it lifts upright: 16 mm with margin, 44 mm" in place
    assert source == "Source of what gravel wants: judgement; wears hose and bends."
    assert "Does it still carry the spoil?" in page(diagnosed(heavy), US)


def test_an_unknown_spoil_is_told_with_the_kinds_that_are_known() -> None:
    unknown = HEALTHY.model_copy(update={"spoil_why_none": "no kind known here. Known are: dust."})
    assert spoil_sentences(unknown, US) == ["no kind known here. Known are: dust."]

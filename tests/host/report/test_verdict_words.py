"""The verdict in words, for each kind of verdict; nothing is claimed that was not found."""

import re
from dataclasses import replace

import pytest

from host.report.diagnoses import HEALTHY, TWIN, VETOED, candidate, diagnosed, single
from host.report.results import result
from pullcurve.quantities import SI, US
from pullcurve.report.next_steps import DEFERS
from pullcurve.report.page import page
from pullcurve.report.result import RunResult
from pullcurve.report.summary import summary
from pullcurve.report.verdict_words import reading_sentences, verdict_sentences


def words(run: RunResult) -> str:
    """What the page says, without its markup."""
    text = re.sub(r"<style>.*?</style>|<[^>]+>", " ", page(run, US), flags=re.DOTALL)
    return " ".join(text.replace("&#39;", "'").split())


def test_a_healthy_machine_is_told_what_it_moves_of_what_it_should() -> None:
    said = verdict_sentences(HEALTHY, US)
    assert said[0].startswith("Nothing is wrong with this machine that the run could show: of the")
    # 0.698 and 0.682 +- 0.02 m3/s, 1 ft3/min = 4.719474e-4 m3/s (NIST SP 811:2008).
    assert "of the 1479 ft³/min" in said[0]
    assert "moves 1445 (1403 to 1487) ft³/min" in said[0]
    assert said[1] == "Probability of this answer among all that were weighed: 82\xa0%."


@pytest.mark.parametrize(
    ("cause", "sentence"),
    [
        (
            "low_speed",
            "The engine turns 7.5\xa0% (6.9 to 8.2\xa0%) slower than rated by all reading",
        ),
        ("slipping_belt", "The belt slips: the blower turns 11.0\xa0% (9.0 to 13.0\xa0%) slower"),
        ("worn_clearances", "The blower's clearances are worn: slip beyond that of a healthy blo"),
        ("leak", "Air comes in unasked at the blower (relief valve, last joint) or at the filter"),
        ("restriction", "The air's way is choked in hose or port: put right, the machine would t"),
    ],
)
def test_a_single_cause_is_told_with_its_size_and_place(cause: str, sentence: str) -> None:
    assert verdict_sentences(single(cause), SI)[0].startswith(sentence)


def test_a_slow_engines_figures_are_those_that_a_reader_reckons() -> None:
    """1 - 2034/2200 = 7.5 %, and 1 - 2029/2200 = 7.8 %, beside 7.5 % by all readings."""
    said = [
        verdict_sentences(replace(single("low_speed"), engine_speed_rpm=rpm), SI)[0]
        for rpm in (2034.0, 2029.0)
    ]
    assert "slower than rated: 2034 instead of 2200\xa0rpm." in said[0]
    assert "(its own speed, 2029 instead of 2200\xa0rpm, makes 7.8\xa0%)" in said[1]


def test_a_pair_is_told_in_one_sentence_with_what_both_take() -> None:
    said = verdict_sentences(single("low_speed", "worn_clearances"), US)
    assert re.match(r"The engine turns .*; and the blower's clearances are worn.*\.$", said[0])
    # 0.054 +- 0.004 and 0.165 +- 0.02 m3/s.
    assert said[1] == (
        "The low speed takes 114.4 (105.9 to 122.9) ft³/min and wear takes 350 (307 to 392) "
        "ft³/min of the flow at the blower's inlet."
    )


def test_twins_are_named_with_what_is_lost_and_the_reading_that_decides() -> None:
    said = verdict_sentences(TWIN, US)
    assert said == [
        "Of the 1479 ft³/min that a blower in good order would take in here, 350 (307 to 392) are "
        "lost: either to worn clearances in the blower, or to air that comes in at the blower "
        "(relief valve, last joint).",
        "This run cannot tell which.",
    ]
    lead, difference = reading_sentences(TWIN, US)
    assert lead.startswith("The one reading that would decide between the two likeliest: how much")
    # 28.6 K, 16.2 K and their difference, 1.96 times 3.86 K: 1 K is 1.8 °F.
    assert "about 51\xa0°F" in difference
    assert "about 29\xa0°F: 22\xa0°F apart" in difference
    assert "can move that by 14\xa0°F" in difference
    assert "28.6\xa0°C" in reading_sentences(TWIN, SI)[1]


def test_an_answer_that_may_be_health_claims_no_loss() -> None:
    maybe = replace(TWIN, candidates=(candidate(), candidate("leak")))
    said = verdict_sentences(maybe, US)[0]
    assert said == (
        "Not decided: either nothing at all, a machine in good order, or air that comes in at the "
        "blower (relief valve, last joint)."
    )


def test_what_is_certain_leads_where_the_rest_is_open() -> None:
    half = replace(
        single("low_speed"),
        label="undecided",
        decided=False,
        candidates=(
            candidate("low_speed", probability=0.55),
            candidate("low_speed", "leak", probability=0.42),
        ),
    )
    first, second = verdict_sentences(half, US)
    assert first.startswith("The engine turns 7.5")
    assert second.startswith("Not decided is what else there is: either nothing more, or air that")


def test_a_reading_that_cannot_decide_is_not_sold_as_one_that_does() -> None:
    assert TWIN.deciding_reading is not None
    weak = replace(TWIN.deciding_reading, decides=False)
    said = reading_sentences(replace(TWIN, deciding_reading=weak), SI)
    assert said[0].startswith("No single reading decides between the two likeliest for sure")


def test_a_vetoed_verdict_names_the_trouble_and_says_nothing_of_the_machine() -> None:
    run = diagnosed(VETOED)
    for text in (words(run), " ".join(summary(run, US).split())):
        assert "No verdict on the machine: the tubes to the sensor are swapped." in text
        for claim in ("worn", "slip of", "good order", "flow ledger", "leak", "healthy"):
            assert claim not in text.lower(), claim


def test_without_a_diagnosis_the_flow_leads_and_the_reason_is_told() -> None:
    text = words(result())
    assert "No verdict on the machine. The rig says nothing of the blower." in text
    assert "flow ledger" not in text.lower()


@pytest.mark.parametrize("said", [HEALTHY, TWIN, single("leak"), single("slipping_belt")])
def test_page_and_terminal_lead_with_verdict_next_step_and_ledger(said: object) -> None:
    run = diagnosed(said)  # type: ignore[arg-type]
    verdict = verdict_sentences(run.diagnosis, US)[0]  # type: ignore[arg-type]
    for text in (words(run), " ".join(summary(run, US).split())):
        told = " ".join(verdict.split())
        places = [text.index(each) for each in (told, "Next: ", "rated flow:", "At 2620 rpm")]
        assert places == sorted(places)
    assert DEFERS in words(run)

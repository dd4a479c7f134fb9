"""The page's words: what is wrong stands first, in the viewer's units, and says what to do."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from pullcurve.checks.catalogue import Kind, found
from pullcurve.live.estimator import Now, Reading
from pullcurve.live.reducing import Point, Reduced
from pullcurve.live.words import Way, checks, curve_words, reading_words, state_words
from pullcurve.quantities import SI, US

NOON = datetime(2025, 9, 16, 12, tzinfo=UTC)
SETTLED = Now(
    "settled",
    14.2,
    speed_rpm=2130.4,
    standard_flow_u95_m3_s=0.0125,
    zero_pa=9.0,
    zero_s=23.0,
    ambient_pressure_pa=94_100.0,
    ambient_temperature_k=285.35,
    received=5000,
)
READING = Reading(NOON, 2131.2, 1994.0, 0.50968)
WAY = Way(log="x.runlog", elapsed_s=185.0)
POINT = Point(1, 1, NOON, 1522.2, 0.3514, 0.0094, None)


def test_the_number_and_the_sentence_in_both_systems() -> None:
    assert reading_words(READING, US)["flow"] == "1080"
    assert reading_words(READING, SI)["flow"] == "1830"
    assert state_words(SETTLED, READING, WAY, US)["sentence"] == (
        "Settled for 14 s: 1080\xa0±\xa026\xa0ft³/min at 2130 rpm."
    )
    assert "1835\xa0±\xa045\xa0m³/h" in state_words(SETTLED, READING, WAY, SI)["sentence"]


@pytest.mark.parametrize(
    ("way", "words"),
    [
        (replace(WAY, gone=True), "board is gone"),
        (replace(WAY, silent_s=12.3), "for 12 s"),
        (replace(WAY, fault="The disk is full."), "The disk is full."),
    ],
)
def test_a_way_that_fails_is_said_instead_and_makes_the_numbers_old(way: Way, words: str) -> None:
    said = state_words(SETTLED, READING, way, US)
    assert words in said["sentence"]
    assert said["old"]
    worst = checks(SETTLED, None, way, US)[0]
    assert worst.grade == "spoilt"
    assert words in worst.words


def test_checks_say_what_is_wrong_first_and_once() -> None:
    reversed_tubes = found(Kind.TUBES_REVERSED, fall=900.0)
    warmed = found(Kind.BOARD_WARMED, warmed=9.0)
    told = checks(
        replace(SETTLED, findings=(reversed_tubes,)),
        Reduced(findings=(reversed_tubes, warmed)),
        WAY,
        US,
    )
    assert [(check.name, check.grade) for check in told[:2]] == [
        ("Pressure sensor", "spoilt"),
        ("Board", "doubt"),
    ]
    assert "falls by 3.6\xa0inH2O" in told[0].words
    assert told[1].words.startswith(
        "Board warmed. The sensor's own temperature changed by 16\xa0°F"
    )
    assert {check.grade for check in told[2:]} == {"fine"}
    assert [check.name for check in told].count("Pressure sensor") == 1


def test_a_zero_that_is_there_takes_back_that_it_was_not() -> None:
    missing = found(Kind.NO_ZERO)
    reduced = Reduced(findings=(missing,))
    (zero,) = [check for check in checks(SETTLED, reduced, WAY, US) if check.name == "Zero"]
    assert zero.grade == "fine"
    unknown = replace(SETTLED, zero_pa=None)
    (zero,) = [check for check in checks(unknown, None, WAY, US) if check.name == "Zero"]
    assert zero.grade == "doubt"
    assert "10 s with the engine off" in zero.action


def test_lost_records_are_a_doubt_from_one_in_a_hundred_on() -> None:
    def grade(lost: int) -> str:
        found = checks(replace(SETTLED, lost=lost), None, WAY, US)
        return next(check.grade for check in found if check.name == "Records")

    assert (grade(0), grade(40), grade(60)) == ("fine", "fine", "doubt")


def test_a_point_without_a_flow_is_in_the_table_and_says_why() -> None:
    clipped = replace(POINT, hold=2, flow_m3_s=None, withheld="sensor_clipped")
    said = curve_words(Reduced((POINT, clipped)), US)
    assert said["points"][0]["flow_text"] == "745\xa0±\xa020"
    assert "flow" not in said["points"][1]
    assert said["points"][1]["withheld"] == "the sensor stood at the end of its range"
    assert said["caption"] == "2 settled points. The fastest: 745\xa0±\xa020 at 1522 rpm."
    assert curve_words(Reduced((replace(POINT, sweep=2),) * 2), US)["points"][0]["name"] == "1"
    hour = curve_words(Reduced((POINT,), whole=False), US)
    assert hour["points"][0]["name"] == "12:00:00"
    assert hour["caption"].startswith("The last hour: 1 settled point.")


def test_a_board_that_keeps_less_than_it_should_is_told_beside_what_arrived() -> None:
    def told(now: Now) -> str:
        return next(check.words for check in checks(now, None, WAY, US) if check.name == "Records")

    assert "keeps" not in told(SETTLED)
    assert "keeps its last 29 s" in told(replace(SETTLED, memory_s=29))

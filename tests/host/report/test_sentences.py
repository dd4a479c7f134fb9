"""The sentences: place and state are named, and every figure in them follows from the numbers."""

from dataclasses import replace

import pytest

from host.report.results import REFERENCE, point, result
from pullcurve.checks.catalogue import Kind, found
from pullcurve.measure.facts import SpeedFacts
from pullcurve.quantities import SI, US
from pullcurve.report.finding_words import result_trouble, speed_doubt
from pullcurve.report.sentences import (
    headline,
    letters,
    meter_sentences,
    rpm,
    site_sentences,
    speed_sentence,
)
from pullcurve.results import Quantity


@pytest.mark.parametrize(
    ("position", "place"),
    [
        ("port", "through its port"),
        ("hose_end", "through the far end of its hose"),
        ("clean_pipe", "through the clean pipe between filter and blower"),
    ],
)
def test_the_headline_names_place_and_state(position: str, place: str) -> None:
    holds = [point(1, 2620.0, 100.0), point(2, 1150.0, 200.0)]
    told = headline(holds, position, REFERENCE, US)
    assert told.startswith("At 2620\xa0rpm")
    assert (
        f"({REFERENCE}) {place}; in the state of the air at the port (27.8 inHg, 53.6 °F)" in told
    )
    alone = headline([replace(holds[0], flow_port=None)], position, REFERENCE, US)
    assert alone.endswith(f"{place}.")


def test_doubted_speeds_are_told_after_the_doubt() -> None:
    wide = point(1, 1800.0, 100.0)
    wide = replace(wide, speed_rpm=Quantity(value=1800.0, u95=800.0))
    why = "The rig says 4 marks a turn, but the intervals between marks repeat after every 3."
    trouble = found(Kind.WRONG_MARKS, "blower shaft", case="repeats", typed=4, repeats=3)
    doubt = speed_doubt([result_trouble(trouble)], "blower_shaft")
    told = headline([wide], "port", REFERENCE, US, doubt)
    assert told.startswith(
        f"The speeds are not to be trusted. {why} In the fastest hold, shown as 1800\xa0±\xa0800"
    )
    assert "of the blower, the machine draws" in told
    assert speed_doubt([result_trouble(trouble)], "engine_shaft") == ""


def test_bores_and_site_are_told_in_the_units_asked_for() -> None:
    run = result()
    assert "pipe bore 5.6930 in, throat bore 3.8700 in" in meter_sentences(run, US)[0]
    assert "pipe bore 144.60 mm, throat bore 98.298 mm" in meter_sentences(run, SI)[0]
    (us,) = site_sentences(run.site, US)
    assert "620 m (2\xa0034 ft)" in us
    # 94.1 kPa over 3.386389 kPa, NIST SP 811:2008; 12 °C is 53.6 °F.
    assert "pressure 27.79 inHg absolute (measured), temperature 53.6 °F (measured)" in us
    assert "relative humidity 55\xa0% (typed)" in us


def test_a_meter_by_its_standard_tells_the_coefficient_that_was_used() -> None:
    run = result(((1150, 2620),))
    inlet = {"pipe_bore_m": None, "discharge_coefficient": None, "straight_length_m": None}
    told = meter_sentences(replace(run, meter=replace(run.meter, **inlet)), SI)
    assert "pipe bore" not in told[0]
    assert told[2] == (
        "Discharge coefficient: 0.9690 to 0.9695, by the standard of the meter's kind."
    )
    assert "0.970 ± 0.039 (assumed".replace(" ± ", "\xa0±\xa0") in meter_sentences(run, SI)[2]


def test_a_doubtful_speed_is_told_with_its_interval() -> None:
    assert rpm(Quantity(value=2620.4, u95=1.7)) == "2620\xa0rpm"
    assert rpm(Quantity(value=1310.2, u95=1310.2)) == "1300\xa0±\xa01300\xa0rpm"


def test_a_speed_by_belt_says_so() -> None:
    told = speed_sentence(SpeedFacts(shaft="engine_shaft", marks_per_turn=1, belt_ratio=1.25))
    assert "from the engine's shaft, 1 mark a turn, with 1.25 blower turns" in told


def test_letters_go_on_after_z() -> None:
    assert [letters(number) for number in (0, 25, 26, 27, 701, 702)] == [
        *("a", "z", "aa", "ab", "zz", "aaa")
    ]

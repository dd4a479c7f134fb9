"""What the guide asks, and which hold an answer is noted for."""

from dataclasses import replace
from pathlib import Path

import pytest

from host.live.test_guide import OFF, PORT, changing, held, hold_of, names, settled, told
from pullcurve.live.guide import STOP_S, Facts, Guide
from pullcurve.live.questions import Noted
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.notes import understand

HOSE_END = load_rig(Path(__file__).parents[3] / "hardware/rigs/hose_end.toml")
_NO_HOSE = PORT.machine.model_copy(update={"hose": ()})
ASKED = HOSE_END.model_copy(
    update={"machine": _NO_HOSE, "pickups": PORT.pickups, "sensors": PORT.sensors}
)


def test_only_what_no_sensor_tells_is_asked() -> None:
    guide, cards = told([OFF])
    assert names(cards[0]) == {"plate"}
    assert names(told(held(2000))[1][-1]) == {"engine_speed", "vacuum"}
    well_watched = told(held(2000), Guide(HOSE_END, "us"))[1][-1]
    assert names(well_watched) == set()
    guide.answered("plate", "off", "")
    assert names(guide.card()) == set()


def test_an_answer_belongs_to_its_hold_however_late_it_comes() -> None:
    guide, _ = told([*held(2000, 2500), changing(140)])
    ten = {"reading": "10", "unit": "inHg", "place": "tank"}
    second = hold_of(guide.card())
    assert guide.answer("vacuum", "write", ten, second) == Noted(
        "vacuum 10 inHg at tank", "100 s", "in hold 2"
    )
    (vacuum,) = [q for q in guide.card().questions if q.name == "vacuum"]
    assert vacuum.label.endswith("in hold 2?")  # though the throttle moves on
    guide.answered("vacuum", "write", second)
    assert names(guide.card()) == {"engine_speed"}
    _, cards = told([settled(160, 3000)], guide)
    assert names(cards[0]) == {"engine_speed", "vacuum"}
    (vacuum,) = [q for q in cards[0].questions if q.name == "vacuum"]
    assert next(f.options[0] for f in vacuum.fields if f.name == "place") == "tank"
    # What was being typed while the third hold came in is of the second.
    noted = guide.answer("engine_speed", "write", {"reading": "2500"}, second)
    assert noted is not None
    assert (noted.at, noted.where) == ("100 s", "in hold 2")
    guide.answered("engine_speed", "write", second)
    assert names(guide.card()) == {"engine_speed", "vacuum"}
    third = hold_of(guide.card())
    assert guide.answer("engine_speed", "never", {}, third) is None
    guide.answered("engine_speed", "never", third)
    _, cards = told([changing(170), settled(200, 3500)], guide)
    assert names(cards[-1]) == {"vacuum"}


def test_an_answer_for_a_hold_that_is_gone_is_refused() -> None:
    guide, cards = told(held(2000))
    old = hold_of(cards[-1])
    told([Facts(120, "engine off", STOP_S, zero_s=12), changing(140), settled(180, 2000)], guide)
    further, _ = told(held(2000))
    for each in (guide, further):  # another sweep, another log
        with pytest.raises(ValueError, match="a sweep or a log that is over"):
            each.answer("engine_speed", "write", {"reading": "2000"}, old)
        with pytest.raises(ValueError, match="is over"):
            each.answered("engine_speed", "write", old)
        assert names(each.card()) == {"engine_speed", "vacuum"}


@pytest.mark.parametrize(
    ("question", "button"),
    [
        ("age", "never"),  # no question at all
        ("hose", "off"),  # never asked at this rig
        ("plate", "never"),  # none of its buttons
        ("vacuum", "label"),
        ("engine_speed", "write"),  # answered by somebody else
    ],
)
def test_what_is_no_open_question_is_refused(question: str, button: str) -> None:
    guide, _ = told(held(2000))
    hold = hold_of(guide.card())
    guide.answered("engine_speed", "write", hold)
    before = guide.card()
    with pytest.raises(ValueError, match="answered already, or was not asked"):
        guide.answer(question, button, {}, hold)
    with pytest.raises(ValueError, match="answered already, or was not asked"):
        guide.answered(question, button, hold)
    assert guide.card() == before


def test_what_is_said_of_the_sweep_holds_from_now_on_in_the_runs_own_time() -> None:
    guide, _ = told(held(2000))
    told([replace(OFF, time_s=time_s) for time_s in (400.0, -3200.0)], guide)
    assert guide.answer("plate", "on", {}, "") == Noted("plate on", "400 s")
    assert guide.answer("plate", "off", {}, "") == Noted("plate off", "400 s")


@pytest.mark.parametrize(
    ("question", "button", "said", "text"),
    [
        ("engine_speed", "write", {"reading": " 2190 "}, "engine 2190 rpm"),
        ("plate", "on", {"bore": "", "unit": "in"}, "plate on"),
        ("plate", "on", {"bore": "2 1/8", "unit": "in"}, "plate on, bore 2 1/8 in"),
        ("plate", "off", {"bore": "2", "unit": "in"}, "plate off"),
        ("hose", "off", {}, "hose off"),
        (
            "hose",
            "on",
            {"length": "70", "length_unit": "ft", "bore": "5", "bore_unit": "in"},
            "hose 70 ft of 5 in",
        ),
    ],
)
def test_answers_become_notes_that_the_log_understands(
    question: str, button: str, said: dict[str, str], text: str
) -> None:
    guide, cards = told(held(2000), Guide(ASKED, "si"))
    noted = guide.answer(question, button, said, hold_of(cards[-1]))
    assert noted is not None
    assert noted.text == text
    assert understand(text).what == question

"""The guide's card after each turn of a sweep, told by facts alone."""

import re
import string
import tomllib
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pullcurve.checks.catalogue import Kind, found
from pullcurve.live.estimator import State
from pullcurve.live.guide import FEW, HOLD_S, HOLDS, STOP_S, Card, Facts, Guide
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.note_times import Elapsed, parse_time

ROOT = Path(__file__).parents[3]
TEXTS = ROOT / "host/pullcurve/live/guide_texts.toml"
PORT = load_rig(ROOT / "hardware/rigs/port.toml")
SHEET_ONLY = PORT.machine.model_copy(update={"rated_speed_rpm": None})
_BLOWER = PORT.machine.blower.model_copy(update={"rating": None})
UNRATED = PORT.model_copy(update={"machine": SHEET_ONLY.model_copy(update={"blower": _BLOWER})})

OFF = Facts(12.0, "engine off", 12.0, zero_s=12.0)
REVERSED = found(Kind.TUBES_REVERSED, fall=900.0)


def changing(at_s: float) -> Facts:
    return Facts(at_s, "changing", 0.0, zero_s=12.0)


def settled(at_s: float, speed_rpm: float, for_s: float = HOLD_S + 1) -> Facts:
    return Facts(at_s, "settled", for_s, speed_rpm, zero_s=12.0)


def told(facts: Iterable[Facts], guide: Guide | None = None) -> tuple[Guide, list[Card]]:
    guide = guide or Guide(UNRATED, "us")
    cards = []
    for each in facts:
        guide.update(each)
        cards.append(guide.card())
    return guide, cards


def held(*speeds: float) -> list[Facts]:
    """The facts of a zero and of holds at these speeds."""
    facts = [OFF]
    for number, speed in enumerate(speeds, start=1):
        facts += [changing(40.0 * number), settled(40.0 * number + 30, speed)]
    return facts


def press(guide: Guide, button: str, card: Card | None = None) -> bool:
    """Somebody who sees this card, or else the present one, presses a button."""
    card = card or guide.card()
    return guide.press(button, card.step, card.trouble)


def steps(cards: Iterable[Card]) -> list[str]:
    return [card.step for card in cards]


def test_a_whole_sweep_from_zero_to_report() -> None:
    first = [replace(OFF, for_s=4.0, zero_s=4.0), OFF, changing(30), settled(45, 1250, 6)]
    guide, cards = told(first)
    assert steps(cards) == ["zero", "start", "set", "hold"]
    assert cards[0].do == "Leave the engine off: 6 s more."
    assert "locked out" in cards[0].caution
    assert "stop" in cards[1].caution
    assert cards[3].do == "Keep it so: 14 s more."
    _, cards = told(held(1250, 1500, 1800, 2160)[1:], guide)
    assert set(steps(cards)) == {"set", "next_higher"}
    assert "2400 to 2700 rpm" in cards[-1].do
    press(guide, "top")
    assert guide.card().step == "next_between"
    _, cards = told([changing(300), settled(330, 1950), changing(340)], guide)
    assert steps(cards) == ["set", "next_stop", "next_stop"]  # while the engine runs down
    assert cards[1].holds == HOLDS
    stop = [Facts(360, "engine off", s, zero_s=12.0) for s in (3.0, STOP_S)]
    _, cards = told(stop, guide)
    assert steps(cards) == ["end_zero", "done"]
    assert cards[-1].why.startswith("5 holds.")


def test_a_throttle_that_begins_to_move_makes_no_hold() -> None:
    """The speed is the newest second's, whether it is settled is known two seconds later."""
    guide, _ = told([OFF, changing(30), settled(60, 2000, 24), settled(62, 1500, 26)])
    assert guide.card().holds == 1
    assert "Hold 1 is in" in guide.card().title
    told([changing(63), settled(90, 1500, 22)], guide)
    assert guide.card().holds == 2


def test_with_a_rated_speed_each_step_has_its_figure() -> None:
    guide, cards = told([OFF, changing(30)], Guide(PORT, "us"))
    assert steps(cards) == ["start", "set"]
    assert "at 1650 rpm" in cards[0].do
    assert "1650 rpm" in cards[1].title
    said = []
    for number, speed in enumerate([1670, 1910, 2215, 2470], start=1):
        _, cards = told([settled(60.0 * number, speed), changing(60.0 * number + 20)], guide)
        assert steps(cards) == ["next_higher", "set"]
        said.append(re.findall(r"\d{4}", cards[0].do) + re.findall(r"\d{4}", cards[1].do))
    assert said == [["1920"] * 2, ["2200"] * 2, ["2480"] * 2, ["2750"] * 2]
    # It does not quite come up to it, and nobody has to say that there is no more.
    _, cards = told([settled(320, 2727), changing(340), settled(380, 2338), changing(400)], guide)
    assert steps(cards) == ["next_between", "set", "next_stop", "next_stop"]
    assert "Come down to 2060 rpm" in cards[0].do  # in the widest gap
    # Without the machine's own rated speed, the data sheet's highest.
    rig = PORT.model_copy(update={"machine": SHEET_ONLY})
    assert "rated 2750 rpm" in told([OFF], Guide(rig, "us"))[1][0].why


@given(
    st.floats(100, 10_000),
    st.lists(st.tuples(st.floats(0.3, 1.1), st.sampled_from(["top", ""])), max_size=9),
)
def test_no_step_is_above_the_rated_speed_or_at_one_that_was_held(
    rated_rpm: float, holds: list[tuple[float, str]]
) -> None:
    machine = PORT.machine.model_copy(update={"rated_speed_rpm": rated_rpm})
    guide, speeds = Guide(PORT.model_copy(update={"machine": machine}), "us"), []
    guide.update(OFF)
    for number, (share, button) in enumerate(holds, start=1):
        guide.update(changing(60.0 * number))
        guide.update(settled(60.0 * number + 30, share * rated_rpm))
        speeds.append(share * rated_rpm)
        press(guide, button)
        card = guide.card()
        if card.step == "next_higher":
            (target,) = map(float, re.findall(r"\d+", card.do))
            assert max(speeds) < target < rated_rpm + 0.5
        elif card.step == "next_between":
            (target,) = map(float, re.findall(r"\d+", card.do))
            top = min(max(speeds), rated_rpm)
            assert min(0.6 * top, *speeds) - 5 <= target < 0.96 * top + 5
            assert all(abs(target - speed) > 0.03 * top - 5 for speed in speeds)


def test_another_sweep_begins_when_the_engine_starts_again() -> None:
    guide, _ = told([*held(2000, 2600, 3200), Facts(400, "engine off", 15, zero_s=11)])
    guide.answered("plate", "off", "")
    assert guide.card().step == "done"
    _, cards = told([changing(420), settled(450, 2100)], guide)
    assert steps(cards) == ["set", "next_higher"]
    assert cards[-1].holds == 1
    _, cards = told([Facts(480, "engine off", 5, zero_s=11)], guide)
    assert "plate" in {question.name for question in cards[0].questions}


@pytest.mark.parametrize("between", [["no flow", "changing"], ["settled"], ["no flow", "settled"]])
def test_another_sweep_begins_however_the_start_of_the_engine_is_seen(
    between: list[State],
) -> None:
    guide, _ = told([*held(2000, 2600, 3200), Facts(400, "engine off", 15, zero_s=11)])
    assert guide.card().step == "done"
    told([Facts(420, state, 4, 2100, zero_s=11) for state in between], guide)
    _, cards = told([settled(450, 2100)], guide)
    assert (cards[0].step, cards[0].holds) == ("next_higher", 1)


def test_a_sweep_that_was_finished_by_hand_ends_with_the_next_stop() -> None:
    guide, _ = told([*held(2000, 2600, 3200), Facts(180, "engine off", 3, zero_s=12)])
    press(guide, "finish")
    _, cards = told([Facts(182, "no flow", 0), replace(OFF, time_s=190)], guide)
    assert set(steps(cards)) == {"done"}
    assert steps(told([changing(200)], guide)[1]) == ["set"]


def test_what_was_accepted_is_asked_again_in_the_next_sweep() -> None:
    guide, _ = told([*held(2000), replace(settled(80, 2000), findings=(REVERSED,))])
    press(guide, "go_on")
    assert guide.card().step == "next_higher"
    again = replace(changing(200), findings=(REVERSED,))
    _, cards = told([replace(OFF, time_s=120, for_s=STOP_S), again], guide)
    assert steps(cards) == ["done_few", "mend_running"]


def test_a_sweep_cut_short_says_so() -> None:
    _, cards = told([*held(2000), Facts(90, "engine off", STOP_S, zero_s=12)])
    assert cards[-1].step == "done_few"
    _, cards = told([*held(2000), replace(settled(80, 2000), ended=True)])
    assert cards[-1].step == "done_few"
    assert "1 hold:" in cards[-1].why


def test_the_same_speed_twice_is_one_hold() -> None:
    guide, _ = told(held(2000, 2010, 1990))
    assert guide.card().holds == 1
    assert len(guide._holds) == 1


def test_a_board_that_is_away_interrupts_and_gives_nothing_up() -> None:
    facts = held(2000, 2500)
    _, cards = told([*facts, replace(facts[-1], there=False), facts[-1]])
    assert steps(cards)[-2:] == ["wait", "next_higher"]
    assert cards[-1].holds == 2


def time_of_note(guide: Guide) -> float:
    noted = guide.answer("engine_speed", "write", {"reading": "1500"}, hold_of(guide.card()))
    assert noted is not None
    when = parse_time(noted.at)
    assert isinstance(when, Elapsed)
    return when.seconds


def test_while_the_board_is_away_nothing_is_a_hold() -> None:
    last = settled(60, 1500, 25)
    away = [replace(last, time_s=float(at_s), there=False) for at_s in range(61, 661)]
    guide, _ = told([OFF, last, *away, changing(662)])
    assert 35 <= time_of_note(guide) <= 60
    # Nor does an engine that stood when it went away end a sweep.
    standing = Facts(700, "engine off", 3, zero_s=3, there=False)
    assert told([standing, replace(standing, for_s=STOP_S)], guide)[1][-1].step == "wait"
    # The same speed again is the same hold, and its note lies in what was held of it.
    told([changing(720), settled(760, 1510, 30)], guide)
    assert guide.card().holds == 1
    assert 730 <= time_of_note(guide) <= 760


def test_what_is_not_in_the_log_counts_for_nothing() -> None:
    long = settled(80, 2000, 60)
    guide, cards = told([OFF, changing(30), replace(long, recorded=False)])
    assert steps(cards)[-1] == "not_recorded"
    assert cards[-1].urgent
    _, cards = told([settled(81, 2000, 61), settled(80 + HOLD_S, 2000, 60 + HOLD_S)], guide)
    assert [(card.step, card.holds) for card in cards] == [("hold", 0), ("next_higher", 1)]
    assert cards[0].do == "Keep it so: 19 s more."
    lost = [replace(OFF, recorded=False), replace(OFF, time_s=15.0)]
    assert steps(told(lost)[1]) == ["not_recorded", "zero"]


def test_no_zero_is_said_before_the_first_hold_and_may_be_gone_without() -> None:
    guide, cards = told([replace(changing(5), zero_s=0.0)])
    assert cards[0].step == "no_zero"
    assert cards[0].urgent
    press(guide, "go_on")
    assert guide.card().step == "set"


def test_what_spoils_the_run_stops_it_before_hands_go_near() -> None:
    running = replace(settled(60, 2000), findings=(REVERSED,))
    guide, cards = told([OFF, running, replace(OFF, findings=(REVERSED,))])
    assert steps(cards)[1:] == ["mend_running", "mend_standing"]
    assert cards[1].do == "Stop the engine and lock it out."
    assert cards[1].why.startswith(
        "While the blower turns the differential pressure falls by 3.6\xa0inH2O; with"
    )
    assert cards[2].do.startswith("With the engine stopped and locked out, put the upstream tap's")
    assert all(card.caution and card.urgent for card in cards[1:])
    assert [button.name for button in cards[2].buttons] == ["again", "go_on"]
    press(guide, "go_on")
    assert guide.card().step == "start"
    clipped = found(Kind.SENSOR_CLIPPED, case="now", end=6890.0)
    _, cards = told([OFF, replace(running, findings=(clipped,))])
    assert cards[-1].do.startswith("Hold a lower speed.")
    assert "near 27.7\xa0inH2O;" in cards[-1].why
    harmless = replace(running, findings=(replace(REVERSED, consequence="none"),))
    assert told([OFF, harmless])[1][-1].step == "next_higher"


def test_a_press_is_of_the_card_that_was_read() -> None:
    other = found(Kind.SENSOR_CLIPPED, case="now", end=6890.0)
    both = replace(settled(60, 2000), findings=(REVERSED, other))
    guide, (_, read) = told([OFF, both])
    for _ in range(2):  # two viewers, or one twice
        press(guide, "go_on", read)
    assert guide.card().trouble == "sensor_clipped"
    press(guide, "go_on")
    assert steps(told([both], guide)[1]) == ["next_higher"]


def test_a_further_log_is_begun_once_and_where_a_card_offers_it() -> None:
    guide, cards = told([OFF, replace(settled(60, 2000), findings=(REVERSED,))])
    for card in cards:
        assert not press(guide, "again", card)
    _, (standing,) = told([replace(OFF, findings=(REVERSED,))], guide)
    assert [press(guide, "again", standing) for _ in range(3)] == [True, False, False]


@pytest.mark.parametrize("button", ["top", "finish", "go_on", "again"])
def test_a_button_that_is_not_on_the_card_does_nothing(button: str) -> None:
    guide, (card,) = told([OFF])
    assert not press(guide, button)
    assert guide.card() == card
    _, cards = told([replace(changing(30), zero_s=0.0), *held(2000)[1:]], guide)
    assert steps(cards) == ["no_zero", "set", "next_higher"]


def hold_of(card: Card) -> str:
    """The key of the hold that a card asks for."""
    return next(question.hold for question in card.questions if question.name == "engine_speed")


def names(card: Card) -> set[str]:
    return {question.name for question in card.questions}


anything = st.builds(
    Facts,
    time_s=st.floats(0, 999_999),
    state=st.sampled_from(("engine off", "changing", "settled", "no flow")),
    for_s=st.floats(0, 1e5),
    speed_rpm=st.floats(1, 1e4),
    zero_s=st.floats(0, 60),
    findings=st.sampled_from(((), (REVERSED,))),
    there=st.booleans(),
    ended=st.booleans(),
)
pressed = st.sampled_from(("top", "finish", "go_on", "again", "nonsense"))


@given(st.lists(st.tuples(anything, pressed), max_size=30))
def test_whatever_happens_there_is_one_thing_to_do(happenings: list[tuple[Facts, str]]) -> None:
    guide = Guide(PORT, "us")
    for facts, button in happenings:
        guide.update(facts)
        card = guide.card()
        if "engine_speed" in names(card):
            assert time_of_note(guide) >= 0
        assert card.title
        assert card.do or card.step == "no_flow"
        assert not re.search(r"[{}]", card.title + card.do + card.why + card.caution)
        if "Stop the engine and lock" in card.do or card.step == "mend_standing":
            assert "locked out" in card.caution or "lock it out" in card.caution
        press(guide, button)


def test_every_text_is_used_and_short_enough_to_be_read_in_gloves() -> None:
    texts = tomllib.loads(TEXTS.read_text(encoding="utf-8"))
    source = (TEXTS.with_name("guide.py")).read_text(encoding="utf-8")
    for step, words in texts.items():
        if step not in ("buttons", "questions", "refused"):
            assert f'"{step}"' in source
            fixed = "".join(part for part, *_ in string.Formatter().parse(words["do"]))
            assert len(fixed) < 90
    assert FEW < HOLDS

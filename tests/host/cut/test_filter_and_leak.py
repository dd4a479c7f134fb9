"""Filter, leak and spoil told apart: on residuals that are drawn, and on the bench's machine."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from cut_bench import WORK_S, heard, scenario, watched

from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.filter_and_leak import Finding, SlowLoss
from pullcurve.cut.loss_reset import LONG
from pullcurve.cut.needs import Needs
from pullcurve.cut.samples import SAMPLE_S

Course = Callable[[float], float]
OPENNESS, TURN_M3, WORK_FOR_S = 3.0, 0.016, 2400.0
BEGINS_S = 1200.0


def never(_: float) -> float:
    return 0.0


def creeping(whole: float) -> Course:
    """Nothing for twenty minutes, then evenly to the whole in twenty more."""
    return lambda time_s: whole * max(time_s - BEGINS_S, 0.0) / (WORK_FOR_S - BEGINS_S)


def every_two_minutes(time_s: float) -> bool:
    """Twelve seconds out of the spoil."""
    return time_s % 120 < 12


@dataclass(frozen=True)
class Work:
    """What is added to each residual: ln resistance of path, hose and filter (None without a
    sensor in the tank), ln of what the blower takes in a turn. clean: when the nozzle is out of
    the spoil, where the path resists by half less. Spoil scatters by 1 %."""

    path: Course = never
    hose: Course = never
    turn: Course = never
    filter: Course | None = None
    clean: Callable[[float], bool] = lambda time_s: False
    seed: int = 5

    def into(self, slow: SlowLoss, from_s: float = 0.0, rpm: float = 2200.0) -> SlowLoss:
        dice = np.random.default_rng(self.seed)
        spoil = 0.0
        for place in range(1, round(WORK_FOR_S / SAMPLE_S) + 1):
            here = SAMPLE_S * place
            loaded = not self.clean(here)
            spoil = 0.8 * spoil + 0.6 * 0.01 * dice.standard_normal()
            more = spoil if loaded else -0.5 + 0.001 * dice.standard_normal()
            turn = TURN_M3 * math.exp(self.turn(here) + 0.003 * dice.standard_normal())
            values = (self.path(here) + more, self.hose(here) + more, turn, 0.002)
            facts = (0.5, 285.15, 85e3, OPENNESS)
            slow.add(from_s + here, values, loaded=loaded, facts=facts, speed_rpm=rpm)
            if self.filter is not None:
                own = 9.0 + self.filter(here) + 0.002 * dice.standard_normal()
                slow.filter_at(from_s + here, own, rpm)
        return slow

    def findings(self) -> list[Finding]:
        return self.into(SlowLoss(Needs(), 0.0164)).findings()


@pytest.mark.parametrize("seed", range(5))
def test_nothing_is_found_where_nothing_changes(seed: int) -> None:
    assert Work(seed=seed).findings() == []
    assert Work(seed=seed, filter=never).findings() == []


def test_a_path_that_resists_more_is_a_filter_that_loads_and_when_it_takes_a_tenth_is_told() -> (
    None
):
    """By a fifth of the first resistance in 2400 s, evenly. The flow goes as 1 / sqrt(3 + r), r
    being 1 at first: a tenth less where 3 + r = 4 / 0.81, so r = 1.94, at 11,260 s."""
    (found,) = Work(path=lambda time_s: math.log(1 + 0.2 * time_s / 2400)).findings()
    assert (found.what, found.measured_by, found.places) == ("filter_loading", "path", ())
    assert found.size == pytest.approx(0.2, abs=0.03)
    assert found.start_s < 20
    forecast = found.forecast
    assert forecast is not None
    assert (forecast.limit, forecast.at_s) == ("flow", pytest.approx(11_260, rel=0.08))
    assert forecast.earliest_s < forecast.at_s < forecast.latest_s


def test_with_a_sensor_in_the_tank_the_filter_s_own_loss_is_followed_until_it_has_doubled() -> None:
    """By a third in 2400 s, evenly: it doubles at 7200 s."""
    (found,) = Work(filter=lambda time_s: math.log(1 + time_s / 7200)).findings()
    assert (found.what, found.measured_by) == ("filter_loading", "filter")
    assert found.forecast is not None
    assert found.forecast.limit == "doubled"
    assert found.forecast.at_s == pytest.approx(7200, rel=0.05)


@pytest.mark.parametrize(("whole", "told"), [(-0.15, True), (-0.025, False)])
def test_a_path_that_resists_less_is_a_leak_ahead_of_the_meter(whole: float, told: bool) -> None:
    """Air that comes in keeps the drop and adds to the flow: of it, exp(c / 2) comes by the nozzle.
    With the blower as 3 of the path's 4 parts the flow is up by sqrt((3 + exp(-c)) / 4)."""
    found = Work(path=creeping(whole)).findings()
    assert [each.what for each in found] == ["leak"] * told
    if told:
        assert found[0].places == ("A", "B")
        taken = 1 - math.exp(whole / 2) * math.sqrt((OPENNESS + math.exp(-whole)) / (OPENNESS + 1))
        assert found[0].size == pytest.approx(taken, rel=0.15)
        assert found[0].start_s == pytest.approx(BEGINS_S, abs=350)


@pytest.mark.parametrize(("at_filter", "place"), [(0.0, "A"), (1.0, "B")])
def test_with_a_sensor_in_the_tank_air_behind_the_filter_shows_in_the_filter_s_loss_too(
    at_filter: float, place: str
) -> None:
    fall = creeping(-0.2)
    (found,) = Work(hose=fall, filter=lambda time_s: at_filter * fall(time_s)).findings()
    assert (found.what, found.measured_by, found.places) == ("leak", "hose", (place,))


@pytest.mark.parametrize(("whole", "told"), [(-0.06, True), (-0.012, False)])
def test_a_blower_that_takes_less_in_a_turn_is_a_leak_behind_the_meter(
    whole: float, told: bool
) -> None:
    found = Work(turn=creeping(whole)).findings()
    assert [(each.what, each.measured_by, each.places) for each in found] == [
        ("leak", "blower", ("C",))
    ] * told


def test_spoil_that_becomes_lighter_is_no_leak_where_the_clean_hose_stays_as_it_was() -> None:
    fall = creeping(-0.2)

    def of_spoil(time_s: float) -> float:
        return 0.0 if every_two_minutes(time_s) else fall(time_s)

    assert Work(path=of_spoil, clean=every_two_minutes).findings() == []
    (found,) = Work(path=fall, clean=every_two_minutes).findings()
    assert found.what == "leak"


def test_what_a_stop_has_done_away_with_is_undone_and_begins_anew() -> None:
    loads = Work(path=lambda time_s: 0.2 * time_s / 2400)
    slow = loads.into(SlowLoss(Needs(), 0.0164))
    (found,) = slow.findings()
    slow.stood()
    assert not slow.undone(found)
    again = Work(seed=6)
    again.into(slow, from_s=WORK_FOR_S + 300)
    assert WORK_FOR_S / SAMPLE_S > LONG
    assert slow.undone(found)
    assert slow.findings() == []


def test_a_stop_that_leaves_the_loss_as_it_is_undoes_nothing() -> None:
    slow = Work(path=lambda time_s: 0.2 * time_s / 2400).into(SlowLoss(Needs(), 0.0164))
    (found,) = slow.findings()
    slow.stood()
    Work(path=lambda _: 0.2, seed=6).into(slow, from_s=WORK_FOR_S + 300)
    assert not slow.undone(found)


SECONDS = 460.0
LIFTS = ((150.0, 170.0), (250.0, 270.0), (335.0, 355.0), (425.0, 445.0))


def between(load: dict[str, Any], away: tuple[tuple[float, float], ...]) -> list[dict[str, Any]]:
    bounds = [load["from_s"], *(at for pair in away for at in pair), load["to_s"]]
    return [load | {"from_s": a, "to_s": b} for a, b in zip(bounds[::2], bounds[1::2], strict=True)]


def told(
    *, lifts: bool, loading: float = 0.0, lighter: float = 0.0, leak_m2: float = 0.0
) -> list[CutAlarm]:
    """lighter: of the hose's loss coefficient, that goes from the middle on."""
    spoil = {"from_s": WORK_S, "to_s": SECONDS, "extra_loss": 5.0, "rise_s": 2.0}
    spoil |= {"unevenness": 0.25, "uneven_time_s": 1.2}
    clogs = between(spoil, LIFTS if lifts else ())
    for end_s in (SECONDS - 20 * step for step in range(11)) if lighter else ():
        part = spoil | {"to_s": end_s, "extra_loss": lighter / 11}
        clogs += between(part, tuple(pair for pair in LIFTS if lifts and pair[1] < end_s))
    leaks = ()
    if leak_m2:
        leaks = ({"place": "a", "from_s": 200.0, "to_s": SECONDS, "area_m2": leak_m2},)
    filter_ = {"linear_pa_s_m3": 5200.0, "loading_pa_s_m3_per_s": loading}
    chosen = scenario(
        SECONDS, machine={"filter": filter_}, unevenness=0.0, clogs=clogs, leaks=leaks
    )
    return watched(heard(chosen))[1]


def test_a_filter_is_told_without_a_sensor_in_the_tank() -> None:
    (event,) = told(lifts=True, loading=5200 / 500)
    assert (event.kind, event.measured_by) == ("filter_loading", "path")
    assert event.spoken_s < 300
    assert event.size_u95 < event.size


def test_lighter_spoil_is_no_leak_where_clean_running_says_so() -> None:
    assert "leak" in {event.kind for event in told(lifts=False, lighter=4.0)}
    assert told(lifts=True, lighter=4.0) == []
    (event,) = told(lifts=True, leak_m2=9e-4)
    assert event.kind == "leak"

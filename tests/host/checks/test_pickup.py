"""Pickups that miss marks or fall silent, and marks that are not those of the rig."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from test_shaft_speed import blocks, turning

from pullcurve.checks.catalogue import Finding
from pullcurve.checks.pickup import Pattern, pattern, pickups
from pullcurve.examine import Run, read_run, rig_of
from pullcurve.measure.shaft_speed import marks
from pullcurve.measure.zeros import Zeros
from pullcurve.quantities import SI
from pullcurve.report.finding_words import action_words, evidence_words
from pullcurve.report.from_run import result_of
from pullcurve.run_log.reading import read_log

Array = NDArray[np.float64]
BLOCK_S, SPAN_PA, RPM = 0.1, 10_000.0, 2210.0
FROM_S, TO_S, END_S = 10.0, 70.0, 90.0
AIR_PA = 1500.0


def a_run(edges: Array, pressure: Callable[[Array], Array] | None = None, number: int = 2) -> Any:
    """Edges of the blower's pickup in 90 s; the air moves from 10 s to 70 s, or as said."""
    time_s = BLOCK_S * (np.arange(round(END_S / BLOCK_S)) + 0.5)
    seen = marks(blocks(edges, END_S), number)
    moves = AIR_PA * ((time_s > FROM_S) & (time_s < TO_S))
    table = pd.DataFrame(
        {
            "time_s": time_s,
            "speed_rpm": seen.at(time_s),
            "zeroed_dp_pa": pressure(time_s) if pressure else moves,
        }
    )
    stop = {"start_s": [0.0], "end_s": [9.0], "zero_pa": [3.0], "zero_u_pa": [0.0]}
    return SimpleNamespace(
        channels=SimpleNamespace(
            table=table,
            span_pa=SPAN_PA,
            marks={"blower_shaft": seen},
            blower_shaft_from="blower_shaft",
        ),
        zeros=Zeros(pd.DataFrame(stop), 1.5, 100.0, 5.0),
        points=pd.DataFrame({"start_s": [20.0, 45.0], "end_s": [40.0, 65.0]}),
    )


def edges(offsets: list[float] | None = None, rpm: float = RPM) -> Array:
    """Of a shaft that turns from 10 s to 70 s at one speed; two uneven marks."""
    return FROM_S + turning(rpm, offsets or [0.0, 0.015], TO_S - FROM_S)


def found(run: Any) -> list[Finding]:
    return list(pickups(cast("Any", run)))


def without(all_edges: Array, *silences: tuple[float, float]) -> Array:
    for start, end in silences:
        all_edges = all_edges[(all_edges < start) | (all_edges > end)]
    return all_edges


def test_a_pickup_that_sees_every_mark_has_no_trouble() -> None:
    assert found(a_run(edges())) == []


@pytest.mark.parametrize(("every", "told"), [(50, True), (90, False)])
def test_marks_are_missed_from_one_and_a_half_percent_on(every: int, told: bool) -> None:
    all_edges = edges()
    missed = np.arange(len(all_edges)) % every == every // 2
    troubles = found(a_run(all_edges[~missed]))
    assert [trouble.kind for trouble in troubles] == ["mark_missed"] * told
    if told:
        (trouble,) = troubles
        assert trouble.subject == "blower shaft"
        assert evidence_words(trouble, SI).startswith(
            f"The pickup missed {missed.sum()} of {len(all_edges)} marks (2 %)."
        )
        assert trouble.consequence == "none"  # they were put back, beyond doubt
        assert action_words(trouble).startswith("With the engine stopped and locked out, clean")


def test_missed_marks_widen_the_speed_where_two_numbers_of_them_compete() -> None:
    """One of two marks in 3 of 100 turns, the other in half of them."""
    all_edges = edges()
    chance = np.resize([0.5, 0.97], len(all_edges))
    run = a_run(all_edges[np.random.default_rng(3).random(len(chance)) > chance])
    (trouble,) = found(run)
    assert (trouble.kind, trouble.consequence) == ("mark_missed", "widened")
    assert "where another number fits nearly as well" in evidence_words(trouble, SI)
    rpm, u = run.channels.marks["blower_shaft"].between(20.0, 40.0)
    assert abs(rpm - RPM) < 2 * u


@pytest.mark.parametrize(("seconds", "told"), [(0.5, False), (0.8, True), (3.0, True)])
def test_silence_while_air_moves_as_before_is_a_dropout(seconds: float, told: bool) -> None:
    troubles = found(a_run(without(edges(), (40.0, 40.0 + seconds))))
    assert [trouble.kind for trouble in troubles] == ["pickup_dropout"] * told
    if told:
        (trouble,) = troubles
        assert evidence_words(trouble, SI).startswith(f"For {seconds:.1f} s in all")
        assert trouble.start_s == pytest.approx(40.0, abs=0.1)
        assert trouble.end_s == pytest.approx(40.0 + seconds, abs=0.1)


def test_several_silences_are_added_up_from_the_first_to_the_last() -> None:
    troubles = found(a_run(without(edges(), (30.0, 32.0), (50.0, 53.0))))
    (trouble,) = [each for each in troubles if each.kind == "pickup_dropout"]
    assert evidence_words(trouble, SI).startswith("For 5.0 s in all")
    assert "first at 30 s" in evidence_words(trouble, SI)
    assert (trouble.start_s, trouble.end_s) == pytest.approx((30.0, 53.0), abs=0.1)


def test_a_shaft_that_stood_for_a_while_had_no_dropout() -> None:
    """The air stood as well."""

    def stands(time_s: Array) -> Array:
        moves = (time_s > FROM_S) & (time_s < TO_S) & ~((time_s > 40) & (time_s < 46))
        return AIR_PA * moves

    assert found(a_run(without(edges(), (40.0, 46.0)), stands)) == []


def test_a_blower_that_runs_on_after_its_last_edge_lost_its_pickup() -> None:
    """At full speed to the last edge; the air goes on for 20 s more."""
    (trouble,) = found(a_run(edges(), lambda time_s: AIR_PA * (time_s > FROM_S)))
    assert trouble.kind == "pickup_dropout"
    assert (trouble.start_s, trouble.end_s) == pytest.approx((TO_S, END_S), abs=0.2)


def test_air_that_moves_before_the_first_edge_shows_a_pickup_that_woke_late() -> None:
    (trouble,) = found(a_run(edges(), lambda time_s: AIR_PA * (time_s < TO_S)))
    assert (trouble.start_s, trouble.end_s) == pytest.approx((0.0, FROM_S), abs=0.2)


def test_a_pickup_that_saw_nothing_at_all_withholds_where_air_moved() -> None:
    (trouble,) = found(a_run(np.empty(0)))
    assert (trouble.kind, trouble.consequence) == ("pickup_dropout", "withheld")
    assert found(a_run(np.empty(0), np.zeros_like)) == []


def test_missing_records_are_no_silence_of_the_pickup() -> None:
    run = a_run(without(edges(), (40.0, 44.0)))
    table = run.channels.table
    run.channels.table = table[~table["time_s"].between(40.0, 44.0)].reset_index(drop=True)
    assert found(run) == []


def test_a_number_of_marks_that_makes_no_blower_s_speed_is_doubted() -> None:
    """One mark in the rig, and two on the shaft: 4420 rpm, and the intervals go to and fro."""
    (trouble,) = found(a_run(edges([0.0, 0.03]), number=1))
    assert (trouble.kind, trouble.consequence) == ("wrong_marks", "widened")
    assert evidence_words(trouble, SI) == (
        "The rig says 1 mark a turn, but the intervals between marks repeat after every 2."
    )


# How many marks there are, from their unevenness.

HOLDS = (1.0, 0.87, 0.76, 0.94, 0.68)  # of the top speed


def seen(offsets: list[float], top_rpm: float, seed: int = 0) -> Pattern:
    """What a sweep of five holds of 18 s tells, its speed wandering."""
    generator = np.random.default_rng(seed)
    edges = np.concatenate(
        [turning(top_rpm * hold, offsets, 18.0) + 18.0 * i for i, hold in enumerate(HOLDS)]
    )
    edges = edges[np.concatenate(([True], np.diff(edges) > 1e-3))]
    wander = generator.uniform(2e-4, 1.5e-3)
    edges = edges + wander * (np.sin(edges) + 0.2 * np.sin(5 * edges + 1))
    edges = np.sort(edges + generator.normal(0, generator.uniform(1e-6, 15e-6), len(edges)))
    found = marks(blocks(edges, 90.0), len(offsets))
    told = pattern(found.interval, found.interval_mark)
    assert told is not None
    return told


def test_uneven_marks_tell_their_number_and_contradict_no_other_than_wrong_ones() -> None:
    """Marks put on by hand, uneven by 0.2 to 2 %; some of each hundred happen to be alike."""
    right, found, falsely = [], [], []
    for seed in range(30):
        generator = np.random.default_rng(seed)
        number = int(generator.integers(2, 7))
        uneven = float(np.exp(generator.uniform(np.log(0.002), np.log(0.02))))
        told = seen(list(generator.normal(0, uneven, number)), generator.uniform(1200, 2750), seed)
        right.append(told.repeats_after == number)
        falsely.append(told.contradicts(number))
        found += [
            told.contradicts(typed)
            for typed in range(1, 7)
            if typed % number  # a multiple repeats as well
        ]
    assert not any(falsely)
    assert np.mean(found) > 0.9
    assert np.mean(right) > 0.85


@pytest.mark.parametrize("number", [1, 2, 3, 5])
def test_even_marks_are_like_one(number: int) -> None:
    told = seen([0.0] * number, 2710.0)
    assert told.repeats_after == 1
    assert all(told.part_of(typed) for typed in (2, 3, 4, 6))
    assert told.part_of(1) is None
    assert not any(told.contradicts(typed) for typed in range(1, 7))


def test_marks_that_repeat_twice_a_turn_are_part_of_it() -> None:
    told = seen([0.0, 0.02, 0.0, 0.02], 2710.0)
    assert told.part_of(4) == 2
    assert told.contradicts(3)
    assert told.contradicts(1)


def test_few_intervals_tell_nothing() -> None:
    assert pattern(np.ones(20), np.arange(20.0)) is None


# A wrong number of marks in the rig, from log to report.

LOG = Path(__file__).parents[3] / "sample_logs" / "healthy_sweep.runlog"  # two marks


def typed(marks_per_turn: int) -> Run:
    """The log, as a rig with so many marks has it."""
    rig = rig_of(read_log(LOG), None)
    shaft = rig.pickups.blower_shaft.model_copy(update={"marks_per_turn": marks_per_turn})
    pickups = rig.pickups.model_copy(update={"blower_shaft": shaft})
    return read_run(LOG, rig.model_copy(update={"pickups": pickups}))


@pytest.fixture(scope="module")
def right() -> Run:
    return typed(2)


@pytest.mark.parametrize("wrong", [1, 3])
def test_a_wrong_number_is_doubted_and_the_report_leads_with_it(wrong: int, right: Run) -> None:
    run = typed(wrong)
    assert "wrong_marks" not in {trouble.kind for trouble in right.troubles}
    (trouble,) = [each for each in run.troubles if each.kind == "wrong_marks"]
    assert f"The rig says {wrong} mark" in evidence_words(trouble, SI)
    assert trouble.consequence == "widened"
    true = np.array([right.points["speed_rpm"].mean(), right.points["speed_rpm"].max()])
    shown = run.points["speed_rpm"], run.points["speed_u95_rpm"]
    assert abs(shown[0].mean() - true[0]) < shown[1].mean()
    assert abs(shown[0].max() - true[1]) < shown[1].max()
    headline = result_of(run).headline
    assert headline.startswith("The speeds are not to be trusted. The rig says")
    assert result_of(right).headline.startswith("At ")


def test_twice_the_marks_that_are_there_are_doubted_for_the_speed_that_they_make() -> None:
    (trouble,) = [each for each in typed(4).troubles if each.kind == "wrong_marks"]
    assert "repeat after every 2" in evidence_words(trouble, SI)

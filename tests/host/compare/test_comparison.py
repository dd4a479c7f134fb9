"""Comparing runs: the difference is true, what one meter shares cancels, nothing is made up."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from runs_made_up import HUMIDITY, Array, Day, Tube, copy_of, made_up, rig, with_notes

from pullcurve.bench.moist_air import density, vapour_fraction
from pullcurve.compare.comparison import compare_runs
from pullcurve.compare.result import Pair
from pullcurve.compare.run_curve import RunCurve
from pullcurve.errors import LogError

HELD = np.array([1240.0, 1570.0, 1900.0, 2190.0, 2480.0, 2735.0])
HELD_LATER = np.array([1300.0, 1510.0, 1760.0, 2060.0, 2370.0, 2605.0, 2760.0])


TODAY = Day()


def moved(speed: Array, slip: float = 0.06, bend: float = 0.10, day: Day = TODAY) -> Array:
    """Mass flow of a machine: slip as a share of the speed, and a loss that grows with it."""
    vapour = vapour_fraction(day.pressure, day.temperature, HUMIDITY)
    air = float(density(day.pressure, day.temperature, vapour))
    share = 1 - slip * (2750 / speed) ** 0.3 - bend * (speed / 2750) ** 2
    return np.asarray(air * 0.0160 * speed / 60 * share)


def one_pair(*runs: Any) -> Pair:
    (pair,) = compare_runs(runs)
    return pair


def test_the_interval_of_the_difference_holds_the_true_one_and_is_narrow() -> None:
    """A hundred pairs of runs, each pair with one tube of its own and with two."""
    dice = np.random.default_rng(7)
    held: dict[str, list[bool]] = {"one": [], "two": [], "mean": [], "air": []}
    narrower = []
    for number in range(100):
        tube, days = Tube.drawn(dice), (Day.drawn(dice), Day.drawn(dice))
        slips = 0.06, float(dice.uniform(0.04, 0.4))
        first = made_up(HELD, moved(HELD, slips[0], day=days[0]), tube=tube, day=days[0], dice=dice)
        tubes = [tube, Tube.drawn(dice, board="two")] if number % 3 == 0 else [tube]
        for used in tubes:
            flow = moved(HELD_LATER, slips[1], day=days[1])
            later = made_up(HELD_LATER, flow, tube=used, day=days[1], dice=dice)
            pair = one_pair(first, later)
            table = pair.table
            speed = table["speed_rpm"].to_numpy()
            true = moved(speed, slips[0], day=days[0]), moved(speed, slips[1], day=days[1])
            error = table["mass_flow_difference_kg_s"] - (true[1] - true[0])
            inside = (error.abs() <= table["mass_flow_difference_u95_kg_s"]).tolist()
            held["one" if used is tube else "two"] += inside
            assert pair.same_meter == (used is tube)
            if used is tube:
                change = pair.change["mass_flow"]
                held["mean"].append(
                    abs(change.relative - np.mean(true[1] / true[0] - 1)) <= change.u95
                )
                narrower.append(change.u95 / change.u95_apart)
                same_air = moved(speed, slips[1]) / moved(speed, slips[0]) - 1
                machine = pair.change["flow_open_air"]
                held["air"].append(abs(machine.relative - same_air.mean()) <= machine.u95)
            else:
                assert pair.change["mass_flow"].u95 == pair.change["mass_flow"].u95_apart
    for name, inside in held.items():
        assert np.mean(inside) >= 0.93, name
    assert np.median(narrower) < 0.75


@settings(max_examples=25, deadline=None)
@given(
    speeds=st.lists(st.floats(1150, 2750), min_size=1, max_size=8),
    slip=st.floats(0.0, 0.5),
)
def test_a_run_against_its_copy_has_not_changed(speeds: list[float], slip: float) -> None:
    held = np.array(speeds)
    run = made_up(held, moved(held, slip))
    pair = one_pair(run, copy_of(run))
    for name in ("mass_flow", "standard_flow", "flow_inlet", "flow_open_air"):
        assert pair.change[name].relative == 0.0
        assert not pair.change[name].certain
    assert (pair.table["mass_flow_difference_kg_s"] == 0.0).all()
    assert pair.air == 0.0


RUNS = [
    made_up(HELD, moved(HELD)),
    made_up(HELD_LATER, moved(HELD_LATER, 0.3), day=Day(pressure=91_800.0)),
    made_up(HELD[2:], moved(HELD[2:], 0.1), position="hose_end"),
    made_up(HELD_LATER, moved(HELD_LATER), tube=Tube(board="two")),
    made_up(HELD, moved(HELD, 0.2), shaft="engine_shaft"),
]


@settings(max_examples=20, deadline=None)
@given(st.lists(st.sampled_from(range(len(RUNS))), min_size=2, max_size=2, unique=True))
def test_the_other_way_round_the_difference_is_the_opposite(which: list[int]) -> None:
    there = one_pair(*(RUNS[i] for i in which))
    back = one_pair(*(RUNS[i] for i in reversed(which)))
    for name in ("speed_rpm", "mass_flow_difference_u95_kg_s", "standard_flow_difference_u95_m3_s"):
        np.testing.assert_allclose(there.table[name], back.table[name], rtol=1e-9)
    for name in ("mass_flow_difference_kg_s", "flow_open_air_difference_m3_s"):
        np.testing.assert_allclose(there.table[name], -back.table[name], rtol=1e-9, atol=1e-15)
    assert (1 + there.air) * (1 + back.air) == pytest.approx(1)


@settings(max_examples=25, deadline=None)
@given(
    one=st.lists(st.floats(1150, 2750), min_size=1, max_size=8),
    two=st.lists(st.floats(1150, 2750), min_size=1, max_size=8),
)
def test_nothing_is_said_beyond_what_both_runs_held(one: list[float], two: list[float]) -> None:
    low, high = max(min(one), min(two)), min(max(one), max(two))
    runs = [made_up(np.array(each), moved(np.array(each))) for each in (one, two)]
    if low > 1.03 * high:
        with pytest.raises(LogError, match="no speed is common to both"):
            compare_runs(runs)
    elif low <= high:
        speed = one_pair(*runs).table["speed_rpm"]
        assert speed.min() >= 0.99 * low
        assert speed.max() <= 1.01 * high
        assert (np.diff(speed) > 0).all()


def test_between_points_a_curve_of_a_restriction_is_read_off_as_it_is() -> None:
    """Flow over speed falls straight with the square of the speed: nothing is lost between."""
    held = np.array([1400.0, 2750.0])
    curve = RunCurve(made_up(held, moved(held)))
    speed = np.array([1400.0, 1900.0, 2350.0, 2750.0])
    flow = held * (1 - 0.2 * (held / 2750) ** 2)
    wanted = speed * (1 - 0.2 * (speed / 2750) ** 2)
    np.testing.assert_allclose(curve.weights(speed) @ flow, wanted)
    doubt = np.sqrt(np.diag(curve.doubt(speed)))
    assert doubt[0] == pytest.approx(1e-4)  # of the speed alone
    assert doubt[1] > 5 * doubt[0] < doubt[2]


def test_single_speeds_a_little_apart_are_compared_and_doubted() -> None:
    one, other = np.array([2600.0]), np.array([2620.0])
    pair = one_pair(made_up(one, moved(one)), made_up(other, moved(other)))
    assert pair.table["speed_rpm"].tolist() == [2610.0]
    assert abs(pair.change["mass_flow"].relative) < 0.004
    same = one_pair(made_up(one, moved(one)), made_up(one, moved(one)))
    assert pair.change["mass_flow"].u95 > same.change["mass_flow"].u95


def test_a_sweep_with_a_plate_is_not_mixed_with_one_without() -> None:
    speed = np.concatenate([HELD, HELD])
    sweep = np.repeat([1, 2], len(HELD))
    flow = moved(speed) * np.where(sweep == 2, 0.7, 1.0)
    first = made_up(HELD, moved(HELD))
    unsaid = one_pair(first, made_up(speed, flow, sweep=sweep))
    assert unsaid.change["mass_flow"].relative == pytest.approx(0, abs=1e-9)
    assert "sweep 2" in unsaid.left_out[0]
    assert "−30 %" in unsaid.left_out[0]
    said = with_notes(made_up(speed, flow, sweep=sweep), ("plate", "on, bore 2 in", "sweep 2"))
    told = one_pair(first, said)
    assert told.change["mass_flow"].relative == pytest.approx(0, abs=1e-9)
    assert "6 of 12 settled points" in told.left_out[0]
    again = one_pair(first, made_up(speed, moved(speed), sweep=sweep))
    assert again.left_out == ()


def test_what_is_not_the_meters_does_not_make_it_another_one() -> None:
    first = made_up(HELD, moved(HELD))
    moved_there = one_pair(first, made_up(HELD, moved(HELD), position="hose_end"))
    assert moved_there.same_meter
    assert moved_there.moved
    port = rig("port")
    for field, value, says in (
        ("throat_bore", port.meter.throat_bore + 1e-4, "throat bore"),
        ("discharge_coefficient", 0.98, "discharge coefficient"),
    ):
        other = port.model_copy(update={"meter": port.meter.model_copy(update={field: value})})
        pair = one_pair(first, made_up(HELD, moved(HELD), on=other))
        assert not pair.same_meter
        assert says in pair.same_meter_because
    rounded = port.model_copy(update={"meter": port.meter.model_copy(update={"inlet_loss": 0.05})})
    pair = one_pair(first, made_up(HELD, moved(HELD), on=rounded))
    assert pair.same_meter
    plain = one_pair(first, made_up(HELD, moved(HELD)))
    assert pair.change["mass_flow"].u95 > plain.change["mass_flow"].u95


def test_of_a_meter_that_one_run_knows_less_well_only_what_both_have_is_shared() -> None:
    """C of 2 % and of 3 %: the root of 3^2 - 2^2 is left, not 3 - 2."""
    port = rig("port")
    less = {"discharge_coefficient_uncertainty": 0.03}
    other = port.model_copy(update={"meter": port.meter.model_copy(update=less)})
    first = made_up(HELD, moved(HELD))
    plain = one_pair(first, made_up(HELD, moved(HELD)))
    pair = one_pair(first, made_up(HELD, moved(HELD), on=other))
    more = pair.change["mass_flow"].u95 ** 2 - plain.change["mass_flow"].u95 ** 2
    assert more == pytest.approx(0.03**2 - 0.02**2, rel=0.05)


def test_a_belt_between_counts_only_where_one_run_watches_the_engine() -> None:
    by_blower = made_up(HELD, moved(HELD))
    by_engine = made_up(HELD, moved(HELD), shaft="engine_shaft")
    again = made_up(HELD, moved(HELD), shaft="engine_shaft")
    mixed, same = one_pair(by_blower, by_engine), one_pair(by_engine, again)
    both = one_pair(by_blower, made_up(HELD, moved(HELD)))
    assert same.change["mass_flow"].u95 == pytest.approx(both.change["mass_flow"].u95, rel=1e-3)
    assert mixed.change["mass_flow"].u95 > same.change["mass_flow"].u95

"""What a run withholds and widens, on a sample log whose records are damaged in one way each."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest

from pullcurve.checks.catalogue import Kind
from pullcurve.errors import LogError
from pullcurve.examine import Run, reduce_run, rig_of
from pullcurve.measure.measurement import measured_points
from pullcurve.measure.settled_points import Stretch
from pullcurve.measure.zeros import Zeros
from pullcurve.rig.models import Rig, Sensors
from pullcurve.run_log.reading import Log, read_log
from pullcurve.sources.replay import Replay
from pullcurve.stream.records import RunRecords, assembled

LOG = Path(__file__).parents[2] / "sample_logs/healthy_sweep.runlog"
HOLDS, FASTEST = 6, 3  # of the sweep; the fastest one's place


@pytest.fixture(scope="module")
def recorded() -> tuple[Log, RunRecords, Rig]:
    log = read_log(LOG)
    with Replay(log) as source:
        return log, assembled(source, str(LOG)), rig_of(log, None)


Recorded = tuple[Log, RunRecords, Rig]


def reduced(
    recorded: Recorded,
    damage: Callable[[pd.DataFrame], object] | None = None,
    rig: Rig | None = None,
    **replaced: Any,
) -> Run:
    log, records, own = recorded
    blocks = records.blocks.copy()
    if damage is not None:
        damage(blocks)
    return reduce_run(log, replace(records, blocks=blocks, **replaced), rig or own)


def withheld(run: Run) -> dict[int, str]:
    """By the place of the hold."""
    said = run.points["withheld"]
    return {int(place): said[place] for place in said.index[said != ""]}


def kinds(run: Run) -> list[tuple[str, str]]:
    return [(trouble.kind, trouble.consequence) for trouble in run.troubles]


def without_sensors(rig: Rig) -> Rig:
    """The rig as if it did not say which parts were bought."""
    return rig.model_copy(update={"sensors": Sensors()})


@pytest.fixture(scope="module")
def sound(recorded: Recorded) -> Run:
    return reduced(recorded)


def test_a_sound_run_withholds_nothing(sound: Run) -> None:
    assert len(sound.points) == HOLDS
    assert sound.points["speed_rpm"].argmax() == FASTEST
    assert withheld(sound) == {}
    assert sound.troubles == ()
    assert (sound.points["speed_u95_rpm"] < 1e-3 * sound.points["speed_rpm"]).all()


def test_reversed_tubes_withhold_every_hold(recorded: Recorded, sound: Run) -> None:
    """Every count mirrored at the zero's, 9 Pa or 8 to 9 counts above the middle: 8201."""

    def mirror(blocks: pd.DataFrame) -> None:
        low, high = 16_402 - blocks["greatest"], 16_402 - blocks["least"]
        blocks["pivot"], blocks["sum"] = 16_402 - blocks["pivot"], -blocks["sum"]
        blocks["least"], blocks["greatest"] = low, high

    run = reduced(recorded, mirror)
    assert withheld(run) == dict.fromkeys(range(HOLDS), Kind.TUBES_REVERSED)
    assert kinds(run) == [("tubes_reversed", "withheld")]
    fall = run.troubles[0].number("fall")
    top_pa = sound.points["differential_pressure_pa"].max()
    assert 0.6 * top_pa < fall < 1.05 * top_pa  # of all that turned at 0.8 of top or more


@pytest.mark.parametrize(("share", "holds"), [(0.01, []), (0.05, [FASTEST])])
def test_clipping_withholds_the_holds_of_which_more_than_2_percent_is_clipped(
    recorded: Recorded, sound: Run, share: float, holds: list[int]
) -> None:
    hold = sound.points.iloc[FASTEST]

    def clip(blocks: pd.DataFrame) -> None:
        inside = blocks.index[blocks["time_s"].between(hold["start_s"], hold["end_s"])]
        chosen = inside[np.arange(len(inside)) % round(1 / share) == 5]
        blocks.loc[chosen, "clipped"] = 3

    run = reduced(recorded, clip)
    assert withheld(run) == dict.fromkeys(holds, Kind.SENSOR_CLIPPED)
    assert kinds(run) == [("sensor_clipped", "withheld" if holds else "none")]
    others = [place for place in range(HOLDS) if place != FASTEST]
    # What is not withheld is as it was, but for what clipped holds can say of an offset.
    for column in ("standard_flow_m3_s", "standard_flow_u95_m3_s"):
        now, then = run.points.loc[others, column], sound.points.loc[others, column]
        np.testing.assert_allclose(now, then, rtol=1e-3)


def test_a_hold_at_which_the_flow_equation_has_no_solution_is_withheld(recorded: Recorded) -> None:
    """A board that is set for 30 psi: the fastest hold's 3628 Pa become 108.8 kPa, more than the
    open air has."""
    _, records, _ = recorded
    header = records.header
    sensor = header.sensor("meter_dp")
    assert sensor is not None
    channel = replace(sensor.channels[0], value_low=-30 * 6894.757, value_high=30 * 6894.757)
    wide = replace(sensor, channels=(channel,))
    others = tuple(each for each in header.sensors if each.role != "meter_dp")
    head = records.headers[-1]._replace(header=replace(header, sensors=(wide, *others)))
    run = reduced(recorded, rig=without_sensors(recorded[2]), headers=(head,))
    assert withheld(run) == {FASTEST: Kind.NO_SOLUTION}
    assert ("no_solution", "withheld") in kinds(run)
    flows = run.points["standard_flow_m3_s"]
    assert np.flatnonzero(flows.isna()).tolist() == [FASTEST]


@pytest.mark.parametrize(
    ("typed", "widest"),
    [
        (1, 0.75),  # 5482 rpm: they may be 2, or 4 (1371 rpm), as uneven marks repeat
        (3, 0.5),  # 1828 rpm: they may be 2
        (4, 1.0),  # 1371 rpm: they may be 2
    ],
)
def test_a_doubted_number_of_marks_widens_the_speed_until_it_holds_every_number_that_fits(
    recorded: Recorded, sound: Run, typed: int, widest: float
) -> None:
    """Typed for true: the speed is off by |typed / true - 1|, and two in a hundred more."""
    rig = recorded[2]
    shaft = rig.pickups.blower_shaft
    assert shaft is not None
    shaft = shaft.model_copy(update={"marks_per_turn": typed})
    pickups = rig.pickups.model_copy(update={"blower_shaft": shaft})
    run = reduced(recorded, rig=rig.model_copy(update={"pickups": pickups}))
    assert kinds(run) == [("wrong_marks", "widened")]
    assert withheld(run) == {}
    ratio = run.points["speed_u95_rpm"] / run.points["speed_rpm"]
    np.testing.assert_allclose(ratio, 1.02 * widest, rtol=1e-3)
    off = (run.points["speed_rpm"] - sound.points["speed_rpm"]).abs()
    assert (off < run.points["speed_u95_rpm"]).all()


def test_a_run_without_a_hold_has_no_points_and_says_what_it_can(recorded: Recorded) -> None:
    log, records, rig = recorded
    run = reduce_run(log, records, rig, stretches=[Stretch(20.0, 22.0, 1500.0, "held for 2 s")])
    assert run.points.empty
    assert [stretch.rejected for stretch in run.rejected] == ["held for 2 s"]
    assert (run.flows, run.around, run.troubles) == (None, None, ())


def test_a_part_that_nobody_knows_is_refused_in_words(recorded: Recorded) -> None:
    _, records, _ = recorded
    sensors = tuple(
        replace(each, part="XYZ") if each.role == "meter_dp" else each
        for each in records.header.sensors
    )
    head = records.headers[-1]._replace(header=replace(records.header, sensors=sensors))
    with pytest.raises(LogError, match="of a part that this version does not know"):
        reduced(recorded, rig=without_sensors(recorded[2]), headers=(head,))


def points_of(speed_from: str = "blower_shaft", **columns: Any) -> pd.DataFrame:
    """Points of four holds of 20 s, with engine stops after the second one."""
    time_s = 0.1 * (np.arange(1600) + 0.5)
    table = pd.DataFrame({"time_s": time_s, "length_s": 0.1, "speed_rpm": 2200.0, "zero_pa": 3.0})
    table = table.assign(zeroed_dp_pa=1500.0, differential_pressure_sd_pa=0.0, clipped_block=False)
    table = table.assign(**columns)
    shaft = SimpleNamespace(between=lambda start_s, end_s: (1760.0, 0.1))
    channels = SimpleNamespace(
        table=table,
        shafts={speed_from: shaft},
        blower_shaft_from=speed_from,
        belt_ratio=1.25 if speed_from == "engine_shaft" else 1.0,
    )
    stops = pd.DataFrame({"end_s": [5.0, 75.0, 78.0]})
    kept = [Stretch(start, start + 20, 2200.0) for start in (10.0, 40.0, 80.0, 120.0)]
    return measured_points(cast("Any", channels), Zeros(stops, 4.0, 9.0, 9.0), kept)


def test_a_sweep_ends_with_an_engine_stop_and_its_holds_are_counted_anew() -> None:
    points = points_of()
    assert points["point"].tolist() == [1, 2, 3, 4]
    assert points["sweep"].tolist() == [1, 1, 2, 2]
    assert points["hold"].tolist() == [1, 2, 1, 2]
    np.testing.assert_allclose(points["differential_pressure_pa"], 1500.0)


def test_the_blower_s_speed_by_a_belt_is_as_uncertain_as_the_belt_s_slip() -> None:
    """2 % as a rectangle: 0.02 / sqrt(3)."""
    by_belt, own = points_of("engine_shaft").iloc[0], points_of().iloc[0]
    assert (own["speed_rpm"], own["speed_u_rpm"]) == (1760.0, 0.1)
    assert by_belt["speed_rpm"] == 2200.0
    assert by_belt["speed_u_rpm"] == pytest.approx(2200 * 0.02 / np.sqrt(3), rel=1e-4)


def test_ripple_is_the_spread_within_and_between_blocks_less_the_sensor_s_noise() -> None:
    """Within 30 Pa, between 40 Pa either way, of noise 4 Pa: 900 + 1600 - 16 Pa^2."""
    swings = 1500 + 40.0 * (-1) ** np.arange(1600)
    points = points_of(zeroed_dp_pa=swings, differential_pressure_sd_pa=30.0)
    np.testing.assert_allclose(points["ripple_pa2"], 2484.0, rtol=1e-3)
    np.testing.assert_allclose(points["pulsation_ratio"], np.sqrt(2484) / 1500, rtol=1e-3)


def test_scatter_is_that_of_ten_parts_of_a_hold() -> None:
    """A drift of 20 Pa over 20 s: parts 2 Pa apart, of a standard deviation 2 sqrt(110 / 12) Pa."""
    time_s = 0.1 * (np.arange(1600) + 0.5)
    points = points_of(zeroed_dp_pa=1500 + time_s)
    np.testing.assert_allclose(points["scatter_pa"], 2 * np.sqrt(110 / 12) / np.sqrt(10), rtol=0.01)

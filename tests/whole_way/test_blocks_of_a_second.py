"""A board that logs alone sends a block a second: the host reads the same run from them."""

import numpy as np
import pytest

from direct_link import DirectLink
from fed import Fed
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Scenario, find_scenario
from pullcurve.bench.world import World
from pullcurve.examine import Run, reduce_run
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.reading import Log
from pullcurve.stream.records import Assembler
from sample_runs import SAMPLES

ALONE = {
    "block_us": 1_000_000,
    "period_us": 5000,
    "jitter_us": 5000,
    "slow_us": 1_000_000,
    "header_us": 10_000_000,
}


def measured(plan: dict[str, int]) -> tuple[Run, float, Plant]:
    """The run, the bytes a second that the board sent, and the machine it read."""
    table = find_scenario("healthy_sweep").model_dump()
    scene = Scenario.model_validate(table | {"board": {"plan": plan}})
    assembler = Fed(Assembler())
    plant = simulate(scene)
    with DirectLink(scene, World(scene, plant)) as link:
        received = list(link)
    for each in received:
        assembler.add(each)
    rig = load_rig(SAMPLES.parent / "hardware/rigs/port.toml")
    log = Log(SAMPLES / "alone.runlog", received[:1])
    run = reduce_run(log, assembler.finish("alone"), rig)
    return run, sum(len(each.data) for each in received) / scene.duration_s, plant


def test_the_points_of_a_sweep_are_those_of_blocks_of_a_tenth() -> None:
    quick, quick_bytes, plant = measured(ALONE | {"block_us": 100_000, "slow_us": 500_000})
    alone, alone_bytes, _ = measured(ALONE)
    assert len(alone.points) == len(quick.points) > 4
    # The holds that are found in them begin and end a second or so apart, and speed wanders.
    for run in (quick, alone):
        assert_speeds_are_true(run, plant)
    np.testing.assert_allclose(
        alone.points["standard_flow_m3_s"], quick.points["standard_flow_m3_s"], rtol=1e-3
    )
    assert (alone.points["speed_u_rpm"] / alone.points["speed_rpm"]).max() < 2e-4
    wider = alone.points["standard_flow_u95_m3_s"] / quick.points["standard_flow_u95_m3_s"]
    assert wider.max() < 1.05
    assert not alone.troubles
    # As DEVELOPERS.md states them.
    assert quick_bytes == pytest.approx(1500, rel=0.05)
    assert alone_bytes == pytest.approx(380, rel=0.05)


def assert_speeds_are_true(run: Run, plant: Plant) -> None:
    """Within 3e-4 of the mean over the hold: one whose last block of a second reaches into the
    ramp is a third beyond its U95, which supposes a speed that wanders by 1e-3 at most."""
    truth = plant.truth()
    for point in run.points.itertuples():
        inside = (truth["time_s"] >= point.start_s) & (truth["time_s"] <= point.end_s)
        assert point.speed_rpm == pytest.approx(truth["speed_rpm"][inside].mean(), rel=3e-4)

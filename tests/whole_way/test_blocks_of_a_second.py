"""A board that logs alone sends a block a second: the host reads the same run from them."""

import numpy as np
import pytest

from direct_link import DirectLink
from fed import Fed
from pullcurve.bench.plant import simulate
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


def measured(plan: dict[str, int]) -> tuple[Run, float]:
    """The run, and the bytes a second that the board sent."""
    table = find_scenario("healthy_sweep").model_dump()
    scene = Scenario.model_validate(table | {"board": {"plan": plan}})
    assembler = Fed(Assembler())
    with DirectLink(scene, World(scene, simulate(scene))) as link:
        received = list(link)
    for each in received:
        assembler.add(each)
    rig = load_rig(SAMPLES.parent / "hardware/rigs/port.toml")
    log = Log(SAMPLES / "alone.runlog", received[:1])
    run = reduce_run(log, assembler.finish("alone"), rig)
    return run, sum(len(each.data) for each in received) / scene.duration_s


def test_the_points_of_a_sweep_are_those_of_blocks_of_a_tenth() -> None:
    quick, quick_bytes = measured(ALONE | {"block_us": 100_000, "slow_us": 500_000})
    alone, alone_bytes = measured(ALONE)
    assert len(alone.points) == len(quick.points) > 4
    for column, closeness in {"speed_rpm": 3e-4, "standard_flow_m3_s": 1e-3}.items():
        np.testing.assert_allclose(alone.points[column], quick.points[column], rtol=closeness)
    assert (alone.points["speed_u_rpm"] / alone.points["speed_rpm"]).max() < 2e-4
    wider = alone.points["standard_flow_u95_m3_s"] / quick.points["standard_flow_u95_m3_s"]
    assert wider.max() < 1.05
    assert not alone.troubles
    # As DEVELOPERS.md states them.
    assert quick_bytes == pytest.approx(1500, rel=0.05)
    assert alone_bytes == pytest.approx(380, rel=0.05)

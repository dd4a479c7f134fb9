"""Each trouble is named on machines that were drawn at random, and none where none is.

How often that succeeds is measured by tests/bench/population.py; here are single runs of it.
"""

from pathlib import Path

import pytest

from direct_link import DirectLink
from instruments import TROUBLES
from population import one_run
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import Scenario, load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.diagnosis.diagnose import diagnose
from pullcurve.examine import read_run
from pullcurve.recording import record
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.writing import LogWriter

SEED = 20


@pytest.mark.parametrize("trouble", [*TROUBLES, "straightener_missing"])
def test_a_trouble_is_named(trouble: str, tmp_path: Path) -> None:
    outcomes = [one_run(number, SEED, trouble, tmp_path) for number in range(3)]
    named = [trouble in outcome.named for outcome in outcomes]
    assert sum(named) >= 2, [outcome.named for outcome in outcomes]


def test_no_trouble_is_named_where_none_is(tmp_path: Path) -> None:
    for number in range(6):
        outcome = one_run(number, SEED, "none", tmp_path)
        assert not set(outcome.named) & set(TROUBLES), (number, outcome.named)


UNDECIDED = (
    "A blower that loses between a half and two thirds of its speed to slip bends the curve so "
    "like an offset that six holds do not tell them apart: water in a line is told besides wear."
)


@pytest.mark.parametrize(
    "factor",
    [
        16.0,
        pytest.param(
            24.0, marks=pytest.mark.xfail(strict=True, raises=AssertionError, reason=UNDECIDED)
        ),
        32.0,
    ],
)
def test_a_blower_near_its_end_is_no_water_in_a_line(factor: float, tmp_path: Path) -> None:
    """Its slip, so many times the healthy one, bends the curve as an offset does."""
    drawn = load_scenario(shipped_scenarios()["worn_sweep"]).model_dump()
    drawn["machine"]["blower"]["slip_factor"] = factor
    scenario = Scenario.model_validate(drawn)
    path = tmp_path / "wrecked.runlog"
    rig = Path(__file__).parents[2] / "hardware" / "rigs" / "port.toml"
    with (
        DirectLink(scenario, World(scenario, simulate(scenario))) as link,
        LogWriter(path, now=scenario.start) as writer,
    ):
        writer.rig(scenario.start, load_rig(rig).text)
        record(link, writer)
    run = read_run(path)
    assert not run.troubles
    found = diagnose(run)
    assert not isinstance(found, str)
    assert not found.verdict.vetoed_by
    assert ("worn_clearances",) in found.verdict.candidates

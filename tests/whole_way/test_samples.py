"""Every sample log replays, and says of its machine what is true of it."""

import re
from pathlib import Path

import jsonschema
import numpy as np
import pandas as pd
import pytest

from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.cli import main
from pullcurve.links.bench_link import BenchLink
from pullcurve.quantities import US
from pullcurve.reduction.records import Assembler
from pullcurve.reduction.run import Run, reduce_run
from pullcurve.report.from_run import result_of
from pullcurve.report.page import page
from pullcurve.report.result import RunResult
from pullcurve.run_log.reading import read_log
from pullcurve.run_log.replay import Replay
from sample_runs import sample_run

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_logs"
LISTED = (SAMPLES / "README.md").read_text(encoding="utf-8")
RIGS = dict(re.findall(r"^\| `(\w+)` \| `(\w+)` \|", LISTED, re.MULTILINE))
HOLDS = {"healthy_sweep": 8, "worn_sweep": 8, "slow_sweep": 7}


def test_the_readme_lists_every_log_with_its_scenario() -> None:
    logs = {path.stem for path in SAMPLES.glob("*.runlog")}
    assert logs == set(RIGS) == set(shipped_scenarios())
    assert len(logs) >= 5


@pytest.fixture(scope="module", params=sorted(RIGS))
def sample(request: pytest.FixtureRequest) -> tuple[str, Run]:
    return request.param, sample_run(request.param)


def test_a_sample_holds_the_truth_in_its_intervals(sample: tuple[str, Run]) -> None:
    """The truth is simulated anew: nothing that reads a log has it."""
    name, run = sample
    truth = pd.DataFrame(simulate(load_scenario(shipped_scenarios()[name])).truth())
    compared = [
        ("speed_rpm", "speed_u95_rpm"),
        ("mass_flow_kg_s", "mass_flow_u95_kg_s"),
        ("flow_tap_m3_s", "flow_tap_u95_m3_s"),
        ("standard_flow_m3_s", "standard_flow_u95_m3_s"),
        ("flow_inlet_m3_s", "flow_inlet_u95_m3_s"),
    ]
    assert len(run.points) >= 4
    for point in run.points.to_dict("records"):
        inside = truth[truth["time_s"].between(point["start_s"], point["end_s"])].mean()
        for value, u95 in compared:
            if value in point:
                assert abs(point[value] - inside[value]) <= point[u95], (
                    name,
                    value,
                    point["point"],
                )
        assert point["standard_flow_u95_m3_s"] < 0.08 * point["standard_flow_m3_s"]


@pytest.mark.parametrize("name", sorted(HOLDS))
def test_the_holds_of_a_sweep_are_found_without_being_told(name: str) -> None:
    run = sample_run(name)
    plant = simulate(load_scenario(shipped_scenarios()[name]))
    truth = pd.DataFrame(plant.truth())
    assert len(run.points) == len(plant.holds) == HOLDS[name]
    for point, hold in zip(run.points.to_dict("records"), plant.holds, strict=True):
        assert hold.start_s < (point["start_s"] + point["end_s"]) / 2 < hold.end_s
        speed = truth["speed_rpm"][truth["time_s"].between(point["start_s"], point["end_s"])]
        without_wander = speed.rolling(20, center=True).mean()
        assert np.abs(without_wander / hold.speed_rpm - 1).max() < 0.005


def test_a_replay_gives_the_same_numbers_to_the_last_bit(sample: tuple[str, Run]) -> None:
    name, run = sample
    log = read_log(SAMPLES / f"{name}.runlog")
    assembler = Assembler()
    with Replay(log, speed=1e6) as source:
        for received in source:
            for place in range(0, len(received.data), 7):  # as a slow port would cut it
                assembler.add(received._replace(data=received.data[place : place + 7]))
    again = reduce_run(log, assembler.finish(name), run.rig)
    pd.testing.assert_frame_equal(again.points, run.points, check_exact=True)
    pd.testing.assert_frame_equal(again.channels.table, run.channels.table, check_exact=True)


def test_a_sample_makes_a_valid_result_and_a_page(sample: tuple[str, Run]) -> None:
    result = result_of(sample[1])
    jsonschema.validate(result.model_dump(mode="json"), RunResult.model_json_schema())
    assert result.headline.startswith("At ")
    assert "invented" not in result.title
    assert "base64" in page(result, US)


def test_the_rough_link_is_told_in_words() -> None:
    result = result_of(sample_run("rough_link"))
    assert result.quality.board_starts == 2
    assert sum(result.quality.damaged.values()) > 0
    assert result.quality.lost == 0  # all that was damaged has come again
    assert result.quality.late > 20
    said = (*result.remarks, *result.troubles)
    assert {"board", "link"} <= {each.subject for each in said}


def test_optional_roles_reach_the_result() -> None:
    run = sample_run("full_sensors")
    top = result_of(run).points[2]
    assert top.vacuum_blower_pa is not None
    assert top.vacuum_tank_pa is not None
    assert top.vacuum_blower_pa.value > top.vacuum_tank_pa.value > 3000
    assert top.flow_inlet is not None
    assert top.flow_port is not None
    assert top.flow_port.basis == "modelled"
    assert top.discharge_temperature_c is not None
    assert top.discharge_temperature_c > 20
    engine = run.channels.table["engine_speed_rpm"]
    blower = run.channels.table["speed_rpm"]
    held = (run.channels.table["time_s"] > 40) & (run.channels.table["time_s"] < 60)
    assert (blower / engine)[held].mean() == pytest.approx(1.2 * (1 - 0.004), abs=0.002)


@pytest.mark.parametrize("name", sorted(RIGS))
def test_making_a_sample_again_gives_the_same_bytes(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    rig = ROOT / f"hardware/rigs/{RIGS[name]}.toml"
    log = tmp_path / "again.runlog"
    main(["bench", name, str(log), "--rig", str(rig)], standalone_mode=False)
    assert log.read_bytes() == (SAMPLES / f"{name}.runlog").read_bytes()
    truth = pd.read_csv(tmp_path / "again.truth.csv")
    assert np.all(np.diff(truth["time_s"]) > 0)


def test_the_bench_link_is_a_source_that_ends() -> None:
    scenario = load_scenario(shipped_scenarios()["rough_link"])
    short = scenario.model_copy(update={"duration_s": 3.0})
    with BenchLink(short, World(short, simulate(short))) as link:
        last = list(link)[-1]
    assert (last.host_time - scenario.start).total_seconds() == pytest.approx(3.0, abs=0.2)


def test_the_readmes_python_example_runs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    exec(compile(example, "README.md", "exec"), {})  # noqa: S102  (the page's own example)
    assert "standard_flow_m3_s" in capsys.readouterr().out

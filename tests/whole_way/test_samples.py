"""Every sample log replays, and says of its machine what is true of it."""

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pandas as pd
import pytest

from fed import Fed
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.cli import main
from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.shift import read_cut
from pullcurve.diagnosis.diagnose import Diagnosis, diagnose
from pullcurve.examine import Run, reduce_run
from pullcurve.physics.spoils import SPOILS
from pullcurve.quantities import US
from pullcurve.report.from_run import result_of
from pullcurve.report.page import page
from pullcurve.report.result import RunResult
from pullcurve.results import json_schema, to_json
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.reading import read_log
from pullcurve.sources.bench import BenchLink
from pullcurve.sources.replay import Replay
from pullcurve.stream.records import Assembler
from sample_runs import sample_run

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_logs"
LISTED = (SAMPLES / "README.md").read_text(encoding="utf-8")
RIGS = dict(re.findall(r"^\| `(\w+)` \| `(\w+)` \|", LISTED, re.MULTILINE))
HOLDS = {
    "healthy_sweep": 6,
    "worn_sweep": 6,
    "slow_sweep": 6,
    "machined_sweep": 6,
    "clean_pipe_sweep": 6,
    "pulsating_sweep": 6,
    "plate_sweep": 6,
    "full_sensors": 5,
}
PULSATION = (
    "The differential pressure goes with the square of the flow, so that its mean over a swing of "
    "half the flow lies 13 % above that of the mean flow; behind slow lines the sensor shows no "
    "swing, and the flow is told 6 % too high, outside its interval."
)
DEEP_VACUUM = (
    "At a vacuum of 0.41 of the ambient pressure (at 0.35 not yet), with the usual slip and nearly "
    "without, none of the curves that a sweep may follow fits as well as an offset: water in a "
    "line is told, and the verdict withheld, where there is none."
)
THIN_AIR = (
    "Below 30 kPa at the tap the watch computes no flow: a clog has no size at its worst, and air "
    "that is too slow for the spoil goes untold while it lasts."
)
FILTER_HIDES = (
    "A filter that loads raises the path's resistance while a leak lowers it: what is told of the "
    "leak is the difference."
)


def test_the_readme_lists_every_log_with_its_scenario() -> None:
    logs = {path.stem for path in SAMPLES.glob("*.runlog")}
    assert logs == set(RIGS) == set(shipped_scenarios())
    assert len(logs) >= 5


def truth_of(name: str) -> pd.DataFrame:
    """Simulated anew: nothing that reads a log has it."""
    return pd.DataFrame(simulate(load_scenario(shipped_scenarios()[name])).truth())


def but(misjudged: str, reason: str, *names: str) -> list[Any]:
    """The names, with one of them as what the project does not get right yet."""
    wrong = pytest.mark.xfail(strict=True, raises=AssertionError, reason=reason)
    return [pytest.param(each, marks=wrong if each == misjudged else ()) for each in names]


@pytest.fixture(scope="module", params=sorted(RIGS))
def sample(request: pytest.FixtureRequest) -> tuple[str, Run]:
    return request.param, sample_run(request.param)


@pytest.mark.parametrize("name", but("pulsating_sweep", PULSATION, *sorted(RIGS)))
def test_a_sample_holds_the_truth_in_its_intervals(name: str) -> None:
    run, truth = sample_run(name), truth_of(name)
    compared = [
        ("speed_rpm", "speed_u95_rpm"),
        ("mass_flow_kg_s", "mass_flow_u95_kg_s"),
        ("flow_tap_m3_s", "flow_tap_u95_m3_s"),
        ("standard_flow_m3_s", "standard_flow_u95_m3_s"),
        ("flow_inlet_m3_s", "flow_inlet_u95_m3_s"),
    ]
    assert len(run.points) >= 3
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


@pytest.mark.parametrize(
    "name",
    but(
        "plate_sweep",
        DEEP_VACUUM,
        "healthy_sweep",
        "machined_sweep",
        "clean_pipe_sweep",
        "pulsating_sweep",
        "plate_sweep",
        "full_sensors",
        "rough_link",
    ),
)
def test_a_healthy_machine_is_neither_accused_nor_left_between_two_faults(name: str) -> None:
    run = sample_run(name)
    assert not {"water_in_line", "wrong_marks", "tubes_reversed"} & {t.kind for t in run.troubles}
    found = diagnose(run)
    assert isinstance(found, Diagnosis)
    assert found.verdict.decided
    assert found.verdict.label == ()
    assert found.ledger.metered.mass.low < found.ledger.metered.mass.high


@pytest.mark.parametrize(
    ("name", "cause"), [("worn_sweep", "worn_clearances"), ("slow_sweep", "low_speed")]
)
def test_a_fault_is_among_what_the_readings_leave_open(name: str, cause: str) -> None:
    """With a port and one shaft alone, wear cannot be told from a leak at the blower, nor a slow
    engine from a slipping belt."""
    found = diagnose(sample_run(name))
    assert isinstance(found, Diagnosis)
    assert not found.verdict.vetoed_by
    assert (cause,) in found.verdict.candidates
    assert () not in found.verdict.candidates


def lumps(name: str) -> list[tuple[CutAlarm, float]]:
    """Each clog as it was told, and what it truly took of the flow at its worst, as a mean over
    two seconds."""
    flow = truth_of(name).set_index("time_s")["mass_flow_kg_s"]
    told = []
    for event in read_cut(SAMPLES / f"{name}.runlog").events:
        if event.kind == "clog":
            before = flow[event.start_s - 15 : event.start_s - 1].mean()
            least = flow.rolling(20).mean()[event.start_s : event.end_s].min()
            told.append((event, 1 - least / before))
    return told


@pytest.mark.parametrize(
    ("name", "onsets_s"), [("cut", [84, 145, 168]), ("high_cut", [74, 108, 130])]
)
def test_every_lump_of_a_cut_is_told_soon(name: str, onsets_s: list[float]) -> None:
    told = [event.spoken_s for event, _ in lumps(name)]
    assert len(told) == 3
    for spoken_s, onset_s in zip(told, onsets_s, strict=True):
        assert onset_s < spoken_s < onset_s + 8


@pytest.mark.parametrize("name", but("high_cut", THIN_AIR, "cut", "high_cut"))
def test_a_lump_is_as_large_as_it_is_told(name: str) -> None:
    for event, truly in lumps(name):
        assert event.size == pytest.approx(truly, abs=event.size_u95)


@pytest.mark.xfail(strict=True, raises=AssertionError, reason=THIN_AIR)
def test_air_too_slow_for_the_spoil_is_told_in_thin_air() -> None:
    """The lump of 38 s leaves a third of the velocity that dry grit needs."""
    truth = truth_of("high_cut")
    clogged = truth[truth["time_s"].between(142, 166)]
    bore = load_rig(ROOT / "hardware/rigs/high_pipe.toml").machine.hose[0].bore
    velocity = clogged["port_mass_flow_kg_s"] / clogged["mass_flow_kg_s"]
    velocity = velocity * clogged["flow_ambient_m3_s"] / (np.pi / 4 * bore**2)
    if not velocity.max() < 0.5 * SPOILS["dry grit"].velocity[0]:
        raise RuntimeError("the scenario is not what this test is about")
    kinds = {event.kind for event in read_cut(SAMPLES / "high_cut.runlog").events}
    assert "slow_nozzle" in kinds


def test_a_leak_beside_a_loading_filter_is_told_while_it_grows() -> None:
    (event,) = read_cut(SAMPLES / "leak_cut.runlog").events
    assert event.kind == "leak"
    assert event.places == ("A", "B")  # without a sensor in the tank they are one
    assert 75 < event.spoken_s < 193
    assert event.end_s is None


@pytest.mark.xfail(strict=True, raises=AssertionError, reason=FILTER_HIDES)
def test_a_leak_beside_a_loading_filter_is_told_as_large_as_it_is() -> None:
    (event,) = read_cut(SAMPLES / "leak_cut.runlog").events
    nozzle = truth_of("leak_cut").set_index("time_s")["port_mass_flow_kg_s"]
    truly = 1 - nozzle[180:190].mean() / nozzle[56:74].mean()
    assert event.size == pytest.approx(truly, abs=event.size_u95)


@pytest.mark.parametrize("name", sorted(HOLDS))
def test_the_holds_of_a_sweep_are_found_without_being_told(name: str) -> None:
    run = sample_run(name)
    plant = simulate(load_scenario(shipped_scenarios()[name]))
    truth = truth_of(name)
    assert len(run.points) == len(plant.holds) == HOLDS[name]
    for point, hold in zip(run.points.to_dict("records"), plant.holds, strict=True):
        assert hold.start_s < (point["start_s"] + point["end_s"]) / 2 < hold.end_s
        speed = truth["speed_rpm"][truth["time_s"].between(point["start_s"], point["end_s"])]
        without_wander = speed.rolling(20, center=True).mean()
        assert np.abs(without_wander / hold.speed_rpm - 1).max() < 0.005


def test_a_replay_gives_the_same_numbers_to_the_last_bit(sample: tuple[str, Run]) -> None:
    name, run = sample
    log = read_log(SAMPLES / f"{name}.runlog")
    assembler = Fed(Assembler())
    with Replay(log, speed=1e6) as source:
        for received in source:
            for place in range(0, len(received.data), 7):  # as a slow port would cut it
                assembler.add(received._replace(data=received.data[place : place + 7]))
    again = reduce_run(log, assembler.finish(name), run.rig)
    pd.testing.assert_frame_equal(again.points, run.points, check_exact=True)
    pd.testing.assert_frame_equal(again.channels.table, run.channels.table, check_exact=True)


def test_a_sample_makes_a_valid_result_and_a_page(sample: tuple[str, Run]) -> None:
    result = result_of(sample[1])
    jsonschema.validate(json.loads(to_json(result)), json_schema(RunResult))
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
    top = result_of(run).points[1]
    assert top.vacuum_blower_pa is not None
    assert top.vacuum_tank_pa is not None
    assert top.vacuum_blower_pa.value > top.vacuum_tank_pa.value > 3000
    assert top.flow_inlet is not None
    assert top.flow_port is not None
    assert top.flow_port.basis == "modelled"
    assert top.discharge_temperature_k is not None
    assert top.discharge_temperature_k > 273.15 + 15  # 3 K above the open air
    engine = run.channels.table["engine_speed_rpm"]
    blower = run.channels.table["speed_rpm"]
    held = run.channels.table["time_s"].between(50, 64)
    assert (blower / engine)[held].mean() == pytest.approx(1.25 * (1 - 0.004), abs=0.002)


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

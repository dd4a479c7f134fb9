"""From a real log to a result: budgets, what runs share, gaps, provenance, withheld points."""

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from pullcurve.checks.catalogue import CATALOGUE, Kind, found
from pullcurve.examine import Run
from pullcurve.measure.inputs import Source
from pullcurve.measure.points import Flow, MeteredQuantity, SharedInputs, Withheld
from pullcurve.report.from_run import result_of
from pullcurve.report.inputs_in_words import INPUTS
from pullcurve.report.result import RunResult
from pullcurve.results import to_json
from pullcurve.rig.loading import load_rig
from pullcurve.uncertainty import Result, covariance_between_runs
from sample_runs import sample_run

SAMPLES = Path(__file__).parents[3] / "sample_logs"
FLOWS = ("mass_flow_kg_s", "flow_tap", "flow_port", "flow_inlet", "standard_flow_m3_s")


@pytest.fixture(scope="module")
def run() -> Run:
    return sample_run("rough_link")


@pytest.fixture(scope="module")
def said(run: Run) -> RunResult:
    return result_of(run)


def test_a_points_budget_is_the_whole_of_its_interval(said: RunResult) -> None:
    for point in said.points:
        assert sum(part.share for part in point.budget) == pytest.approx(1)
        whole = np.linalg.norm([part.u95_m3_s for part in point.budget])
        assert whole == pytest.approx(point.standard_flow.u95)
        shares = [part.share for part in point.budget]
        assert shares == sorted(shares, reverse=True)


def shared(point: object, name: str) -> SharedInputs:
    flow = getattr(point, name)
    assert isinstance(flow, Flow | MeteredQuantity)
    return flow.shared_inputs


def covariance(one: list[dict[str, float]], other: list[dict[str, float]]) -> list[list[float]]:
    """As a reader of the JSON would work it out."""
    return [[sum(part * b.get(name, 0.0) for name, part in a.items()) for b in other] for a in one]


@pytest.mark.parametrize("name", FLOWS)
def test_what_values_share_gives_their_covariances_back(
    run: Run, said: RunResult, name: str
) -> None:
    assert run.flows is not None
    flow = getattr(run.flows, name.removeprefix("flow_").partition("_flow")[0])
    whole: Result = flow if isinstance(flow, Result) else flow.result
    runs = [shared(point, name).run for point in said.points]
    meters = [shared(point, name).meter for point in said.points]
    within = np.array(covariance(runs, runs)) + covariance(meters, meters)
    off_diagonal = ~np.eye(len(within), dtype=bool)
    np.testing.assert_allclose(
        within[off_diagonal], whole.covariance()[off_diagonal], rtol=1e-9, atol=1e-15
    )
    np.testing.assert_allclose(
        covariance(meters, meters), covariance_between_runs(whole, whole), rtol=1e-9, atol=1e-15
    )


def test_every_source_and_every_reason_to_withhold_has_words() -> None:
    assert set(INPUTS) == set(Source)
    assert {kind.value for kind, row in CATALOGUE.items() if row.withheld} == set(
        get_args(Withheld)
    )


def test_a_point_says_the_error_of_pulsation_that_its_flow_used(run: Run, said: RunResult) -> None:
    assert run.flows is not None
    (used,) = (entry for entry in run.flows.mass.inputs if entry.name == "pulsation")
    assert [point.pulsation_error.value for point in said.points] == list(used.value)
    assert [point.pulsation_error.u95 / 2 for point in said.points] == pytest.approx(
        used.standard_uncertainty
    )


def test_a_withheld_point_keeps_what_was_seen_and_states_no_flow(run: Run) -> None:
    points = run.points.copy()
    points.loc[1, "withheld"] = "sensor_clipped"
    points.loc[1, "standard_flow_m3_s"] = np.nan
    troubles = (
        found(Kind.RECORDS_LOST, lost=300, all=9000),
        found(Kind.SENSOR_CLIPPED, case="run", clipped=40, blocks=900, holds=1, end=6890.0),
    )
    said = result_of(replace(run, points=points, findings=troubles))
    point = said.points[1]
    assert point.withheld == "sensor_clipped"
    assert [getattr(point, name) for name in FLOWS] == [None] * 5
    assert point.budget == ()
    assert point.differential_pressure_pa.value == run.points["differential_pressure_pa"][1]
    assert [each.point for each in said.stated] == [1, *range(3, len(points) + 1)]
    assert [each.kind for each in said.troubles] == ["sensor_clipped", "records_lost"]
    assert "For 1 of" in said.headline


def test_a_little_clipping_is_a_remark_on_its_hold(run: Run) -> None:
    points = run.points.copy()
    points.loc[0, "clipped_share"] = 0.012
    first, second, *_ = result_of(replace(run, points=points)).points
    assert first.remarks == ("1.2\xa0% of its blocks touch the end of the sensor's range",)
    assert second.remarks == ()


def test_a_hole_in_a_channel_is_measured(run: Run) -> None:
    table = run.channels.table.copy()
    before = {each.channel: each for each in result_of(run).quality.channels}
    hole = table["time_s"].between(100, 112)
    table.loc[hole, "ambient_pressure_pa"] = np.nan
    after = result_of(replace(run, channels=replace(run.channels, table=table))).quality.channels
    found = {each.channel: each for each in after}
    pressure = found.pop("ambient_pressure_pa")
    whole = before.pop("ambient_pressure_pa")
    assert found == before
    assert pressure.gaps == whole.gaps + 1
    assert pressure.longest_gap_s == pytest.approx(12, abs=0.2)
    assert pressure.longest_gap_start_s == pytest.approx(100, abs=0.2)
    duration_s = result_of(run).duration_s
    assert whole.covered - pressure.covered == pytest.approx(12 / duration_s, abs=0.3 / duration_s)


def test_the_provenance_names_the_very_files(run: Run, said: RunResult) -> None:
    origin = said.provenance
    assert origin.log_sha256 == hashlib.sha256(run.log.path.read_bytes()).hexdigest()
    rig = load_rig(SAMPLES.parent / "hardware/rigs/port.toml")
    assert origin.rig_sha256 == hashlib.sha256(rig.text.encode()).hexdigest()
    assert origin.libraries["numpy"] == np.__version__
    part = said.sensors[0]
    assert part.role == "meter_dp"
    assert part.range_pa is not None
    # The HSC's nonlinearity, sensor_parts.toml: 0.25 % of the span.
    linearity = next(each for each in part.limits if each.quantity == "linearity_pa")
    assert linearity.half_width == pytest.approx(0.0025 * (part.range_pa[1] - part.range_pa[0]))
    assert "50099148" in linearity.source
    assert all(sensor.limits for sensor in said.sensors)
    assert json.loads(to_json(said))["speed"]["marks_per_turn"] == 2

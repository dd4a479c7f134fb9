"""From a run's diagnosis to its part of the result: the ledger adds up, a veto says nothing."""

import json
from dataclasses import replace
from importlib.resources import files

import jsonschema
import pytest

from pullcurve.diagnosis.baseline import check_baseline
from pullcurve.diagnosis.diagnose import Diagnosis, diagnose
from pullcurve.diagnosis.evidence import Evidence, gather
from pullcurve.diagnosis.result import NoDiagnosis, RunDiagnosis
from pullcurve.errors import ReportError
from pullcurve.examine import Run
from pullcurve.report.from_run import result_of
from pullcurve.report.result import RunResult
from pullcurve.results import from_json, to_json
from sample_runs import sample_run


@pytest.fixture(scope="module")
def run() -> Run:
    return sample_run("full_sensors")


@pytest.fixture(scope="module")
def found(run: Run) -> Diagnosis:
    found = diagnose(run)
    assert isinstance(found, Diagnosis)
    return found


@pytest.fixture(scope="module")
def said(run: Run, found: Diagnosis) -> RunResult:
    return result_of(run, found, "spring.runlog")


def diagnosis(result: RunResult) -> RunDiagnosis:
    assert isinstance(result.diagnosis, RunDiagnosis)
    return result.diagnosis


def test_the_steps_add_up_exactly_in_volume_and_in_mass(said: RunResult) -> None:
    ledger = diagnosis(said).ledger
    assert ledger is not None
    for name in ("value_m3_s", "value_kg_s"):
        steps = sum(getattr(step, name) for step in ledger.steps)
        rated, metered = getattr(ledger.rated, name), getattr(ledger.metered, name)
        assert rated - steps == pytest.approx(metered, rel=1e-12)
        assert getattr(ledger.shortfall, name) == pytest.approx(rated - metered)
        healthy = getattr(ledger.healthy, name)
        assert getattr(ledger.lost, name) == pytest.approx(healthy - metered)
    point = said.points[ledger.point - 1]
    assert point.speed_rpm.value == ledger.speed_rpm
    assert point.flow_inlet is not None
    assert point.flow_inlet.value_m3_s == pytest.approx(ledger.metered.value_m3_s, rel=0.03)


def test_the_rated_flow_here_is_less_by_the_density_of_the_open_air(said: RunResult) -> None:
    """The sheet has a row without vacuum, so the densities are those of open air."""
    ledger = diagnosis(said).ledger
    assert ledger is not None
    rated, site = ledger.rated_from, said.site
    assert site.station_pressure_pa is not None
    assert site.temperature_k is not None
    thinner = site.station_pressure_pa / 101_325 * 293.15 / site.temperature_k
    assert rated.standard_flow_there_m3_s == pytest.approx(rated.flow_m3_s)
    assert rated.standard_flow_here_m3_s / rated.flow_m3_s == pytest.approx(thinner, rel=0.006)


def test_the_healthy_band_holds_the_points_of_a_blower_in_good_order(said: RunResult) -> None:
    """The machine of this log runs slow, and at its speed moves what it should."""
    band = diagnosis(said).healthy_band
    assert [each.point for each in band] == [point.point for point in said.stated]
    for each, point in zip(band, said.stated, strict=True):
        low, high = each.standard_flow_low_m3_s, each.standard_flow_high_m3_s
        flow = point.standard_flow
        assert low < each.standard_flow_m3_s < high
        assert low - flow.u95 < flow.value < high + flow.u95


def test_a_vetoed_verdict_says_nothing_of_the_machine(run: Run, found: Diagnosis) -> None:
    vetoed = replace(found, verdict=replace(found.verdict, vetoed_by=("tubes_reversed",)))
    said = diagnosis(result_of(run, vetoed))
    assert said.label == "vetoed"
    assert said.vetoed_by == ("tubes_reversed",)
    assert (said.ledger, said.spoil, said.wear_alone, said.probability) == (None,) * 4
    assert (said.causes, said.candidates, said.healthy_band) == ((), (), ())


def another(run: Run) -> Run:
    """The same measurement, as if it had been made a second time."""
    log = replace(run.log, received=run.log.received[1:])
    return replace(run, log=log)


def test_an_earlier_run_with_the_meter_at_its_place_is_a_baseline(
    run: Run, found: Diagnosis
) -> None:
    """Its holds count behind those that are judged."""
    earlier = another(run)
    check_baseline(run, earlier)
    alone = found.evidence
    both = gather(run, alone.facts, earlier)
    assert isinstance(both, Evidence)
    number = len(alone.sweep)
    assert both.judged.tolist() == [True] * number + [False] * number
    assert number > 0


def test_a_run_is_not_its_own_baseline(run: Run) -> None:
    with pytest.raises(ReportError, match="one and the same run, which cannot be its own"):
        check_baseline(run, run)


def test_a_run_with_the_meter_elsewhere_is_no_baseline(run: Run) -> None:
    sentence = "its meter stood in the clean pipe, that of .* at the hose's end"
    with pytest.raises(ReportError, match=sentence):
        check_baseline(run, sample_run("cut"))


def test_a_cut_is_no_baseline_of_another_one() -> None:
    cut = sample_run("cut")
    with pytest.raises(ReportError, match="what it holds is a cut"):
        check_baseline(cut, another(cut))


def test_another_blower_is_no_baseline(run: Run) -> None:
    blower = run.rig.machine.blower
    assert blower.displacement is not None
    larger = blower.model_copy(update={"displacement": 1.05 * blower.displacement})
    machine = run.rig.machine.model_copy(update={"blower": larger})
    other = replace(another(run), rig=run.rig.model_copy(update={"machine": machine}))
    with pytest.raises(ReportError, match="another blower"):
        check_baseline(run, other)


def test_a_run_without_a_diagnosis_says_why(run: Run) -> None:
    said = result_of(run, "The rig says nothing of the blower.")
    assert said.diagnosis == NoDiagnosis(why_none="The rig says nothing of the blower.")


def test_the_json_fits_the_schema_and_comes_back_the_same(said: RunResult) -> None:
    schema = json.loads((files("pullcurve.report") / "result.schema.json").read_text("utf-8"))
    text = to_json(said)
    jsonschema.Draft202012Validator(schema).validate(json.loads(text))
    assert from_json(RunResult, text) == said
    assert json.loads(text)["diagnosis"]["baseline"] == "spring.runlog"

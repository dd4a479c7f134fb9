"""The files of a report: what they are called, what they hold, and what they leave alone."""

import csv
import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from host.report.results import result, withheld
from pullcurve.errors import ResultError
from pullcurve.quantities import SI, US
from pullcurve.report.files import ReportError, points_csv, write_report
from pullcurve.report.result import RunResult
from pullcurve.results import from_json, json_schema, to_json

LOG = b"2025-09-16T10:10:03.000000-04:00 host runlog 1 0.1.0 bench\n"


def test_a_folder_takes_the_name_of_the_log_and_older_reports_are_replaced(tmp_path: Path) -> None:
    first = write_report(result(), US, tmp_path)
    assert [path.name for path in first] == [
        "grit-unit-3-port.report.html",
        "grit-unit-3-port.curve.png",
        "grit-unit-3-port.points.csv",
        "grit-unit-3-port.result.json",
    ]
    before = first[3].read_bytes()
    assert write_report(result(((1150, 2600),)), US, tmp_path) == first
    assert first[3].read_bytes() != before
    assert sorted(tmp_path.iterdir()) == sorted(first)


@pytest.mark.parametrize("suffix", ["report.html", "curve.png", "points.csv", "result.json"])
def test_a_log_is_never_overwritten_whatever_its_name(tmp_path: Path, suffix: str) -> None:
    log = tmp_path / f"run.2.{suffix}"
    log.write_bytes(LOG)
    with pytest.raises(ReportError, match="left alone"):
        write_report(result(), US, tmp_path / "run.2")
    assert log.read_bytes() == LOG
    assert list(tmp_path.iterdir()) == [log]


def test_places_that_cannot_be_written_are_named(tmp_path: Path) -> None:
    with pytest.raises(ReportError, match="no such folder"):
        write_report(result(), US, tmp_path / "missing" / "run")
    (tmp_path / "run.report.html").mkdir()
    with pytest.raises(ReportError, match=r"run\.report\.html: cannot be written"):
        write_report(result(), US, tmp_path / "run")


def test_the_csv_gives_the_points_back_to_the_last_bit(tmp_path: Path) -> None:
    run = result()
    paths = write_report(run, US, tmp_path / "run")
    raw = paths[2].read_bytes()
    assert b"\r" not in raw
    rows = list(csv.DictReader(raw.decode("utf-8").splitlines()))
    assert len(rows) == len(run.points)
    for row, point in zip(rows, run.points, strict=True):
        assert point.flow_tap is not None
        assert float(row["standard_flow_m3_s"]) == point.standard_flow.value
        assert float(row["standard_flow_u95_m3_s"]) == point.standard_flow.u95
        assert float(row["flow_tap_m3_s"]) == point.flow_tap.value_m3_s
        assert float(row["pulsation_error"]) == point.pulsation_error.value
        assert float(row["pulsation_error_u95"]) == point.pulsation_error.u95
        assert row["vacuum_tank_pa"] == ""
        assert row["standard_flow_reference"] == run.reference_conditions
    assert points_csv(result(())).splitlines() == [raw.decode("utf-8").splitlines()[0]]


def test_a_withheld_point_has_a_reason_and_no_flow_in_csv_and_json(tmp_path: Path) -> None:
    run = withheld(result(), {2: "sensor_clipped"})
    first, second, *_ = csv.DictReader(points_csv(run).splitlines())
    flows = [name for name in second if "flow" in name and name != "standard_flow_reference"]
    assert {second[name] for name in flows} == {""}
    assert (first["withheld"], second["withheld"]) == (
        "",
        "the sensor stood at the end of its range",
    )
    said = json.loads(to_json(run))["points"][1]
    assert {name for name, value in said.items() if value is None} >= {
        *("mass_flow_kg_s", "flow_tap", "flow_port", "flow_inlet", "standard_flow_m3_s")
    }
    with pytest.raises(ResultError, match="says why they are withheld"):
        from_json(
            RunResult, to_json(run).replace('"withheld": "sensor_clipped"', '"withheld": null')
        )


def test_the_json_fits_the_schema_and_comes_back_the_same(tmp_path: Path) -> None:
    schema = json.loads((files("pullcurve.report") / "result.schema.json").read_text("utf-8"))
    assert schema == json_schema(RunResult)
    for run in (result(), result(()), withheld(result(), {2: "sensor_clipped"})):
        path = write_report(run, SI, tmp_path / "run")[3]
        jsonschema.Draft202012Validator(schema).validate(json.loads(path.read_bytes()))
        assert from_json(RunResult, path.read_bytes()) == run
    damaged = json.loads(path.read_bytes()) | {"points": [{"point": 0}]}
    assert not jsonschema.Draft202012Validator(schema).is_valid(damaged)

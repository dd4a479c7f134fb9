"""`pullcurve cut` from log to page: what it writes, and what it refuses."""

import json
import re
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

from pullcurve.cli import main
from pullcurve.cut.result import CutResult, cut_result
from pullcurve.cut.shift import read_cut
from pullcurve.quantities import US
from pullcurve.report.cut_figure import cut_figure
from pullcurve.report.cut_sentences import strip_caption
from pullcurve.results import json_schema

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_logs/cut.runlog"


def call(*words: object) -> Result:
    return CliRunner().invoke(main, ["cut", *map(str, words)])


def test_a_cut_becomes_page_and_json_and_a_summary(tmp_path: Path) -> None:
    result = call(SAMPLE, "--out", tmp_path / "here", "--units", "si")
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in tmp_path.iterdir()) == ["here.cut.html", "here.cut.json"]
    said = json.loads((tmp_path / "here.cut.json").read_text(encoding="utf-8"))
    schema = json.loads((files("pullcurve.cut") / "cut.schema.json").read_text("utf-8"))
    assert schema == json_schema(CutResult)
    jsonschema.Draft202012Validator(schema).validate(said)
    assert said["schema_version"] == 2
    clogs = [event for event in said["events"] if event["kind"] == "clog"]
    assert len(clogs) == 3
    for event in clogs:
        assert event["start_s"] < event["spoken_s"] < event["end_s"]
        assert not event["seen_afterwards"]
    assert said["minutes"]
    page = (tmp_path / "here.cut.html").read_text(encoding="utf-8")
    assert "http" not in page.replace("http://www.w3.org", "")
    for text in (page, result.output):
        assert "3 clogs" in text
        assert "Never reach into a nozzle" in re.sub(r"\s+", " ", text)
        assert "m³/h" in text


def test_the_caption_counts_the_alarms_and_names_the_line_that_is_drawn() -> None:
    result = cut_result(read_cut(SAMPLE))
    for axes in cut_figure(result, US).axes:
        dotted = [line.get_xdata()[0] for line in axes.lines if line.get_linestyle() == ":"]
        assert dotted == pytest.approx([event.spoken_s / 60 for event in result.events])
    assert "Dotted: when the live watch would have spoken." in strip_caption(result)
    alone = replace(result, events=result.events[:1])
    assert strip_caption(alone).startswith("1 alarm, ")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((SAMPLE, "--rig", ROOT / "hardware/rigs/port.toml"), "spoil must never go through"),
        ((ROOT / "sample_logs/rough_link.runlog",), "clean pipe only"),
        (("absent.runlog",), "no such file"),
        ((SAMPLE, "--filter-limit", "10"), "unit"),
        ((SAMPLE, "--filter-limit", "-10 kPa"), "between 0.1 kPa and 50 kPa"),
        ((SAMPLE, "--out", "absent/here"), "no such folder"),
    ],
)
def test_what_cannot_be_watched_is_refused_with_a_sentence(
    words: tuple[object, ...], sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = call(*words)
    assert result.exit_code != 0
    assert isinstance(result.exception, SystemExit), result.exception
    assert sentence in re.sub(r"[│\s]+", " ", result.output)
    assert not list(tmp_path.iterdir())


def test_a_page_never_replaces_another_file(tmp_path: Path) -> None:
    (tmp_path / "x.cut.json").write_bytes(SAMPLE.read_bytes()[:100])
    result = call(SAMPLE, "--out", tmp_path / "x")
    assert result.exit_code != 0
    assert "left alone" in result.output
    assert (tmp_path / "x.cut.json").read_bytes() == SAMPLE.read_bytes()[:100]

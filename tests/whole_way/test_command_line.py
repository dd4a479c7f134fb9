"""Every command on good and bad input: a sentence, an exit code, nothing lost or overwritten."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pullcurve.cli import main
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.reading import read_log
from pullcurve.run_log.writing import LogWriter

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_logs/rough_link.runlog"
RIG = ROOT / "hardware/rigs/port.toml"

Call = Callable[..., Result]


@pytest.fixture
def call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Call:
    monkeypatch.chdir(tmp_path)

    def run(*words: object) -> Result:
        return CliRunner().invoke(main, [str(word) for word in words])

    return run


def refused(result: Result, sentence: str) -> None:
    assert result.exit_code != 0
    assert isinstance(result.exception, SystemExit), result.exception
    assert re.search(sentence, result.output), result.output
    assert "Traceback" not in result.output


def test_report_writes_four_files_and_prints_what_they_say(call: Call, tmp_path: Path) -> None:
    result = call("report", SAMPLE, "--out", "here")
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "here.curve.png",
        "here.points.csv",
        "here.report.html",
        "here.result.json",
    ]
    said = json.loads((tmp_path / "here.result.json").read_text(encoding="utf-8"))
    top = max(said["points"], key=lambda point: point["speed_rpm"]["value"])
    cubic_feet = top["standard_flow_m3_s"]["value"] * 60 / 0.3048**3
    assert f"{cubic_feet:.0f} ±" in result.output
    assert "ft³/min" in result.output
    assert "cfm" not in result.output


def test_an_earlier_run_is_taken_as_the_baseline_and_sharpens(call: Call, tmp_path: Path) -> None:
    spring = tmp_path / "spring.runlog"
    lines = SAMPLE.read_bytes().splitlines(keepends=True)
    spring.write_bytes(b"".join(lines[:-5]))  # as if it had been stopped a little earlier
    widths = []
    for baseline in ((), ("--baseline", spring)):
        result = call("report", SAMPLE, *baseline, "--out", "here")
        assert result.exit_code == 0, result.output
        said = json.loads((tmp_path / "here.result.json").read_text(encoding="utf-8"))["diagnosis"]
        assert said["baseline"] == (spring.name if baseline else "")
        widths.append(said["ledger"]["lost"]["high_m3_s"] - said["ledger"]["lost"]["low_m3_s"])
    assert widths[1] < 0.5 * widths[0]
    refused(
        call("report", SAMPLE, "--baseline", "missing.runlog"), "missing.runlog: .*no such file"
    )
    refused(call("report", SAMPLE, "--baseline", SAMPLE), "hold one and the same run")
    cut = SAMPLE.with_name("cut.runlog")
    refused(call("report", SAMPLE, "--baseline", cut), "its meter stood in the clean pipe")


def test_units_are_one_switch(call: Call) -> None:
    us, si = (call("report", SAMPLE, "--out", "x", "--units", name).output for name in ("us", "si"))
    assert "inH2O" in us
    assert "inH2O" not in si
    assert "m³/h" in si
    assert "m³/h" not in us


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (None, "no such file"),
        (b"", "is empty"),
        (b"\x00\x01" * 400, "no run log"),
        (b"point,speed\n1,2\n", "no run log"),
    ],
)
def test_what_is_no_log_is_refused(
    call: Call, tmp_path: Path, content: bytes | None, sentence: str
) -> None:
    if content is not None:
        (tmp_path / "x.runlog").write_bytes(content)
    for command in ("report", "replay"):
        refused(call(command, "x.runlog"), sentence)
    refused(call("note", "x.runlog", "plate", "on", "--at", "10 s"), sentence)
    assert not list(tmp_path.glob("x.report*"))


def engine_off(line: str) -> bool:
    """Only the first seconds of the run, in which nothing turns."""
    return line < "2025-09-16T11:30:15"


@pytest.mark.parametrize(
    ("keep", "sentence"),
    [
        (lambda line: " board " not in line, "no record of a board"),
        (lambda line: not re.search(r" board (board|plan|sensor) ", line), "no whole header"),
        (lambda line: " board dp " not in line, "no block of readings"),
        (lambda line: " host rig " not in line, "no rig is written in it.*--rig"),
        (engine_off, "no settled point"),
    ],
)
def test_a_log_that_says_too_little_is_refused(
    call: Call, tmp_path: Path, keep: Callable[[str], bool], sentence: str
) -> None:
    whole = SAMPLE.read_text(encoding="ascii").splitlines(keepends=True)
    kept = "".join(line for line in whole if keep(line))
    (tmp_path / "x.runlog").write_text(kept, encoding="ascii")
    refused(call("report", "x.runlog"), sentence)
    assert not list(tmp_path.glob("x.report*"))


def test_a_log_whose_rig_is_damaged_can_be_reported_with_its_file(
    call: Call, tmp_path: Path
) -> None:
    damaged = re.sub(rb"( host rig .*)mm", rb"\1cm", SAMPLE.read_bytes())
    assert damaged != SAMPLE.read_bytes()
    (tmp_path / "x.runlog").write_bytes(damaged)
    refused(call("report", "x.runlog"), "rig that is written in it is damaged.*--rig")
    assert call("report", "x.runlog", "--rig", RIG).exit_code == 0


def test_a_rig_that_contradicts_the_header_is_refused(call: Call, tmp_path: Path) -> None:
    text = load_rig(RIG).text
    for old, new, sentence in (
        ("[pickups.blower_shaft]", "[pickups.engine_shaft]", r"x.toml line \d+: pickups.* watches"),
        ('part = "HSC"', 'part = "ABP2"', r"x.toml line \d+: sensors.meter_dp.part: .*HSC"),
        (
            "[sensors.ambient_air]",
            '[sensors.meter_air]\npart = "BMP280"\n[sensors.ambient_air]',
            r"no sensor as meter_air; take \[sensors.meter_air\] out of the rig",
        ),
    ):
        assert old in text
        changed = text.replace(old, new)
        (tmp_path / "x.toml").write_text(changed, encoding="utf-8")
        refused(call("report", SAMPLE, "--rig", "x.toml"), sentence)


def test_a_rig_with_a_fault_is_refused_before_anything_is_recorded(
    call: Call, tmp_path: Path
) -> None:
    (tmp_path / "x.toml").write_text('[meter]\npipe_boar = "4 in"\n', encoding="utf-8")
    result = call("bench", "rough_link", "x.runlog", "--rig", "x.toml")
    refused(result, r"x.toml line 2: meter.pipe_boar: .*did you mean pipe_bore")
    assert not (tmp_path / "x.runlog").exists()


def test_an_existing_log_is_never_overwritten(call: Call, tmp_path: Path) -> None:
    (tmp_path / "x.runlog").write_text("mine", encoding="ascii")
    refused(call("record", "x.runlog", "--port", "COM99"), "never overwritten|no such port|port")
    refused(call("bench", "rough_link", "x.runlog"), "never overwritten")
    assert (tmp_path / "x.runlog").read_text(encoding="ascii") == "mine"


@pytest.mark.parametrize("text", ["0", "-5", "10 kg", "10:30", "sweep 1", "min", "1e3", ""])
def test_a_recording_ends_after_a_time_that_can_pass(call: Call, text: str) -> None:
    refused(
        call("record", "x.runlog", "--for", text),
        "is not understood as a length of time; write it as '90 s'",
    )


def test_a_missing_port_and_scenario_are_named(call: Call, tmp_path: Path) -> None:
    refused(
        call("record", "x.runlog", "--port", "/dev/absent"), "/dev/absent: there is no such port"
    )
    refused(call("bench", "absent", "x.runlog"), "absent: there is no such file.*cut, .*rough_link")
    assert not list(tmp_path.iterdir())


def test_a_note_is_added_and_placed(call: Call, tmp_path: Path) -> None:
    (tmp_path / "x.runlog").write_bytes(SAMPLE.read_bytes())
    words = ("vacuum", "2.5", "inHg", "at", "blower", "inlet")
    result = call("note", "x.runlog", *words, "--at", "sweep 1, hold 2")
    assert result.exit_code == 0, result.output
    refused(call("note", "x.runlog", *words, "--at", "yesterday"), "sweep 2, hold 3")
    refused(call("note", "x.runlog", "vacuum", "9", "inHg", "--at", "5 s"), "place of its gauge")
    refused(call("note", "x.runlog", *words, "--at", "sweep 1, hold 2" * 20), "does not say when")
    refused(call("note", "x.runlog", *words, "--at", "sweep 1"), "belongs to one hold")
    refused(call("note", "x.runlog", "", "--at", "5 s"), "no words")
    refused(
        call("note", "x.runlog", *words, "--at", "99999 s"), "outside the run, which lasts 190 s"
    )
    assert call("report", "x.runlog").exit_code == 0
    said = json.loads((tmp_path / "x.result.json").read_text(encoding="utf-8"))
    (note,) = said["notes"]
    second = said["points"][1]
    assert second["start_s"] < note["time_s"] < second["end_s"]
    assert (note["what"], note["value"], note["place"]) == ("vacuum", "2.5 inHg", "blower inlet")


def test_a_clock_that_was_set_back_refuses_no_note_within_the_run(
    call: Call, tmp_path: Path
) -> None:
    """By an hour, 70 s into a run of 190 s."""
    log, sample = tmp_path / "x.runlog", read_log(SAMPLE)
    first = sample.received[0].host_time
    with LogWriter(log, now=first) as writer:
        writer.rig(first, str(sample.rig_text()))
        for received in sample.received:
            at = received.host_time
            is_later = at - first > timedelta(seconds=70)
            writer.board_bytes(at - is_later * timedelta(hours=1), received.data)
    words = ("engine", "2190", "rpm")
    for at in ("100 s", f"{first + timedelta(seconds=185):%H:%M:%S}"):
        result = call("note", log, *words, "--at", at)
        assert result.exit_code == 0, result.output
    refused(call("note", log, *words, "--at", "400 s"), "outside the run, which lasts 1[89]. s")
    result = call("report", log)
    assert result.exit_code == 0, (result.output, result.exception)
    said = json.loads((tmp_path / "x.result.json").read_text(encoding="utf-8"))
    assert [round(note["time_s"], -1) for note in said["notes"]] == [100, 180]


def test_the_readmes_example_notes_are_what_the_sample_would_have_shown(
    call: Call, tmp_path: Path
) -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    example = re.search(r"`pullcurve note today.runlog (.+?) --at \"(.+?)\"`", text)
    engine = re.search(r"`(engine \d+ rpm)`", text)
    assert example
    assert engine
    log = tmp_path / "today.runlog"
    log.write_bytes((ROOT / "sample_logs/healthy_sweep.runlog").read_bytes())
    for said, at in (example.groups(), (engine[1], "sweep 1, hold 4")):
        assert call("note", log, *said.split(), "--at", at).exit_code == 0
    result = call("report", log)
    assert result.exit_code == 0, result.output
    assert "Nothing is wrong with this machine that the run could show" in result.output


def test_a_log_that_was_cut_off_is_not_reported_as_whole(call: Call, tmp_path: Path) -> None:
    log = tmp_path / "cut_off.runlog"
    whole = (ROOT / "sample_logs/healthy_sweep.runlog").read_bytes()
    log.write_bytes(whole[: whole.index(b"\n", 200_000) + 9])
    said = " ".join(call("report", log).output.split())
    assert "The log ends within a line: it was cut off there" in said
    assert "a higher speed than the fastest hold here may have followed" in said
    assert "1 without a time or an origin (log line)." in said
    assert "ends within a line" not in call("report", SAMPLE).output


def test_two_processes_make_the_same_report_of_a_log(tmp_path: Path) -> None:
    """Nothing may hang on the order of a set, which is another one in each process."""
    command = [sys.executable, "-m", "pullcurve.cli", "report", str(SAMPLE), "--out"]
    for seed in ("1", "2"):
        subprocess.run(
            [*command, seed],
            env={**os.environ, "PYTHONHASHSEED": seed},
            stdout=subprocess.DEVNULL,
            cwd=tmp_path,
            check=True,
        )
    for suffix in ("report.html", "curve.png", "points.csv", "result.json"):
        one, other = (tmp_path / f"{seed}.{suffix}" for seed in ("1", "2"))
        assert one.read_bytes() == other.read_bytes(), suffix


def test_a_reader_who_goes_away_costs_no_file_of_the_report(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "pullcurve.cli", "report", str(SAMPLE), "--out", "x"]
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, cwd=tmp_path, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")
    assert len(list(tmp_path.iterdir())) == 4


def test_a_report_never_replaces_a_log(call: Call, tmp_path: Path) -> None:
    (tmp_path / "x.points.csv").write_bytes(SAMPLE.read_bytes())
    refused(call("report", SAMPLE, "--out", "x"), "left alone")
    assert (tmp_path / "x.points.csv").read_bytes() == SAMPLE.read_bytes()


def test_help_loads_none_of_the_heavy_libraries() -> None:
    program = (
        "import sys\n"
        "from pullcurve.cli import main\n"
        "main(['--help'], standalone_mode=False)\n"
        "heavy = {'numpy', 'pandas', 'scipy', 'matplotlib', 'pydantic', 'serial', 'jinja2'}\n"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr

"""`pullcurve rig new` and `pullcurve rig check`, as a person at a terminal meets them."""

import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self

import pytest
from click.testing import CliRunner, Result

from pseudo_terminal import PseudoTerminal
from pullcurve.cli import main
from pullcurve.rig.loading import load_rig

ROOT = Path(__file__).parents[2]
RIGS = sorted((ROOT / "hardware/rigs").glob("*.toml"))

# Kind, position, bores, then Enter alone where that is enough; marks; site.
ANSWERS = [
    "grit unit 3",
    "venturi",
    "port",
    "5.693 in",
    "3.870 in",
    *[""] * 6,
    "blower",
    "2",
    "1.25",
    *[""] * 17,
    "620 m",
    "94.1 kPa",
    "12 C",
    "",
]

Call = Callable[..., Result]


@pytest.fixture
def call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Call:
    monkeypatch.chdir(tmp_path)

    def run(*words: object, said: str | bytes = "") -> Result:
        return CliRunner().invoke(main, [str(word) for word in words], input=said)

    return run


def refused(result: Result, sentence: str) -> None:
    assert result.exit_code == 1
    assert isinstance(result.exception, SystemExit), result.exception
    assert re.search(sentence, result.output), result.output
    assert "Traceback" not in result.output


def test_piped_answers_write_a_rig_that_the_check_explains(call: Call, tmp_path: Path) -> None:
    result = call("rig", "new", "x.toml", said="\n".join(ANSWERS) + "\n")
    assert result.exit_code == 0, result.output
    assert "\n> 5.693 in\n" in result.output
    assert load_rig(tmp_path / "x.toml").meter.throat_bore == pytest.approx(0.098298)
    result = call("rig", "check", "x.toml")
    assert result.exit_code == 0, result.output
    assert "Its discharge coefficient is 0.97, give or take 4 %" in result.output


@pytest.mark.parametrize("count", range(len(ANSWERS)))
def test_answers_that_end_too_early_write_nothing(call: Call, tmp_path: Path, count: int) -> None:
    said = "".join(f"{line}\n" for line in ANSWERS[:count])
    refused(call("rig", "new", "x.toml", said=said), "nothing is written; still missing: ")
    assert not list(tmp_path.iterdir())


def test_bytes_that_are_no_text_are_no_answer(call: Call, tmp_path: Path) -> None:
    said = b"\xff\xfe\x00\n" + "\n".join(ANSWERS).encode() + b"\n"
    assert call("rig", "new", "x.toml", said=said).exit_code == 0
    assert load_rig(tmp_path / "x.toml").name == "grit unit 3"


def test_nothing_is_overwritten_and_no_question_asked_in_vain(call: Call, tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_text("mine", encoding="utf-8")
    for name, sentence in (("x.toml", "never overwritten"), ("no/x.toml", "no folder")):
        result = call("rig", "new", name, said="\n".join(ANSWERS) + "\n")
        refused(result, sentence)
        assert "Inside diameter" not in result.output
    assert (tmp_path / "x.toml").read_text(encoding="utf-8") == "mine"


def test_a_closed_input_is_told_what_is_missing(tmp_path: Path) -> None:
    done = subprocess.run(
        ["sh", "-c", f'"{sys.executable}" -m pullcurve.cli rig new x.toml <&-'],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "still missing: meter, site, pickups" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


class Terminal(PseudoTerminal):
    """Where a command asks, and is answered line by line."""

    def __init__(self, folder: Path, *words: str) -> None:
        pytest.importorskip("pty")
        super().__init__(folder, *words)

    def __enter__(self) -> Self:
        self.read_to_prompt()
        return self

    def read_to_prompt(self) -> None:
        """Reads until the command asks, or ends."""
        until_s = time.monotonic() + 60
        begun = len(self.shown)
        while not self.shown[begun:].endswith("\n> ") and time.monotonic() < until_s:
            if not self._read():
                return

    def interrupt(self) -> int:
        """Ctrl-C until the command ends: one that comes just before Python waits for a line is
        seen only after that line."""
        for _ in range(60):
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(timeout=1)
                break
            except subprocess.TimeoutExpired:
                continue
        self.read_to_prompt()
        return self.process.wait(timeout=1)

    def answer(self, *lines: str) -> None:
        for line in lines:
            self.type(f"{line}\n".encode())
            self.read_to_prompt()


def test_at_a_terminal_a_bad_answer_is_asked_again(tmp_path: Path) -> None:
    with Terminal(tmp_path, "rig", "new", "x.toml") as terminal:
        terminal.answer(*ANSWERS[:3])
        assert "lock it out" in terminal.shown
        terminal.answer("5,693 in")
        assert "Not taken: '5,693 in' cannot be read as a length" in terminal.shown
        terminal.answer(*ANSWERS[3:])
        assert terminal.process.wait(timeout=60) == 0, terminal.shown
    assert load_rig(tmp_path / "x.toml").meter.pipe_bore == pytest.approx(0.1446022)


@pytest.mark.parametrize("answered", [0, 4, len(ANSWERS) - 1])
def test_ctrl_c_writes_nothing(tmp_path: Path, answered: int) -> None:
    with Terminal(tmp_path, "rig", "new", "x.toml") as terminal:
        terminal.answer(*ANSWERS[:answered])
        assert terminal.interrupt() == 1
    assert terminal.shown.endswith("Error: ended; nothing is written\n"), terminal.shown
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("path", RIGS, ids=lambda path: path.stem)
def test_the_example_rigs_are_explained_in_both_unit_systems(call: Call, path: Path) -> None:
    us, si = (call("rig", "check", path, "--units", name) for name in ("us", "si"))
    assert us.exit_code == si.exit_code == 0, us.output
    meter = load_rig(path).meter
    assert "beta, is 0.680" in us.output
    assert f"pipe {meter.pipe_bore / 0.0254:.3f} in" in us.output
    assert f"pipe {1000 * meter.pipe_bore:.1f} mm" in si.output
    assert "Look at this once more" not in us.output
    assert "Cannot be" not in us.output
    assert "inH2O" in us.output
    assert "inH2O" not in si.output
    assert max(map(len, us.output.splitlines())) <= 100
    table = us.output[us.output.index("as the rig stands") : us.output.index("all facts") + 120]
    stands, *better, together = map(
        float, re.findall(r"% +[\d.]+ % +([\d.]+) %$", table, re.MULTILINE)
    )
    assert together <= min([stands, *better])
    is_calibrated = meter.discharge_coefficient_uncertainty == 0.01
    assert (len(better) > 0) != is_calibrated  # of that tube nothing is worth a line but its range


def test_what_cannot_be_ends_with_1_and_says_the_rest_as_well(call: Call, tmp_path: Path) -> None:
    text = load_rig(ROOT / "hardware/rigs/port.toml").text
    text = text.replace('"620 m"', '"1200 m"').replace('"94.1 kPa"', '"30.1 inHg"')
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")
    result = call("rig", "check", "x.toml")
    refused(result, r"(?s)Cannot be\n  x.toml line \d+: site.station_pressure: 101.9 kPa at 1200 m")
    assert "as the rig stands" in result.output
    assert result.output.endswith("Error: x.toml: mend what cannot be, named above\n")


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            'throat_bore = "3.870 in"',
            'throat_bore = "6 in"',
            "throat .* must be smaller than the pipe",
        ),
        ("marks_per_turn = 2", "marks_per_turn = 0", "no plausible number of marks"),
        ('pipe_bore = "5.693 in"', "pipe_bore = 5.693", "cannot be read as a length"),
        ("[site]", "[side]", "did you mean site"),
    ],
)
def test_a_rig_that_does_not_load_is_refused(
    call: Call, tmp_path: Path, old: str, new: str, sentence: str
) -> None:
    text = load_rig(ROOT / "hardware/rigs/port.toml").text
    assert old in text
    (tmp_path / "x.toml").write_text(text.replace(old, new), encoding="utf-8")
    refused(call("rig", "check", "x.toml"), rf"x.toml line \d+: .*{sentence}")
    refused(call("rig", "check", "absent.toml"), "there is no such file")


def test_no_control_code_of_a_rig_reaches_the_terminal(call: Call, tmp_path: Path) -> None:
    text = load_rig(ROOT / "hardware/rigs/port.toml").text
    coloured = text.replace('name = "grit', r'name = "\u001b[31mgrit', 1)
    (tmp_path / "x.toml").write_text(coloured, encoding="utf-8")
    result = call("rig", "check", "x.toml")
    assert result.output.startswith("?[31mgrit unit 3")

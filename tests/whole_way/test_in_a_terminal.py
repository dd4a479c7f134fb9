"""`pullcurve` in a real terminal, where Ctrl-C reaches the whole group, and lines are typed."""

import os
import re
import time
from pathlib import Path

import pytest

from on_micropython import needs_unix
from pseudo_terminal import CTRL_C, CTRL_D, PseudoTerminal
from pullcurve.run_log.notes import joined
from pullcurve.run_log.reading import read_log
from record_format import encode

if os.name != "posix":
    pytest.skip("needs a pseudo-terminal, which Windows has not", allow_module_level=True)

import tty

ROOT = Path(__file__).parents[2]
RIG = ROOT / "hardware/rigs/port.toml"
SAMPLE = ROOT / "sample_logs/rough_link.runlog"


def test_what_is_typed_behind_ctrl_d_is_noted_too(tmp_path: Path) -> None:
    board, port = os.openpty()
    tty.setraw(port)
    command = ("record", "q.runlog", "--port", os.ttyname(port), "--for", "1 min")
    with PseudoTerminal(tmp_path, *command) as terminal:
        terminal.until("Ctrl-C ends it")
        os.write(board, b"".join(encode("slow", 1, n, (0, n, 0, (n,))) for n in range(9)))
        terminal.until("no rig is named")
        terminal.type(b"damp grit\n")
        terminal.until("noted: words damp grit")
        terminal.type(CTRL_D)
        time.sleep(0.5)
        terminal.type(b"engine 2190 rpm\n")
        terminal.until("noted: engine speed 2190 rpm")
        terminal.type(CTRL_C)
        code = terminal.code()
    os.close(board)
    os.close(port)
    assert code == 0, terminal.shown
    notes = joined(read_log(tmp_path / "q.runlog").host_records)
    assert [note.value for note in notes] == ["damp grit", "2190 rpm"]


@needs_unix
def test_ctrl_c_ends_the_watch_of_a_bench_in_good_order(tmp_path: Path) -> None:
    command = ("watch", "bench:healthy_sweep@4", "--log", "q.runlog", "--port", "0", "--rig", RIG)
    with PseudoTerminal(tmp_path, *command) as terminal:
        terminal.until(r"\d s +\d+ records")
        terminal.type(CTRL_C)
        code = terminal.code()
    assert code == 0, terminal.shown
    assert "wrote q.runlog" in terminal.shown
    assert "Traceback" not in terminal.shown


@pytest.mark.parametrize("after_s", [0.05, 0.3, 1.0])
def test_ctrl_c_at_the_start_is_an_end_like_any_other(tmp_path: Path, after_s: float) -> None:
    command = ("watch", f"replay:{SAMPLE}", "--log", "q.runlog", "--port", "0", "--rig", RIG)
    with PseudoTerminal(tmp_path, *command) as terminal:
        terminal.until("Ctrl-C ends it")
        time.sleep(after_s)  # the process beside it reads its modules
        terminal.type(CTRL_C)
        terminal.code()
    assert re.search(r"wrote q.runlog: \d+ records|no record of a board came", terminal.shown)
    assert "Traceback" not in terminal.shown


@pytest.mark.parametrize("apart_s", [0.1, 0.25])
def test_a_second_ctrl_c_hides_nothing(tmp_path: Path, apart_s: float) -> None:
    command = ("watch", f"replay:{SAMPLE}@4", "--log", "q.runlog", "--port", "0", "--rig", RIG)
    with PseudoTerminal(tmp_path, *command) as terminal:
        terminal.until(r"\d s +[1-9]\d* records")
        terminal.type(CTRL_C)
        time.sleep(apart_s)
        terminal.type(CTRL_C)
        terminal.code()
    assert re.search(r"wrote q.runlog: \d+ records", terminal.shown)
    assert "Traceback" not in terminal.shown

"""`pullcurve` in a real terminal, where Ctrl-C reaches the whole group, and lines are typed."""

import os
import re
import time
from pathlib import Path

import pytest

from on_micropython import needs_unix
from pseudo_terminal import CTRL_C, PseudoTerminal

ROOT = Path(__file__).parents[2]
RIG = ROOT / "hardware/rigs/port.toml"
SAMPLE = ROOT / "sample_logs/rough_link.runlog"

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")


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

"""`pullcurve watch` as a program: its links, its end, and a sentence for what cannot be."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import AnyStr

import pytest
from click.testing import CliRunner

from on_micropython import needs_unix
from pullcurve.cli import main
from pullcurve.live import serving
from pullcurve.run_log.reading import read_log
from pullcurve.stream.decoder import Decoder, Record

LINK = r"the page: http://(\S+?):(\d+)/\?token=(\S+)"
ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_logs/rough_link.runlog"
RIG = ROOT / "hardware/rigs/port.toml"


def read_until(said: Iterable[AnyStr], words: AnyStr) -> AnyStr:
    """What is said until these words come, a pattern; they must before it ends."""
    shown = words[:0]
    for line in said:
        shown += line
        if re.search(words, shown):
            return shown
    raise AssertionError(shown)


@pytest.mark.skipif(os.name != "posix", reason="sends SIGINT as Ctrl-C does")
def test_it_serves_until_ctrl_c_and_leaves_a_whole_log(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "pullcurve.cli", "watch", f"replay:{SAMPLE}@100"]
    process = subprocess.Popen(
        [*command, "--log", "x.runlog", "--port", "0", "--share"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        start_new_session=True,
    )
    assert process.stdout is not None
    try:
        shown = read_until(process.stdout, LINK)
        found = re.search(LINK, shown)
        assert found
        assert "▀" in shown  # of the code
        link = f"http://{found[1]}:{found[2]}/?token={found[3]}"
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with opener.open(link, timeout=10) as answer:
            assert b"pullcurve" in answer.read()
        read_until(opener.open(link.partition("?")[0] + "events", timeout=10), b"has ended")
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does, to the whole group
        began_s = time.monotonic()
        out, err = process.communicate(timeout=20)
        assert time.monotonic() - began_s < 10
    finally:
        process.kill()
    assert process.returncode == 0, err
    assert re.search(r"wrote x.runlog: \d{4} records", out)
    assert "Traceback" not in err
    # The address with its token is told once, and nowhere else.
    assert found[3] not in out + err
    assert content(tmp_path / "x.runlog") == content(SAMPLE)


@pytest.mark.parametrize("addresses", [[], ["192.168.4.7"]])
def test_a_code_leads_to_this_laptop_or_there_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, addresses: list[str]
) -> None:

    def run(server: serving.PageServer) -> None:
        time.sleep(1)
        server._listener.close()

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(serving, "own_addresses", lambda: addresses)
    monkeypatch.setattr(serving.PageServer, "run", run)
    result = CliRunner().invoke(main, ["watch", f"replay:{SAMPLE}@100", "--port", "0", "--share"])
    assert ("▀" in result.output) == bool(addresses)
    assert f"the page: http://{addresses[0] if addresses else '127.0.0.1'}:" in result.output
    told = "on no network" in result.output and "hotspot" in result.output
    assert told == (not addresses)


def running() -> dict[int, int]:
    """The processes that run, each with the one that it belongs to, by the system's own list."""
    found = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):  # one that has ended meanwhile
            state, parent = stat.read_text().rpartition(")")[2].split()[:2]
            if state != "Z":
                found[int(stat.parent.name)] = int(parent)
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="reads Linux's processes")
@needs_unix
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_however_it_is_ended_nothing_of_it_runs_on(tmp_path: Path, number: signal.Signals) -> None:
    command = [sys.executable, "-m", "pullcurve.cli", "watch", "bench:rough_link@10", "--rig", RIG]
    shown, log = tmp_path / "shown.txt", tmp_path / "x.runlog"
    with shown.open("w") as told:
        process = subprocess.Popen([*command, "--log", log, "--port", "0"], stdout=told)
    beside: set[int] = set()
    end_s = time.monotonic() + 60
    try:
        while len(beside) < 3:  # the board, multiprocessing's own, and the one that reduces
            assert time.monotonic() < end_s
            time.sleep(0.2)
            beside = {each for each, parent in running().items() if parent == process.pid}
        time.sleep(3)  # it has read its modules and set to work
        process.send_signal(number)
        process.wait(30)
        end_s = time.monotonic() + 10
        while beside & running().keys():
            assert time.monotonic() < end_s
            time.sleep(0.1)
    finally:
        process.kill()
        for each in beside & running().keys():
            os.kill(each, signal.SIGKILL)
    if number != signal.SIGKILL:
        assert process.returncode == 0
        assert re.search(r"wrote \S*x.runlog: \d+ records", shown.read_text(encoding="utf-8"))
        last = read_log(log).host_records[-1]
        assert (last.record.kind, last.named()["state"]) == ("link", "closed")


@pytest.mark.skipif(os.name != "posix", reason="sends SIGINT as Ctrl-C does")
def test_a_board_that_is_not_there_is_waited_for_and_named(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "pullcurve.cli", "watch", "/dev/ttyNONE", "--port", "0"]
    process = subprocess.Popen(
        command,
        cwd=tmp_path,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )
    assert process.stderr is not None
    try:
        shown = read_until(process.stderr, "tried again")
        process.send_signal(signal.SIGINT)
        shown += process.communicate(timeout=30)[1]
    finally:
        process.kill()
    assert process.returncode == 1
    assert "waiting for /dev/ttyNONE, to record it into" in shown
    assert shown.count("tried again") == 1  # and no more, once it has ended
    assert "no rig is named" in shown
    assert "Traceback" not in shown
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(os.name != "posix", reason="sends SIGINT as Ctrl-C does")
def test_a_full_disk_is_told_with_what_the_log_holds(tmp_path: Path) -> None:
    """A limit to the size of a file stands in for a disk that is full."""
    limited = f"ulimit -f 100; exec '{sys.executable}' -m pullcurve.cli watch"
    process = subprocess.Popen(
        ["bash", "-c", f"{limited} 'replay:{SAMPLE}@1000' --log x.runlog --port 0"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )
    assert process.stderr is not None
    try:
        read_until(process.stderr, "NOT RECORDED")
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    finally:
        process.kill()
    assert process.returncode == 1
    assert "writing stopped" in err
    assert (tmp_path / "x.runlog").stat().st_size <= 100 * 1024
    sound = [e for e in Decoder().feed(content(tmp_path / "x.runlog")) if isinstance(e, Record)]
    assert f"wrote x.runlog: {len(sound)} records" in out
    assert len(sound) > 100


def content(log: Path) -> bytes:
    return b"".join(received.data for received in read_log(log).received)


def test_a_source_that_gives_no_record_is_no_success(tmp_path: Path) -> None:
    """It is what `record` says then."""
    lines = SAMPLE.read_text(encoding="ascii").splitlines(keepends=True)
    runlog = tmp_path / "silent.runlog"
    runlog.write_text("".join(each for each in lines if " host " in each), encoding="ascii")
    command = [sys.executable, "-m", "pullcurve.cli", "watch", f"replay:{runlog}", "--port", "0"]
    process = subprocess.Popen(
        command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stderr is not None
    try:
        address = read_until(process.stdout, r"the page: \S+").split()[-1]
        read_until(process.stderr, "Ctrl-C ends it")
        # Signals are taken before the page answers.
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        opener.open(address, timeout=10).close()
        read_until(opener.open(address + "events", timeout=10), b"has ended")
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    finally:
        process.kill()
    assert ": 0 records" in out
    assert process.returncode == 1
    assert "no record of a board came over replay:" in err


def refusal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *words: str) -> str:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, ["watch", *words])
    assert result.exit_code != 0
    assert isinstance(result.exception, SystemExit), result.exception
    assert not list(tmp_path.glob("*.runlog"))
    return result.output


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["replay:none.runlog"], "no such file"),
        (["bench:none"], "none of this name"),
        (["radio:3"], "names no source"),
        (["bench:healthy_sweep", "--rig", "none.toml"], r"none\.toml"),
        (["COM9", "--port", "70000"], "65535"),
        (["foo"], "'foo' names no source"),
        ([f"replay:{SAMPLE}", "--log", "none/x.runlog"], "none/x.runlog: cannot be written: No"),
    ],
)
def test_what_cannot_be_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], sentence: str
) -> None:
    assert re.search(sentence, refusal(tmp_path, monkeypatch, *words))


def test_a_port_that_is_taken_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        said = refusal(tmp_path, monkeypatch, f"replay:{SAMPLE}", "--port", port)
    assert "cannot be had" in said
    assert "--port" in said

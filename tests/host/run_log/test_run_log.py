"""A run log keeps every byte, opens after any accident, and loses one line to one bad byte."""

import os
import subprocess
import sys
import time
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.errors import LogError
from pullcurve.run_log import writing
from pullcurve.run_log.host_records import PIECE, pieces
from pullcurve.run_log.notes import joined, understand
from pullcurve.run_log.reading import read_log, unescape
from pullcurve.run_log.writing import LogWriter, escape
from pullcurve.sources.replay import Replay
from pullcurve.stream.decoder import LONGEST_LINE, Decoder, Record
from record_format import encode, quote

NOON = datetime(2025, 9, 16, 12, 0, 0, 123456, tzinfo=timezone(timedelta(hours=-4)))
LINES = [encode("slow", 3, seq, (1, 1000 * seq, 0, (seq, -seq))) for seq in range(40)]


def write(path: Path, chunks: list[bytes]) -> None:
    with LogWriter(path, source="test", now=NOON) as writer:
        for index, chunk in enumerate(chunks):
            writer.board_bytes(NOON + timedelta(milliseconds=index), chunk)


def records(path: Path) -> list[Record]:
    decoder = Decoder()
    with Replay(read_log(path)) as source:
        events = [event for received in source for event in decoder.feed(received.data)]
    return [event for event in events if isinstance(event, Record)]


@settings(max_examples=150, deadline=None)
@given(st.lists(st.binary(max_size=60), max_size=12))
def test_every_byte_comes_back_whatever_the_board_sends(
    tmp_path_factory: pytest.TempPathFactory, chunks: list[bytes]
) -> None:
    path = tmp_path_factory.mktemp("log") / "run.runlog"
    write(path, chunks)
    kept = b"".join(received.data for received in read_log(path).received)
    assert kept == b"".join(chunks)
    path.read_text(encoding="ascii")


@given(st.binary().filter(lambda line: b"\n" not in line))
def test_a_line_is_escaped_into_printable_ascii_and_back(line: bytes) -> None:
    text = escape(line)
    assert text.isascii()
    assert text.isprintable()
    assert unescape(text.encode()) == line + b"\n"


@pytest.mark.parametrize("noted", [False, True])
def test_a_log_that_ends_within_a_line_says_so_even_with_notes_behind(
    tmp_path: Path, *, noted: bool
) -> None:
    """Cut at every byte of its last three lines, one of them the host's."""
    path, copy = tmp_path / "run.runlog", tmp_path / "copy.runlog"
    write(path, LINES[:5])
    with LogWriter(path, append=True, now=NOON) as writer:
        writer.link(NOON, "lost", "cable")
        writer.board_bytes(NOON, LINES[5])
    whole = path.read_bytes()
    ends = [at + 1 for at in range(len(whole)) if whole[at : at + 1] == b"\n"]
    for end in range(ends[-4], len(whole) + 1):
        copy.write_bytes(whole[:end])
        if noted:
            with LogWriter(copy, append=True, now=NOON) as writer:
                writer.note(NOON, understand("engine 2190 rpm"))
        at_an_end = end in ends or (noted and end + 1 in ends)
        assert read_log(copy).breaks_off != at_an_end, whole[ends[-4] : end]


def test_a_line_without_end_is_kept_in_parts(tmp_path: Path) -> None:
    write(tmp_path / "run.runlog", [b"x" * (3 * LONGEST_LINE + 5)])
    kept = b"".join(received.data for received in read_log(tmp_path / "run.runlog").received)
    assert kept == b"x" * (3 * LONGEST_LINE + 5)


def test_a_line_carries_the_hosts_time_with_its_zone(tmp_path: Path) -> None:
    write(tmp_path / "run.runlog", [LINES[0]])
    line = (tmp_path / "run.runlog").read_text(encoding="ascii").splitlines()[1]
    assert line == "2025-09-16T12:00:00.123456-04:00 board " + LINES[0].decode("ascii").rstrip()
    assert read_log(tmp_path / "run.runlog").received[0].host_time == NOON


def test_every_single_damaged_byte_costs_at_most_its_own_line(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    write(path, LINES[:10])
    whole = path.read_bytes()
    expected = {record.seq for record in records(path)}
    starts = [0] + [i + 1 for i, byte in enumerate(whole) if byte == 10]
    header = starts[1]
    damaged = tmp_path / "damaged.runlog"
    for place in range(header, len(whole)):
        for byte in {whole[place] ^ 1, 0x0A, 0x20, 0xFF, 0x0D} - {whole[place]}:
            damaged.write_bytes(whole[:place] + bytes([byte]) + whole[place + 1 :])
            lost = expected - {record.seq for record in records(damaged)}
            own = sum(start <= place for start in starts) - 2  # lines of the board begin at 1
            assert lost <= {own}, (place, byte)


def test_a_killed_recorder_leaves_all_that_it_received(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    program = (
        "import sys, itertools\n"
        "from datetime import datetime, timezone\n"
        "from pathlib import Path\n"
        "from pullcurve.run_log.writing import LogWriter\n"
        "from record_format import encode\n"
        "writer = LogWriter(Path(sys.argv[1]))\n"
        "for seq in itertools.count():\n"
        "    line = encode('slow', 1, seq, (0, 0, 0, ()))\n"
        "    writer.board_bytes(datetime.now(timezone.utc), line)\n"
        "    print(seq, flush=True)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, str(path)], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        said = [int(process.stdout.readline()) for _ in range(200)]
        process.kill()
        said += [int(line) for line in process.stdout]
    seen = [record.seq for record in records(path)]
    assert seen[: len(said)] == said


def test_a_log_that_ends_within_a_line_opens_and_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    write(path, LINES)
    path.write_bytes(path.read_bytes()[:-20])
    with LogWriter(path, append=True) as writer:
        writer.note(NOON, understand("engine 2190 rpm"), "sweep 1, hold 2")
    log = read_log(path)
    assert {record.seq for record in records(path)} == set(range(39))
    assert joined(log.host_records) == [(NOON, "engine_speed", "2190 rpm", "", "sweep 1, hold 2")]
    assert [item.record.seq for item in log.host_records] == [0, 1]


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=400))
def test_a_text_is_cut_into_pieces_that_fit_and_join_again(text: str) -> None:
    parts = list(pieces(text))
    assert "".join(parts) == text
    for part in parts:
        assert 0 < len(quote(part)) <= PIECE


def test_the_last_whole_rig_of_a_log_counts(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    old, new = 'name = "old"\n' * 9, '# "Rohr" mit ä, ° und 100 %\nname = "new"\n' * 5
    with LogWriter(path, now=NOON) as writer:
        writer.rig(NOON, old)
        writer.rig(NOON, new)
        writer.host_record(NOON, "rig", 0, 2, "half a rig")
    assert read_log(path).rig_text() == new


def test_a_damaged_rig_is_said_to_be_damaged(tmp_path: Path) -> None:
    for rig in ('name = "a rig"\n', 'name = "a rig"\n' * 20):
        path = tmp_path / f"{len(rig)}.runlog"
        with LogWriter(path, now=NOON) as writer:
            writer.rig(NOON, rig)
        whole = path.read_bytes()
        path.write_bytes(whole.replace(b"a+rig", b"a+rag", 1))
        with pytest.raises(LogError, match=r"damaged; name the rig's file with --rig"):
            read_log(path).rig_text()


def test_a_log_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    write(path, LINES)
    before = path.read_bytes()
    with pytest.raises(LogError, match="never overwritten"):
        LogWriter(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "no run log"),
        (b"time,flow\n1,2\n", "no run log"),
    ],
)
def test_what_is_no_log_is_refused_with_a_sentence(
    tmp_path: Path, content: bytes, sentence: str
) -> None:
    path = tmp_path / "file"
    path.write_bytes(content)
    with pytest.raises(LogError, match=sentence) as fault:
        read_log(path)
    assert str(path) in str(fault.value)


def test_missing_files_and_folders_are_named(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        read_log(tmp_path / "absent")
    with pytest.raises(LogError, match="folder"):
        read_log(tmp_path)


def test_a_log_of_a_later_format_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    with LogWriter(path, now=NOON) as writer:
        writer.host_record(NOON, "runlog", 2, "9.0", "")
    with pytest.raises(LogError, match="format 2"):
        read_log(path)


def test_replay_keeps_the_pace_that_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "run.runlog"
    with LogWriter(path, now=NOON) as writer:
        for step in range(4):
            writer.board_bytes(NOON + timedelta(seconds=step), LINES[step])
    began = time.monotonic()
    with Replay(read_log(path), speed=10) as source:
        shown = list(source)
    assert time.monotonic() - began >= 0.3
    with Replay(read_log(path)) as source:
        assert list(source) == shown


def test_the_disk_being_full_is_said(tmp_path: Path) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("only Linux has /dev/full, which plays a full disk here")
    path = tmp_path / "run.runlog"
    writer = LogWriter(path, now=NOON)
    os.dup2(os.open(full, os.O_WRONLY), writer._file.fileno())
    with pytest.raises(LogError, match="writing stopped: No space left"):
        writer.board_bytes(NOON, LINES[0])
    writer.close()


@pytest.mark.parametrize("begin", ["LogWriter", "check_place"])
@pytest.mark.parametrize("room", [0, 5])
def test_a_log_that_cannot_be_begun_leaves_its_name_free(
    tmp_path: Path, begin: str, room: int
) -> None:
    """A limit on the size of files stands in for the end of the disk, and ends with its program."""
    pytest.importorskip("resource")
    path = tmp_path / "run.runlog"
    program = (
        "import resource, sys\n"
        "from pathlib import Path\n"
        f"from pullcurve.run_log.writing import {begin}\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({room}, {room}))\n"
        f"{begin}(Path(sys.argv[1]))\n"
    )
    for _ in range(2):
        command = [sys.executable, "-c", program, str(path)]
        tried = subprocess.run(command, check=False, stderr=subprocess.PIPE, text=True)
        last = tried.stderr.splitlines()[-1]
        assert "run.runlog: cannot be written: File too large" in last
        assert not path.exists()
    path.write_text("of somebody else", encoding="utf-8")
    with pytest.raises(LogError, match="there is a file of this name already"):
        getattr(writing, begin)(path)
    assert path.read_text(encoding="utf-8") == "of somebody else"


def test_what_a_log_begins_with_is_written_once_there_is_room(tmp_path: Path) -> None:
    """A limit on the size of files stands in for the end of the disk. In a program of its own,
    since it counts for all files."""
    pytest.importorskip("resource")
    path, rig = tmp_path / "run.runlog", 'name = "a rig"\n' * 60
    for room in (0, 5, 90, 150, 400, 2000):
        program = (
            "import resource, sys\n"
            "from datetime import datetime, timezone\n"
            "from pathlib import Path\n"
            "from pullcurve.run_log.writing import LogWriter\n"
            "no_end = resource.RLIM_INFINITY\n"
            f"resource.setrlimit(resource.RLIMIT_FSIZE, ({room}, no_end))\n"
            "now = datetime.now(timezone.utc)\n"
            "with LogWriter(Path(sys.argv[1]), patient=True, source='here') as writer:\n"
            "    writer.rig(now, sys.argv[2])\n"
            "    writer.go_on()\n"
            "    writer.board_bytes(now, b'lost for want of room ' * 99 + b'\\n')\n"
            "    assert writer.fault\n"
            "    resource.setrlimit(resource.RLIMIT_FSIZE, (no_end, no_end))\n"
            "    writer.board_bytes(now, b'kept\\n')\n"
            "    assert not writer.fault\n"
        )
        subprocess.run([sys.executable, "-c", program, str(path), rig], check=True)
        log = read_log(path)
        assert log.rig_text() == rig
        assert [item.record.seq for item in log.host_records] == list(range(len(log.host_records)))
        assert [received.data for received in log.received][-1] == b"kept\n"
        assert sum(log.damaged.values()) <= 1  # the line that no longer fitted
        path.unlink()

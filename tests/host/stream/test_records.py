"""The tables of a run, from lines that a board may send and a link may leave."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fed import Fed
from pullcurve.errors import LogError
from pullcurve.stream.received import Received
from pullcurve.stream.records import Assembler, RunRecords
from record_format import BUS_ERROR, FORMAT_VERSION, OK, encode

BEGAN = datetime(2024, 5, 6, 7, 8, 9, tzinfo=UTC)
BLOCK_US = 100_000
PERIOD = 1 << 30
TRIM = tuple(range(1, 13))

Line = tuple[float, bytes]  # when the host received it, and the line


class Board:
    """One start of a board: its lines, each with the second at which it was sent."""

    def __init__(self, boot: int, began_s: float, ticks: int = 0) -> None:
        self._boot = boot
        self._began_s = began_s
        self._first = self.ticks = ticks
        self.seq = 0
        self.lines: list[Line] = []

    def say(self, kind: str, *values: Any) -> int:
        """The number of the record."""
        elapsed_s = (self.ticks - self._first) * 1e-6
        self.lines.append((self._began_s + elapsed_s, encode(kind, self._boot, self.seq, values)))
        self.seq += 1
        return self.seq - 1

    def event(self, code: str, subject: str = "", text: str = "") -> int:
        return self.say("event", self.ticks % PERIOD, code, subject, 0, text)

    def header(
        self,
        trim: tuple[int, ...] = TRIM,
        form: int = FORMAT_VERSION,
        tick_ns: int = 1000,
        tick_bits: int = 30,
    ) -> int:
        """The number of its first line."""
        lines: list[tuple[str, tuple[Any, ...]]] = [
            ("board", (form, "rp2-pico", "e661", "0.1.0", tick_ns, tick_bits)),
            ("plan", (BLOCK_US, 5000, 5000, 500000, 10000000)),
            ("sensor", (0, "meter_dp", "HSC", 0, 0x28, 5000)),
            ("channel", (0, 0, "differential_pressure", "Pa", "linear", -1, 1, 10, 90, 0, 100)),
            ("sensor", (1, "ambient_air", "BMP280", 0, 0x76, 500000)),
            ("channel", (1, 0, "pressure", "Pa", "bosch", 3e4, 1.1e5, 0, 1e6, 0, 9)),
            ("trim", (1, 0, trim)),
            ("pickup", (0, "blower_shaft", 15, 400)),
        ]
        numbers = [self.say(kind, i, len(lines), *v) for i, (kind, v) in enumerate(lines)]
        return numbers[0]

    def block(self, pivot: int = 8192) -> int:
        start = self.ticks % PERIOD
        self.ticks += BLOCK_US
        return self.say("dp", 0, start, BLOCK_US, 20, pivot, *([0] * 7))

    def slow(self, word: int, status: int = OK) -> int:
        return self.say("slow", 1, self.ticks % PERIOD, status, (word,) if status == OK else ())

    def run(self, blocks: int) -> "Board":
        self.event("start")
        self.header()
        for _ in range(blocks):
            self.block()
        return self


def finished(lines: Iterable[Line]) -> RunRecords:
    assembler = Fed(Assembler())
    for host_s, line in lines:
        assembler.add(Received(BEGAN + timedelta(seconds=host_s), line))
    return assembler.finish("the log")


def refused(board: Board) -> str:
    with pytest.raises(LogError) as error:
        finished(board.lines)
    return str(error.value)


def test_a_board_that_only_complains_is_quoted() -> None:
    board = Board(1, 0)
    for text in ("pickups: one or two are needed", "plan: jitter_us is missing"):
        board.event("config", text=text)
        board.ticks += 2_000_000
    assert refused(board) == (
        "the log: the board measures nothing; it says: plan: jitter_us is missing. Mend that on "
        "the board, start it anew and record again"
    )


def test_a_board_that_was_mended_in_the_run_is_read() -> None:
    board = Board(1, 0)
    board.event("config", text="plan: jitter_us is missing")
    mended = Board(2, 60).run(20)
    records = finished(board.lines + mended.lines)
    assert len(records.blocks) == 20
    assert records.events["code"].tolist() == ["config", "start"]


@pytest.mark.parametrize("form", [0, FORMAT_VERSION + 1])
def test_another_format_is_refused_by_its_number(form: int) -> None:
    board = Board(1, 0)
    board.event("start")
    board.header(form=form)
    board.block()
    assert f"format {form}, and this version reads formats 1 to {FORMAT_VERSION};" in refused(board)


@pytest.mark.parametrize("odd", [{"tick_ns": 0}, {"tick_bits": 0}, {"tick_bits": 63}])
def test_a_header_that_cannot_be_is_counted_and_said(odd: dict[str, int]) -> None:
    board = Board(1, 0)
    board.header(**odd)
    board.block()
    assert "the board's header holds values that cannot be" in refused(board)
    board.header()
    assert finished(board.lines).damaged == {"malformed": 1}


def test_a_boot_number_that_comes_again_is_another_start() -> None:
    """The host's clock was set back by an hour in between, and still time only grows."""
    boards = [Board(1, 0).run(300), Board(1, 60 - 3600).run(200), Board(1, 90 - 3600).run(100)]
    records = finished(line for board in boards for line in board.lines)
    blocks = records.blocks
    assert blocks.groupby("boot").size().to_dict() == {1: 300, 2: 200, 3: 100}
    assert [(held.boot, held.seq) for held in records.headers] == [(1, 0), (2, 0), (3, 0)]
    assert (records.lost, records.duplicated, records.late) == (0, 0, 0)
    assert np.diff(blocks["time_s"]).min() > 0.0999
    of_third = blocks.loc[blocks["boot"] == 3, "time_s"].iloc[0]
    of_second = blocks.loc[blocks["boot"] == 2, "time_s"].iloc[0]
    assert of_third - of_second == pytest.approx(30.0)
    assert np.flatnonzero(blocks["after_gap"]).tolist() == [0, 300, 500]


@settings(max_examples=60, deadline=None)
@given(
    jump_s=st.floats(-4000, 4000),
    at=st.integers(0, 400),
    first=st.integers(0, PERIOD - 1),
    lost=st.sets(st.integers(0, 399), max_size=60),
)
def test_neither_wraps_nor_the_hosts_clock_nor_lost_blocks_move_a_block(
    jump_s: float, at: int, first: int, lost: set[int]
) -> None:
    board = Board(1, 0, first)
    board.header()
    numbers = [board.block() for _ in range(400)]
    kept = [i for i in range(400) if i not in lost]
    lines = board.lines[: numbers[0]] + [board.lines[numbers[i]] for i in kept]
    moved = [(host_s + jump_s * (i >= at), line) for i, (host_s, line) in enumerate(lines)]
    blocks = finished(moved).blocks
    since_s = (np.array(kept) - kept[0]) * BLOCK_US * 1e-6
    np.testing.assert_allclose(blocks["time_s"], since_s, atol=1e-6)
    gaps = [True, *(b != a + 1 for a, b in pairwise(kept))]
    assert blocks["after_gap"].tolist() == gaps


@settings(max_examples=30, deadline=None)
@given(
    boot=st.integers(1, 2),
    begin=st.integers(40, 200),
    outage=st.integers(1, 250),
    batch=st.integers(1, 16),
    jump_s=st.sampled_from([0.0, -40.0, 3600.0]),
)
def test_what_comes_again_stands_in_its_place_and_time(
    boot: int, begin: int, outage: int, batch: int, jump_s: float
) -> None:
    """Of a start that began before the host was there, too; then its clock may jump once. The run
    is long enough for the longest outage to come again one record at a time."""
    before = Board(1, 0).run(50)
    board = Board(boot, 20).run(700) if boot > 1 else Board(1, 0).run(700)
    lines = [*before.lines] if boot > 1 else []
    begin = 1 if boot > 1 else begin  # number 0 is never asked for
    lost, live = board.lines[begin : begin + outage], board.lines[begin + outage :]
    lines += board.lines[:begin] if boot == 1 else []
    moved = []
    for place, (host_s, line) in enumerate(live):
        moved.append((host_s, line))
        moved += [(host_s, again) for _, again in lost[place * batch : (place + 1) * batch]]
    jumps_at = len(moved) * 3 // 4
    lines += [(host_s + jump_s * (i > jumps_at), line) for i, (host_s, line) in enumerate(moved)]
    found = finished(lines)
    expected = finished(before.lines * (boot > 1) + board.lines)
    assert found.lost == 0
    assert found.late == len(lost)
    np.testing.assert_allclose(found.blocks["time_s"], expected.blocks["time_s"], atol=0.11)
    columns = ["boot", "seq", "start_ticks", "after_gap"]
    pd.testing.assert_frame_equal(found.blocks[columns], expected.blocks[columns])
    assert [held[:2] for held in found.headers] == [held[:2] for held in expected.headers]
    if not jump_s:
        np.testing.assert_allclose(found.blocks["host_s"], expected.blocks["host_s"], atol=0.11)


def test_a_second_shafts_gaps_are_seen_as_well() -> None:
    board = Board(1, 0)
    board.header()
    numbers = []
    for _ in range(6):
        begin = board.ticks
        for _ in range(5):
            board.block()
        numbers.append(board.say("edges", 1, begin, 5 * BLOCK_US + 3, *([0] * 6), ()))
        board.ticks += 3  # the board names the instants of its own reading
    del board.lines[numbers[3]]
    assert finished(board.lines).edges["after_gap"].tolist() == [True, False, False, True, False]


def exchanged(*, told: bool) -> tuple[Board, dict[str, int]]:
    """The ambient sensor is unplugged and another of its kind plugged in; `told`: whether the
    event of its loss reaches the host. The numbers of some records."""
    board = Board(1, 0).run(20)
    numbers = {"old": board.slow(100)}
    numbers["lost"] = board.event("sensor_lost", "ambient_air")
    if not told:
        board.lines.pop()
    board.slow(0, BUS_ERROR)
    board.block()
    board.header()
    board.slow(0, BUS_ERROR)
    numbers["new"] = board.slow(200)
    board.event("sensor_back", "ambient_air")
    board.block()
    numbers["header"] = board.header(TRIM[::-1])
    board.block()
    board.header(TRIM[::-1])
    numbers["last"] = board.slow(201)
    return board, numbers


def test_each_reading_has_the_header_of_the_part_that_gave_it() -> None:
    board, numbers = exchanged(told=True)
    records = finished(board.lines)
    assert [held.seq for held in records.headers] == [0, numbers["lost"]]
    trims = {name: records.header_at(1, seq).sensors[1].trim for name, seq in numbers.items()}
    assert trims["old"] == TRIM
    assert trims["new"] == trims["last"] == records.header.sensors[1].trim == TRIM[::-1]


def test_a_changed_header_holds_from_its_first_line_when_nothing_tells_more() -> None:
    board, numbers = exchanged(told=False)
    records = finished(board.lines)
    assert [held.seq for held in records.headers] == [0, numbers["header"]]


def test_an_earlier_loss_of_the_same_part_does_not_date_the_exchange() -> None:
    board = Board(1, 0).run(20)
    board.event("sensor_lost", "ambient_air")
    board.event("sensor_back", "ambient_air")
    board.header()
    changed = board.header(TRIM[::-1])
    board.block()
    records = finished(board.lines)
    assert [held.seq for held in records.headers] == [0, changed]


def test_a_start_without_a_header_is_read_with_the_newest() -> None:
    silent = Board(2, 60)
    for _ in range(5):
        silent.block()
    records = finished(Board(1, 0).run(20).lines + silent.lines)
    assert records.header_at(2, 3) is records.header
    assert (records.blocks["boot"] == 2).sum() == 5

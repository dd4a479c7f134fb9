"""The records of one run, in the board's own order, with what was lost on the way."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import count
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.errors import LogError
from pullcurve.stream.clock import unwrap
from pullcurve.stream.decoder import VERSIONS, Record
from pullcurve.stream.header import Header, HeaderAssembler, named
from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import Batch, RecordStream
from record_format import DATA, FORMAT_VERSION

HEADER_LINES_KEPT = 120  # some three headers, when records are let go of
METERS = ("meter_dp", "meter_dp_low")  # roles
JOIN_TICKS = 2  # between the end of a block and the start of the next one

# The field of each kind that says when it holds.
_TICKS = {"dp": "start_ticks", "edges": "start_ticks", "slow": "ticks", "event": "ticks"}
# These have a length too, and those of one source, which this column names, follow one another.
_SOURCES = {"dp": "sensor", "edges": "pickup"}


class Held(NamedTuple):
    """A header, and from where on it holds: until the next one of the same `boot`."""

    boot: int
    seq: int
    header: Header


@dataclass(frozen=True)
class RunRecords:
    """Tables of one run, a row a record, sorted by `boot` and `seq`.

    Each has the columns `boot` (the board's start: 1, 2, ... in order of appearance, whatever
    number the board gave it), `seq`, `late` (whether records with higher numbers came before it),
    `host_s` (when the host received it, since the first bytes; of a late one, when it would have
    come in its turn), `time_s` (board seconds since the first block, for blocks and edges their
    start) and the fields of its kind. `blocks` are those of meter_dp, `low_blocks` those of
    meter_dp_low, `edges` those of every pickup. In these `after_gap` is False where the row of
    the same sensor or pickup before ends where this one starts, and True everywhere else, in the
    first row of each start as well.
    """

    headers: tuple[Held, ...]
    blocks: pd.DataFrame
    low_blocks: pd.DataFrame
    edges: pd.DataFrame
    slows: pd.DataFrame
    events: pd.DataFrame
    host_offset_s: float  # host_s of the first block's start
    damaged: dict[str, int]
    duplicated: int
    late: int
    lost: int
    received: int

    @property
    def header(self) -> Header:
        """The newest header."""
        return self.headers[-1].header

    def header_at(self, boot: int, seq: int) -> Header:
        """The header that holds for a record; for a start that sent none, the newest."""
        return _header_at(self.headers, boot, seq)


class Assembler:
    """Keeps the records of one stream, batch by batch, and makes tables of them."""

    def __init__(self) -> None:
        self._stream = RecordStream()
        self._header_lines: list[tuple[int, Record]] = []
        self._foreign_format: int | None = None
        self._rows: dict[str, list[tuple[Any, ...]]] = {kind: [] for kind in DATA}
        self._began: float | None = None
        self._arrivals = count()

    def take(self, batch: Batch) -> None:
        """Keep the records of a batch."""
        self._stream = batch.stream
        arrived = batch.host_time.timestamp()
        if self._began is None:
            self._began = arrived
        for each in batch.arrivals:
            self._keep(each.record, each.start, arrived - self._began)

    def _keep(self, record: Record, start: int, host_s: float) -> None:
        if record.kind in self._rows:
            row = (start, record.seq, host_s, next(self._arrivals), *record.values)
            self._rows[record.kind].append(row)
            return
        if record.kind == "board" and named(record)["format"] not in VERSIONS:
            self._foreign_format = named(record)["format"]
        self._header_lines.append((start, record))

    def forget(self, keep: Callable[[tuple[int, int]], bool]) -> None:
        """Let go of the records whose `boot` and `seq` are not to be kept."""
        starts = self._stream.sequence.starts()
        for kind, rows in self._rows.items():
            self._rows[kind] = [row for row in rows if keep((starts[row[0]], row[1]))]
        self._header_lines = self._header_lines[-HEADER_LINES_KEPT:]

    def keep_newest(self, count: int) -> None:
        """Let go of all but so many of each kind."""
        for kind, rows in self._rows.items():
            self._rows[kind] = rows[-count:]
        self._header_lines = self._header_lines[-HEADER_LINES_KEPT:]

    def finish(self, name: str) -> RunRecords:
        """The tables. Raises LogError, which names the log, when they say nothing."""
        if not self._stream.sequence.received:
            raise LogError(
                f"{name}: no record of a board is in it; was the right port recorded, and does "
                "the board run the firmware?"
            )
        if self._foreign_format is not None:
            raise LogError(
                f"{name}: its board sends records of format {self._foreign_format}, and this "
                f"version reads formats 1 to {FORMAT_VERSION}; use the version of pullcurve that "
                "belongs to the board's firmware"
            )
        tables = {kind: self._table(kind) for kind in DATA}
        headers, malformed = self._held(tables["event"])
        if not headers:
            raise LogError(f"{name}: {_without_header(tables['event'], malformed)}")
        meter, low = (_of_role(tables["dp"], headers, role) for role in METERS)
        if not meter.any():
            raise LogError(f"{name}: it holds no block of readings; record while the board runs")
        offset_s = self._place_in_time(tables, headers, meter)
        damaged = self._stream.damaged + Counter(malformed=malformed)
        return RunRecords(
            headers=headers,
            blocks=tables["dp"][meter].reset_index(drop=True),
            low_blocks=tables["dp"][low].reset_index(drop=True),
            edges=tables["edges"],
            slows=tables["slow"],
            events=tables["event"],
            host_offset_s=offset_s,
            damaged=dict(damaged),
            duplicated=self._stream.sequence.duplicates,
            late=self._stream.sequence.late,
            lost=self._stream.sequence.missing_count,
            received=self._stream.sequence.received,
        )

    def _table(self, kind: str) -> pd.DataFrame:
        names = ["boot", "seq", "host_s", "arrival", *(name for name, _ in DATA[kind])]
        table = pd.DataFrame.from_records(self._rows[kind], columns=names)
        table["boot"] = table["boot"].map(self._stream.sequence.starts())
        # A record may be kept twice until it shows that no new start of the board began with it.
        table = table.drop_duplicates(["boot", "seq"])
        return table.iloc[np.lexsort((table["seq"], table["boot"]))].reset_index(drop=True)

    def _held(self, events: pd.DataFrame) -> tuple[tuple[Held, ...], int]:
        """The headers that differ from the one before them; how many lines cannot be."""
        starts = self._stream.sequence.starts()
        assembler = HeaderAssembler()
        found: list[Held] = []
        seen = 0
        # Lines that came again stand among later ones, and a copy may be there twice.
        lines = {(starts[start], record.seq): record for start, record in self._header_lines}
        for (boot, _), record in sorted(lines.items(), key=itemgetter(0)):
            header = assembler.add(record._replace(boot=boot))
            if header is None:
                continue
            if not found or found[-1].boot != boot:
                found.append(Held(boot, 0, header))
            elif found[-1].header != header:
                own = events[events["boot"] == boot]
                found.append(Held(boot, _changed_at(found[-1].header, seen, header, own), header))
            seen = header.seq
        return tuple(found), assembler.malformed

    def _place_in_time(
        self,
        tables: dict[str, pd.DataFrame],
        headers: tuple[Held, ...],
        meter: NDArray[np.bool_],
    ) -> float:
        """Adds `time_s` and `after_gap`; returns the host's time of the zero of `time_s`, the
        first of the blocks `meter`."""
        for kind, table in tables.items():
            table["time_s"] = np.nan
            table["late"] = False
            if kind in _SOURCES:
                table["after_gap"] = True
        end_s, set_back_s = -np.inf, 0.0
        for boot in range(1, len(self._stream.sequence.boots) + 1):
            rows = {kind: table.index[table["boot"] == boot] for kind, table in tables.items()}
            if any(len(index) for index in rows.values()):
                header = _header_at(headers, boot, 0)
                end_s, set_back_s = _place_start(tables, rows, header, end_s, set_back_s)
        zero_s = float(tables["dp"]["time_s"][meter].iloc[0])
        for table in tables.values():
            table["time_s"] -= zero_s
            del table["arrival"]
        return zero_s


def _of_role(blocks: pd.DataFrame, headers: tuple[Held, ...], role: str) -> NDArray[np.bool_]:
    """Which blocks are those of the sensor that plays a role."""
    sensor = headers[-1].header.sensor(role)
    return np.asarray(blocks["sensor"] == (-1 if sensor is None else sensor.index))


def assembled(received: Iterable[Received], name: str) -> RunRecords:
    """The tables of what a source yielded. Raises LogError, which names the log."""
    stream, assembler = RecordStream(), Assembler()
    for each in received:
        assembler.take(stream.add(each))
    return assembler.finish(name)


def _without_header(events: pd.DataFrame, malformed: int) -> str:
    said = events.loc[events["code"] == "config", "text"]
    if len(said):
        return (
            f"the board measures nothing; it says: {said.iloc[-1]}. Mend that on the board, "
            "start it anew and record again"
        )
    if malformed:
        return (
            "the board's header holds values that cannot be, so nothing says what its counts "
            "mean; copy the firmware to the board again"
        )
    return (
        "no whole header is in it, so nothing says what its counts mean; record for more "
        "than 10 s, in which the board repeats its header"
    )


def _header_at(headers: tuple[Held, ...], boot: int, seq: int) -> Header:
    of_boot = [held for held in headers if held.boot == boot and held.seq <= seq]
    return (of_boot or headers)[-1].header


def _changed_at(before: Header, seen: int, header: Header, events: pd.DataFrame) -> int:
    """From which record on a header holds that differs from the one before, whose last copy
    began with the record `seen`.

    A part that comes back is read once more before the board says so and sends the header: if
    its loss was told, and no return before `seen`, all its readings since are the new part's.
    """
    roles = [a.role for a, b in zip(before.sensors, header.sensors, strict=False) if a != b]
    own = events[events["subject"].isin(roles) & (events["seq"] < header.seq)]
    lost = own.loc[own["code"] == "sensor_lost", "seq"]
    back = own.loc[own["code"] == "sensor_back", "seq"]
    if lost.empty or back.between(lost.iloc[-1], seen).any():
        return header.seq
    return int(lost.iloc[-1])


def _place_start(
    tables: dict[str, pd.DataFrame],
    rows: dict[str, pd.Index],
    header: Header,
    end_s: float,
    set_back_s: float,
) -> tuple[float, float]:
    """`time_s` and `after_gap` of the rows of one start of the board.

    They lie on the host's clock, which was set back by `set_back_s`, but after `end_s`, the end
    of the start before. Returns both as the next start needs them.
    """

    def joined(column: Callable[[str], str], dtype: type) -> NDArray[Any]:
        return np.concatenate(
            [tables[kind].loc[index, column(kind)].to_numpy(dtype) for kind, index in rows.items()]
        )

    ticks = joined(lambda kind: _TICKS[kind], np.int64)
    host_s = joined(lambda _: "host_s", np.float64)
    seq = joined(lambda _: "seq", np.int64)
    length = np.concatenate(
        [
            tables[kind].loc[index, "length_ticks"].to_numpy(np.int64)
            if kind == "edges"
            else np.zeros(len(index), dtype=np.int64)
            for kind, index in rows.items()
        ]
    )
    ticks = (ticks + length) % (1 << header.tick_bits)  # edges are sent when their stretch ends
    order = np.argsort(seq, kind="stable")
    arrival = joined(lambda _: "arrival", np.int64)[order]
    in_time = np.empty(len(seq), dtype=np.bool_)
    in_time[order] = arrival == np.minimum.accumulate(arrival[::-1])[::-1]
    own = order[in_time[order]]  # in time, by number
    host_s = np.where(in_time, host_s, np.interp(seq, seq[own], host_s[own]))
    board_s = np.empty(len(seq))
    board_s[order] = unwrap(
        ticks[order],
        seq[order],
        host_s[order],
        header.tick_ns,
        header.tick_bits,
        header.block_us,
    )
    on_the_way_s = np.interp(board_s, board_s[own], (host_s - board_s)[own])
    host_s = np.where(in_time, host_s, board_s + on_the_way_s)
    board_s += np.median((host_s - board_s)[own]) + set_back_s
    overlap_s = max(end_s - float(board_s.min()), 0.0)
    board_s += overlap_s
    end_s = float(board_s.max())
    begin = 0
    for kind, index in rows.items():
        here = slice(begin, begin + len(index))
        own_s = board_s[here] - length[here] * header.tick_ns * 1e-9
        tables[kind].loc[index, "time_s"] = own_s
        tables[kind].loc[index, "host_s"] = host_s[here]
        tables[kind].loc[index, "late"] = ~in_time[here]
        begin += len(index)
        if kind in _SOURCES and len(index):
            of = tables[kind].loc[index, _SOURCES[kind]]
            for source in of.unique():
                row = index[of == source]
                tables[kind].loc[row, "after_gap"] = _after_gap(tables[kind].loc[row], header)
            end_s = max(end_s, float(own_s.max()) + header.block_us * 1e-6)
    return end_s, set_back_s + overlap_s


def _after_gap(rows: pd.DataFrame, header: Header) -> NDArray[np.bool_]:
    period = 1 << header.tick_bits
    start, length = (rows[name].to_numpy(np.int64) for name in ("start_ticks", "length_ticks"))
    off = (np.diff(start) - length[:-1] + period // 2) % period - period // 2
    return np.concatenate(([True], np.abs(off) > JOIN_TICKS))


def rows_of(table: pd.DataFrame) -> Iterator[Any]:
    """The rows of a table, each with its columns as attributes."""
    yield from table.itertuples()

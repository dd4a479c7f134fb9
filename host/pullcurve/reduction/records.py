"""The records of one run, in the board's own order, with what was lost on the way."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.errors import LogError
from pullcurve.sources import Received
from pullcurve.wire.board_clock import unwrap
from pullcurve.wire.decoder import Decoder, Record
from pullcurve.wire.header import Header, HeaderAssembler
from pullcurve.wire.sequence import SequenceCheck
from record_format import DATA

# The field of each kind that says when it holds.
_TICKS = {"block": "start_ticks", "shaft": "start_ticks", "slow": "ticks", "event": "ticks"}


@dataclass(frozen=True)
class RunRecords:
    """Tables of one run, a row a record, sorted by `boot` (in order of appearance) and `seq`.

    Each has the columns `boot`, `seq`, `host_s` (when the host received it, since the first
    bytes), `time_s` (board seconds since the first block, for blocks and shafts their start)
    and the fields of its kind.
    """

    headers: dict[int, Header]
    blocks: pd.DataFrame
    shafts: pd.DataFrame
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
        return list(self.headers.values())[-1]


class Assembler:
    """Takes what a source yields, chunk by chunk, and keeps the records."""

    def __init__(self) -> None:
        self._decoder = Decoder()
        self._sequence = SequenceCheck()
        self._assembler = HeaderAssembler()
        self._headers: dict[int, Header] = {}
        self._damaged: Counter[str] = Counter()
        self._rows: dict[str, list[tuple[object, ...]]] = {kind: [] for kind in DATA}
        self._began: float | None = None
        self._received = 0

    def add(self, received: Received) -> list[Record]:
        """Keep the records that these bytes complete; returns the new ones."""
        arrived = received.host_time.timestamp()
        if self._began is None:
            self._began = arrived
        host_s = arrived - self._began
        new = []
        for event in self._decoder.feed(received.data):
            if not isinstance(event, Record):
                self._damaged[event.reason] += 1
            elif self._sequence.accept(event):
                new.append(event)
                self._keep(event, host_s)
        return new

    def _keep(self, record: Record, host_s: float) -> None:
        self._received += 1
        if record.kind in self._rows:
            self._rows[record.kind].append((record.boot, record.seq, host_s, *record.values))
            return
        header = self._assembler.add(record)
        if header is not None:
            self._headers[header.boot] = header

    @property
    def header(self) -> Header | None:
        """The newest header, if one has come whole."""
        return list(self._headers.values())[-1] if self._headers else None

    def finish(self, name: str) -> RunRecords:
        """The tables. Raises LogError, which names the log, when they say nothing."""
        if not self._received:
            raise LogError(
                f"{name}: no record of a board is in it; was the right port recorded, and does "
                "the board run the firmware?"
            )
        if not self._headers:
            raise LogError(
                f"{name}: no whole header is in it, so nothing says what its counts mean; "
                "record for more than 10 s, in which the board repeats its header"
            )
        tables = {kind: self._table(kind) for kind in DATA}
        if tables["block"].empty:
            raise LogError(f"{name}: it holds no block of readings; record while the board runs")
        offset_s = self._place_in_time(tables)
        return RunRecords(
            headers=self._headers,
            blocks=tables["block"],
            shafts=tables["shaft"],
            slows=tables["slow"],
            events=tables["event"],
            host_offset_s=offset_s,
            damaged=dict(self._damaged),
            duplicated=self._sequence.duplicates,
            late=self._sequence.late,
            lost=self._sequence.missing_count,
            received=self._received,
        )

    def _table(self, kind: str) -> pd.DataFrame:
        names = ["boot", "seq", "host_s", *(name for name, _ in DATA[kind])]
        table = pd.DataFrame.from_records(self._rows[kind], columns=names)
        order = {boot: place for place, boot in enumerate(self._sequence.boots)}
        place = table["boot"].map(order)
        return table.iloc[np.lexsort((table["seq"], place))].reset_index(drop=True)

    def _place_in_time(self, tables: dict[str, pd.DataFrame]) -> float:
        """Adds `time_s` to each table; returns the host's time of its zero."""
        newest = list(self._headers.values())[-1]
        for table in tables.values():
            table["time_s"] = np.nan
        offsets: dict[int, float] = {}
        for boot in self._sequence.boots:
            header = self._headers.get(boot, newest)
            rows = [(kind, table.index[table["boot"] == boot]) for kind, table in tables.items()]
            ticks = _joined(tables, rows, lambda kind: _TICKS[kind], np.int64)
            host_s = _joined(tables, rows, lambda _: "host_s", np.float64)
            seq = _joined(tables, rows, lambda _: "seq", np.int64)
            if not len(seq):
                continue
            order = np.argsort(seq, kind="stable")
            board_s = np.empty(len(seq))
            board_s[order] = unwrap(ticks[order], host_s[order], header.tick_ns, header.tick_bits)
            offsets[boot] = float(np.median(host_s - board_s))
            begin = 0
            for kind, index in rows:
                tables[kind].loc[index, "time_s"] = (
                    board_s[begin : begin + len(index)] + offsets[boot]
                )
                begin += len(index)
        zero_s = float(tables["block"]["time_s"].iloc[0])
        for table in tables.values():
            table["time_s"] -= zero_s
        return zero_s


def rows_of(table: pd.DataFrame) -> Iterator[Any]:
    """The rows of a table, each with its columns as attributes."""
    yield from table.itertuples()


def _joined(
    tables: dict[str, pd.DataFrame],
    rows: list[tuple[str, pd.Index]],
    column: Callable[[str], str],
    dtype: type,
) -> NDArray[Any]:
    return np.concatenate(
        [tables[kind].loc[index, column(kind)].to_numpy(dtype) for kind, index in rows]
    )

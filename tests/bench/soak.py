"""Eight hours of cut as fast as the computer allows: python tests/bench/soak.py

A board's records for half an hour of cut come again and again, as one run whose numbers and
ticks go on; they are recorded into a log while the status line and the cut watch look on. Prints
memory by the hour, and what a count of the log says; then the log is watched from the file, and
reduced every ten minutes while it grows, as by the live page.
"""

import argparse
import resource
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from cut_case import draw_case
from cut_records import PERIOD_TICKS, records
from fed import Fed
from pullcurve.cli.status_line import Status
from pullcurve.cut.shift import read_cut, shift_of
from pullcurve.cut.watch import Watch
from pullcurve.live.reducing import NewestHour
from pullcurve.recording import record
from pullcurve.rig.loading import parse_rig
from pullcurve.run_log.writing import LogWriter
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.received import Received
from record_format import encode

PIECE_S = 1800.0
TICKS = {"dp": 1, "edges": 1, "slow": 1, "event": 0}  # their place among the values
PAGE_BYTES = resource.getpagesize()


Piece = list[tuple[float, list[Record]]]  # the records of each block, and when it ends


def make_piece() -> tuple[datetime, str, Piece]:
    """Start, rig and records of one piece."""
    case = draw_case(1, 4, PIECE_S)
    decoder = Decoder()
    piece: Piece = []
    for end_s, lines in records(case.plant, case.tools, np.random.default_rng(1)):
        found = decoder.feed(b"".join(lines))
        piece.append((end_s, [each for each in found if isinstance(each, Record)]))
    return case.plant.scenario.start, case.rig, piece


class LongShift:
    """A source: the piece's records, again and again."""

    name = "soak"

    def __init__(self, start: datetime, piece: Piece, hours: float) -> None:
        self._start = start
        self._rounds = round(3600 * hours / PIECE_S)
        self._piece = piece
        self.records = self._rounds * sum(len(found) for _, found in self._piece)
        self.memory_mb: list[float] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        seq = 0
        for turn in range(self._rounds):
            later_s = turn * PIECE_S
            ticks = round(later_s * 1e6)
            for end_s, found in self._piece:
                lines = []
                for each in found:
                    lines.append(encode(each.kind, 1, seq, _later(each, ticks)))
                    seq += 1
                at = self._start + timedelta(seconds=later_s + end_s + 0.005)
                yield Received(at, b"".join(lines))
            self.memory_mb.append(memory_mb())


def _later(each: Record, ticks: int) -> tuple[Any, ...]:
    values = list(each.values)
    if (place := TICKS.get(each.kind)) is not None:
        values[place] = (values[place] + ticks) % PERIOD_TICKS
    return tuple(values)


def memory_mb() -> float:
    """Resident now, not the peak."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * PAGE_BYTES / 1e6


def count_log(path: Path) -> tuple[int, int]:
    """Board records in the log, and gaps in their numbers."""
    count, gaps, before = 0, 0, -1
    with path.open("rb") as file:
        for line in file:
            parts = line.split(b" ", 5)
            if parts[1] == b"board":
                seq = int(parts[4])
                gaps += seq != before + 1
                count, before = count + 1, seq
    return count, gaps


def follow(log: Path, rig_text: str, hours: float) -> tuple[list[float], list[float], int]:
    """Reduce the log as it grows: seconds of CPU each time, memory, and troubles claimed."""
    growing = log.with_name("growing.runlog")
    newest = NewestHour(growing, parse_rig(rig_text, "a rig"))
    seconds, memory, troubles = [], [], 0
    piece_bytes = round(log.stat().st_size / hours / 6)
    with log.open("rb") as whole, growing.open("ab") as file:
        while piece := whole.read(piece_bytes):
            file.write(piece)
            file.flush()
            began_s = time.process_time()
            troubles += len(newest.reduce().troubles)
            seconds.append(time.process_time() - began_s)
            memory.append(memory_mb())
    return seconds, memory, troubles


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    options = parser.parse_args()
    # In a process of its own: what the simulation leaves behind would hide a growing memory.
    with ProcessPoolExecutor(1) as pool:
        start, rig_text, piece = pool.submit(make_piece).result()
    rig = parse_rig(rig_text, "a rig")
    source = LongShift(start, piece, options.hours)
    watch, status = Fed(Watch(rig)), Fed(Status(rig))
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "soak.runlog"
        began_s = time.process_time()
        with LogWriter(log, source="soak", now=start) as writer:
            writer.rig(start, rig_text)
            faults = record(source, writer, (status.add, watch.add))
        seconds = time.process_time() - began_s
        count, gaps = count_log(log)
        print(
            f"{options.hours:g} h of cut recorded and watched in {seconds:.0f} s of CPU, "
            f"{3600 * options.hours / seconds:.0f} times as fast as it was"
        )
        by_hour = source.memory_mb[1::2]
        print("memory by the hour, MB:", " ".join(f"{each:.1f}" for each in by_hour))
        print(f"from the first hour to the last: {by_hour[-1] - by_hour[0]:+.1f} MB")
        print(
            f"log: {log.stat().st_size / 1e6:.0f} MB, {count} of {source.records} records, "
            f"{gaps} gaps; faults of watchers: {len(faults)}"
        )
        shift = shift_of(watch)
        print(
            f"the watch: {shift.running_s / 3600:.2f} h running, {shift.clogs} clogs, "
            f"{len(watch.events)} alarms, {len(watch.history.rows)} rows of history"
        )
        del watch, status, source
        began_s = time.process_time()
        cut = read_cut(log)
        seconds = time.process_time() - began_s
        print(
            f"read from the log again and reduced: {len(cut.events)} alarms, "
            f"{len(cut.run.points)} quiet minutes, in {seconds:.0f} s of CPU, "
            f"{3600 * options.hours / seconds:.0f} times as fast as it was"
        )
        del cut
        with ProcessPoolExecutor(1, get_context("spawn")) as pool:
            took_s, memory, troubles = pool.submit(follow, log, rig_text, options.hours).result()
        print("reduced while it grew, s of CPU by the hour:", *(f"{s:.1f}" for s in took_s[5::6]))
        print("memory by the hour, MB:", *(f"{each:.0f}" for each in memory[5::6]))
        print(f"troubles claimed: {troubles}")


if __name__ == "__main__":
    main()

"""What a run says now, while it is received: the newest minute, reduced like a whole run.

The work for each block, and what is kept, do not grow with the length of the run.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Any, Literal

import numpy as np
import pandas as pd

from pullcurve.checks.catalogue import Finding, Kind, found
from pullcurve.errors import LogError, RigError
from pullcurve.examine import Run, reduce_run
from pullcurve.live.window import Keeping
from pullcurve.measure import flow
from pullcurve.measure.air_state import Surroundings, surroundings
from pullcurve.measure.measurement import measured_points, pressure_at
from pullcurve.measure.settled_points import LEAVE_S, STEP_S, Stretch
from pullcurve.measure.zeros import RUN_DOWN_S
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS
from pullcurve.run_log.reading import Log
from pullcurve.stream import transfer
from pullcurve.stream.edges import edge_ticks
from pullcurve.stream.header import Header, named
from pullcurve.stream.received import Received
from pullcurve.stream.records import JOIN_TICKS, Assembler

KEPT_S = 60.0  # of the run's newest part
SHOWN = 10  # blocks that a reading is a mean of
LEAST_FRESH = 5  # blocks of them with a reading
MEASURED_S = 2.0  # over which the flow's uncertainty is taken
CLIPPED_SHARE = 0.5  # of the blocks of MEASURED_S: chance piles up in fewer

State = Literal["engine off", "changing", "settled", "no flow"]


@dataclass(frozen=True)
class Reading:
    """Means over the newest second. None: not known, or not to be stated."""

    host_time: datetime
    speed_rpm: float | None
    differential_pressure_pa: float | None  # the zero, where one is known, taken off
    standard_flow_m3_s: float | None


@dataclass(frozen=True)
class Now:
    """What the newest minute says. `state` "no flow": nothing says what the flow is; `fault`
    says why."""

    state: State
    for_s: float  # how long the engine has been off, or speed and flow settled
    fault: str = ""
    speed_rpm: float = 0.0
    standard_flow_u95_m3_s: float | None = None
    zero_pa: float | None = None
    zero_s: float = 0.0  # length of the newest stretch that gave a zero
    ambient_pressure_pa: float | None = None
    ambient_temperature_k: float | None = None
    vacuum_blower_pa: float | None = None
    findings: tuple[Finding, ...] = ()
    received: int = 0  # records, since the beginning
    lost: int = 0
    memory_s: int | None = None  # that the board keeps, where it is less than it should
    time_s: float = 0.0  # of the newest block, by the board


@dataclass(frozen=True)
class _Basis:
    """What turns a differential pressure into flow until the next look at the minute."""

    zero_pa: float
    pressure: flow.Pressure
    around: Surroundings
    floor_pa: float  # below it no air moves


class Latest:
    """Watches what a source yields. `add` and `reading` are quick; `look` takes longer, and may
    be called in a thread of its own."""

    def __init__(self, rig: Rig | None) -> None:
        self._rig = rig
        self._lock = Lock()
        self._assembler = Assembler()
        self._keeping = Keeping(KEPT_S)
        self._blocks: deque[dict[str, Any]] = deque(maxlen=SHOWN)
        self._edges: deque[dict[str, Any]] = deque(maxlen=SHOWN)  # of the first pickup
        self._place = (-1, -1)  # of the newest block: the board's start, its number
        self._memory_s: int | None = None
        self._header: Header | None = None
        self._basis: _Basis | None = None
        self._first: Received | None = None
        self._newest: datetime | None = None
        self._time_s = 0.0  # of the block that was the newest at the last look
        self._timed: tuple[int, int] | None = None  # its boot and number

    def add(self, received: Received) -> bool:
        """Whether these bytes completed a block."""
        self._first = self._first or received
        with self._lock:
            records = self._assembler.add(received)
        fresh = False
        for start, record in records:
            if record.kind == "event":
                self._note_memory(named(record))
            if record.kind not in ("dp", "edges"):
                continue
            if start == self._place[0] and record.seq < self._place[1]:
                continue  # asked for again: it belongs to the minute, and not to the second
            self._place = (start, record.seq)
            fields = named(record)
            if record.kind == "edges":
                if fields["pickup"] == 0:
                    self._edges.append(fields)
                continue
            if self._header is not None and fields["sensor"] != _meter_index(self._header):
                continue
            self._blocks.append(fields)
            self._newest = received.host_time
            fresh = True
        return fresh

    def _note_memory(self, event: dict[str, Any]) -> None:
        if event["code"] == "start":
            self._memory_s = None
        elif event["code"] == "short_memory":
            self._memory_s = event["value"]

    def reading(self) -> Reading | None:
        """The newest second in numbers; None before the first block and the first header."""
        if self._newest is None or self._header is None:
            return None
        blocks, basis = list(self._blocks), self._basis
        speed = self._speed(list(self._edges), self._header)
        index = _meter_index(self._header)
        blocks = [block for block in blocks if block["sensor"] == index]
        pressure = self._pressure(blocks, self._header)
        if pressure is None or basis is None or self._rig is None:
            return Reading(self._newest, speed, pressure, None)
        zeroed = pressure - (basis.zero_pa if np.isfinite(basis.zero_pa) else 0.0)
        if not speed and abs(zeroed) < basis.floor_pa:
            return Reading(self._newest, speed, zeroed, 0.0)
        at = replace(basis.pressure, mean=np.array([zeroed]))
        try:
            value = float(flow.standard_flow(at, basis.around, self._rig)[0])
        except ValueError:
            value = np.nan
        known = np.isfinite(value) and zeroed > 0
        return Reading(self._newest, speed, zeroed, value if known else None)

    def _speed(self, records: list[dict[str, Any]], header: Header) -> float | None:
        """Of the blower, from the last edge of the first record to that of the last one."""
        records = _newest_second(_joined(records, header), header)
        turned = [record for record in records if record["edges"]]
        facts = None
        if self._rig is not None:
            facts = getattr(self._rig.pickups, header.pickups[0].role)
        if facts is None:
            return None
        if len(turned) < len(records) / 2 or len(turned) < 2:
            return 0.0
        edges = sum(record["edges"] for record in turned[1:])
        _, last = edge_ticks(
            [record["first"] for record in turned],
            [record["steps"] for record in turned],
            header.tick_bits,
        )
        begins = turned[-1]["start_ticks"] - turned[0]["start_ticks"]
        ticks = int(begins + last[-1] - last[0]) % (1 << header.tick_bits)
        ratio = 1.0
        if header.pickups[0].role == "engine_shaft" and self._rig is not None:
            ratio = self._rig.machine.belt_ratio or np.nan
        rpm = 60 * edges / facts.marks_per_turn / (ticks * header.tick_ns * 1e-9) * ratio
        return rpm if np.isfinite(rpm) else None

    @staticmethod
    def _pressure(blocks: list[dict[str, Any]], header: Header) -> float | None:
        sensor = header.sensor("meter_dp")
        count = sum(block["n"] for block in blocks)
        if sensor is None or not count:
            return None
        mean = sum(block["pivot"] * block["n"] + block["sum"] for block in blocks) / count
        return float(transfer.linear(mean, sensor.channels[0]))

    def look(self) -> Now:
        """Reduce the newest minute."""
        if self._first is None:
            return Now("no flow", 0.0, "Nothing has come from a board yet.")
        records = None
        try:
            with self._lock:
                records = self._assembler.finish("the board's stream")
            self._follow_time(records.blocks)
            self._header = records.header
            if self._rig is None:
                return Now(
                    "no flow",
                    0.0,
                    "No rig is named, so nothing says what the meter's bores are: start the "
                    "watch with --rig and the rig's file.",
                )
            log = Log(Path("live.runlog"), [self._first])
            run = reduce_run(log, records, self._rig)
            self._keeping.note_zeros(run.zeros.table, records)
            return replace(
                self._now(run),
                time_s=self._time_s,
                received=records.received,
                lost=records.lost,
                memory_s=self._memory_s,
            )
        except (LogError, RigError) as fault:
            self._basis = None
            return Now("no flow", 0.0, str(fault), time_s=self._time_s)
        finally:
            with self._lock:
                self._keeping.forget(self._assembler, records)

    def _follow_time(self, blocks: pd.DataFrame) -> None:
        """`time_s` of the newest block since the run's first one, which has been let go of."""
        times = blocks.set_index(["boot", "seq"])["time_s"]
        # Not to be found is a block that has turned out to be no new start's.
        before_s = 0.0 if self._timed is None else times.get(self._timed, times.iloc[-1])
        self._time_s += max(float(times.iloc[-1] - before_s), 0.0)
        self._timed = (int(blocks["boot"].iloc[-1]), int(blocks["seq"].iloc[-1]))

    def _now(self, run: Run) -> Now:
        table = run.channels.table
        newest_s = float(table["time_s"].iloc[-1])
        speed = float(table["speed_rpm"].iloc[-10:].mean())
        stretch = Stretch(
            max(newest_s - MEASURED_S, float(table["time_s"].iloc[0])), newest_s, speed
        )
        zero = run.zeros.table.iloc[-1] if len(run.zeros.table) else None
        floor_pa = 3 * run.zeros.half_width_pa() + 0.002 * run.channels.span_pa
        sensor = run.records.header.sensor("meter_dp")
        accuracy = SENSOR_PARTS[sensor.part].differential_pressure if sensor else None
        fresh = table["sensor_dp_pa"][table["time_s"] >= stretch.start_s]
        if accuracy is None or np.isfinite(fresh).sum() < LEAST_FRESH:
            self._basis = None
            if accuracy is not None and len(fresh) < LEAST_FRESH:  # the link is just back
                return Now("changing", 0.0)
            return Now("no flow", 0.0, "The differential-pressure sensor gives no readings yet.")
        point = measured_points(run.channels, run.zeros, [stretch])
        around = surroundings(point, run.zeros.table, table, run.records, run.rig, run.notes)
        pressure = pressure_at(point, run.channels, run.zeros, accuracy, run.records, run.rig)
        self._basis = _Basis(
            float(run.zeros.at(np.array([newest_s]))[0]), pressure, around, floor_pa
        )
        shared: dict[str, Any] = {
            "zero_pa": None if zero is None else float(zero["zero_pa"]),
            "zero_s": 0.0 if zero is None else float(zero["end_s"] - zero["start_s"]),
            "ambient_pressure_pa": _known(around.pressure.value[0]),
            "ambient_temperature_k": _known(around.temperature.value[0]),
        }
        off_s = _standing_s(table)
        zeroed = float(point["differential_pressure_pa"].iloc[0])
        stands = off_s > 0 and abs(zeroed) < floor_pa
        shared["findings"] = (
            *(finding for finding in run.findings if finding.row.live),
            *_clipped(table),
            *(() if stands else _unseen(off_s, zeroed)),
        )
        if stands:
            return Now("engine off", off_s, **shared)
        try:
            flows = flow.solve(pressure, around, run.rig)
        except ValueError:  # with next to no pressure there is no pulsation relative to it
            self._basis = None
            return Now("changing", 0.0, **shared)
        u95 = float(flows.standard.expanded_uncertainty()[0])
        if "inlet" in around.places:
            shared["vacuum_blower_pa"] = _known(
                around.pressure.value[0] - around.places["inlet"].pressure[0]
            )
        settled_s = _settled_s(run, newest_s)
        return Now(
            "settled" if settled_s else "changing",
            settled_s,
            speed_rpm=speed if np.isfinite(speed) else 0.0,
            standard_flow_u95_m3_s=u95 if np.isfinite(u95) else None,
            **shared,
        )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _standing_s(table: pd.DataFrame) -> float:
    """For how long no shaft has turned."""
    turning = np.flatnonzero((table["speed_rpm"] != 0).to_numpy())
    time_s = table["time_s"].to_numpy()
    since_s = time_s[turning[-1]] if len(turning) else time_s[0]
    return float(time_s[-1] - since_s)


def _meter_index(header: Header) -> int:
    sensor = header.sensor("meter_dp")
    return -1 if sensor is None else sensor.index


def _newest_second(records: list[dict[str, Any]], header: Header) -> list[dict[str, Any]]:
    """The newest records that make up a second, one more than these and two at the least."""
    left = round(1e9 / header.tick_ns)
    for place in range(len(records) - 1, -1, -1):
        left -= records[place]["length_ticks"]
        if left <= 0:
            return records[max(place - 1, 0) :]
    return records


def _joined(blocks: list[dict[str, Any]], header: Header) -> list[dict[str, Any]]:
    """The newest records between which none is missing."""
    for place in range(len(blocks) - 1, 0, -1):
        before, after = blocks[place - 1], blocks[place]
        away = (after["start_ticks"] - before["start_ticks"]) % (1 << header.tick_bits)
        if abs(away - before["length_ticks"]) > JOIN_TICKS:
            return blocks[place:]
    return blocks


def _unseen(off_s: float, zeroed_pa: float) -> Iterator[Finding]:
    """Air that moves although the shaft seems to stand, for longer than one runs down."""
    if off_s > RUN_DOWN_S + MEASURED_S:
        yield found(
            Kind.PICKUP_DROPOUT,
            "shaft",
            case="now",
            spoils="withheld",
            silent=off_s,
            pressure=zeroed_pa,
        )


def _clipped(table: pd.DataFrame) -> Iterator[Finding]:
    """Whether samples stand at an end of the sensor's range just now."""
    newest = table[table["time_s"] > table["time_s"].iloc[-1] - MEASURED_S]
    clipped = newest["clipped_block"]
    if clipped.mean() > CLIPPED_SHARE:
        end_pa = float(newest.loc[clipped, "greatest_pa"].median())
        yield found(Kind.SENSOR_CLIPPED, case="now", end=end_pa)


def _settled_s(run: Run, newest_s: float) -> float:
    """For how long the run has been settled; 0 where it is not."""
    seen_until_s = newest_s - LEAVE_S - 2 * STEP_S
    if run.points.empty or run.points["end_s"].iloc[-1] < seen_until_s:
        return 0.0
    last = run.points.iloc[-1]
    return float(last["end_s"] - last["start_s"])

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
from pullcurve.measure.shaft_speed import NewestSpeed
from pullcurve.measure.zeros import RUN_DOWN_S
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import Log
from pullcurve.stream.block import Block
from pullcurve.stream.header import Header
from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import Batch
from pullcurve.stream.records import Assembler

KEPT_S = 60.0  # of the run's newest part
SHOWN = 10  # blocks that a reading is a mean of
LEAST_FRESH = 5  # blocks of them with a reading
MEASURED_S = 2.0  # over which the flow's uncertainty is taken
CLIPPED_NOW_SHARE = 0.5  # of the blocks of MEASURED_S: chance piles up in fewer

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
    """Watches a stream. `take` and `reading` are quick; `look` takes longer, and may be called in
    a thread of its own."""

    def __init__(self, rig: Rig | None) -> None:
        self._rig = rig
        self._lock = Lock()
        self._assembler = Assembler()
        self._keeping = Keeping(KEPT_S)
        self._blocks: deque[dict[str, Any]] = deque(maxlen=SHOWN)
        self._shaft: NewestSpeed | None = None  # of the first pickup
        self._memory_s: int | None = None
        self._header: Header | None = None
        self._meter_index = -1
        self._basis: _Basis | None = None
        self._first: Received | None = None
        self._newest: datetime | None = None
        self._time_s = 0.0  # of the newest block

    def take(self, batch: Batch) -> bool:
        """Whether these bytes completed a block."""
        self._first = self._first or batch.received
        with self._lock:  # a look sees records and their time together
            self._assembler.take(batch)
            for each in batch.arrivals:
                if each.time_s is not None:
                    self._time_s = each.time_s
        fresh = False
        for each in batch.arrivals:
            if each.kind == "event":
                self._note_memory(each.fields())
            if not each.in_order or each.header is None:
                continue  # asked for again: it belongs to the minute, and not to the second
            if each.header is not self._header:
                self._use(each.header)
            if each.kind == "edges" and each.fields()["pickup"] == 0 and self._shaft is not None:
                self._shaft.add(each.fields())
            elif each.kind == "dp" and each.fields()["sensor"] == self._meter_index:
                self._blocks.append(each.fields())
                self._newest = batch.host_time
                fresh = True
        return fresh

    def _use(self, header: Header) -> None:
        sensor = header.sensor("meter_dp")
        self._meter_index = -1 if sensor is None else sensor.index
        facts = None
        if self._rig is not None:
            facts = getattr(self._rig.pickups, header.pickups[0].role)
        if facts is None:
            self._shaft = None
        elif self._shaft is None:
            self._shaft = NewestSpeed(facts.marks_per_turn, header.tick_ns, header.tick_bits)
        self._header = header

    def _note_memory(self, event: dict[str, Any]) -> None:
        if event["code"] == "start":
            self._memory_s = None
        elif event["code"] == "short_memory":
            self._memory_s = event["value"]

    def reading(self) -> Reading | None:
        """The newest second in numbers; None before the first block and the first header."""
        if self._newest is None or self._header is None:
            return None
        basis, sensor = self._basis, self._header.sensor("meter_dp")
        speed, pressure = self._speed(self._header), None
        if sensor is not None:
            mean = Block.of(list(self._blocks)).pooled_pressure(sensor.channels[0])
            pressure = mean if np.isfinite(mean) else None
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

    def _speed(self, header: Header) -> float | None:
        """Of the blower."""
        if self._shaft is None:
            return None
        ratio = 1.0
        if header.pickups[0].role == "engine_shaft" and self._rig is not None:
            ratio = self._rig.machine.belt_ratio or np.nan
        rpm = self._shaft.rpm() * ratio
        return rpm if np.isfinite(rpm) else None

    def look(self) -> Now:
        """Reduce the newest minute."""
        if self._first is None:
            return Now("no flow", 0.0, "Nothing has come from a board yet.")
        records, time_s = None, 0.0
        try:
            with self._lock:
                time_s = self._time_s
                records = self._assembler.finish("the board's stream")
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
                time_s=time_s,
                received=records.received,
                lost=records.lost,
                memory_s=self._memory_s,
            )
        except (LogError, RigError) as fault:
            self._basis = None
            return Now("no flow", 0.0, str(fault), time_s=time_s)
        finally:
            with self._lock:
                self._keeping.forget(self._assembler, records)

    def _now(self, run: Run) -> Now:
        table = run.channels.table
        newest_s = float(table["time_s"].iloc[-1])
        speed = float(table["speed_rpm"].iloc[-10:].mean())
        stretch = Stretch(
            max(newest_s - MEASURED_S, float(table["time_s"].iloc[0])), newest_s, speed
        )
        zero = run.zeros.table.iloc[-1] if len(run.zeros.table) else None
        floor_pa = 3 * run.zeros.half_width_pa() + 0.002 * run.channels.span_pa
        fresh = table["sensor_dp_pa"][table["time_s"] >= stretch.start_s]
        if np.isfinite(fresh).sum() < LEAST_FRESH:
            self._basis = None
            if len(fresh) < LEAST_FRESH:  # the link is just back
                return Now("changing", 0.0)
            return Now("no flow", 0.0, "The differential-pressure sensor gives no readings yet.")
        point = measured_points(run.channels, run.zeros, [stretch])
        instruments = run.channels.instruments
        around = surroundings(point, run.zeros.table, table, instruments, run.rig, run.notes)
        pressure = pressure_at(point, run.channels, run.zeros, run.rig)
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
    if clipped.mean() > CLIPPED_NOW_SHARE:
        end_pa = float(newest.loc[clipped, "greatest_pa"].median())
        yield found(Kind.SENSOR_CLIPPED, case="now", end=end_pa)


def _settled_s(run: Run, newest_s: float) -> float:
    """For how long the run has been settled; 0 where it is not."""
    seen_until_s = newest_s - LEAVE_S - 2 * STEP_S
    if run.points.empty or run.points["end_s"].iloc[-1] < seen_until_s:
        return 0.0
    last = run.points.iloc[-1]
    return float(last["end_s"] - last["start_s"])

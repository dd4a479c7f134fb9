"""Channels in SI from a run's records and its rig."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.errors import LogError, RigError
from pullcurve.measure.clipping import clipped_blocks
from pullcurve.measure.instruments import Instruments, of_board
from pullcurve.measure.shaft_speed import Marks, ShaftSpeed, marks
from pullcurve.quantities import ZERO_CELSIUS
from pullcurve.rig.loading import rig_fault
from pullcurve.rig.models import Rig
from pullcurve.stream import transfer
from pullcurve.stream.block import Block
from pullcurve.stream.edges import Part, parts, signed
from pullcurve.stream.header import Header, Sensor
from pullcurve.stream.records import RunRecords, rows_of
from record_format import OK

PART_S = 0.09  # of a longer record of edges: mark counting looks at a tenth of a second
RANGE_TOLERANCE = 0.005  # of the span: people round a psi to 6895 Pa

Array = NDArray[np.float64]

# role and quantity of a slow channel: the column it becomes
SLOW_COLUMNS = {
    ("meter_dp", "temperature"): "sensor_temperature_k",
    ("ambient_air", "pressure"): "ambient_pressure_pa",
    ("ambient_air", "temperature"): "ambient_temperature_k",
    ("ambient_air", "humidity"): "ambient_humidity",
    ("meter_air", "pressure"): "meter_pressure_pa",
    ("blower_air", "pressure"): "blower_pressure_pa",
    ("tank_air", "pressure"): "tank_pressure_pa",
    ("discharge_temperature", "temperature"): "discharge_temperature_k",
    ("supply", "voltage"): "supply_v",
}


@dataclass(frozen=True)
class Channels:
    """What was measured, in SI.

    `table` has a row a block, or a row a reading of another logger: `time_s` (its middle),
    `length_s`, `boot`, the mean `sensor_dp_pa`, the differential pressure as the sensor gave it
    with its zero still in it, the standard deviation `differential_pressure_sd_pa` within the
    block, `clipped_block` (whether samples stood at an end of the range), `samples`, `stale`,
    `faulty`, `clipped`, `speed_rpm` of the blower, and the columns of SLOW_COLUMNS for the roles
    that were measured, each read at the block's time, NaN where there is no reading near it.
    `shafts` tell the mean speed of each shaft that was watched; `marks` are those of them that a
    board's pickup saw.
    """

    table: pd.DataFrame
    shafts: Mapping[str, ShaftSpeed]
    blower_shaft_from: str  # the shaft from which the blower's speed is taken
    belt_ratio: float  # blower turns to one of that shaft
    instruments: Instruments

    @property
    def marks(self) -> dict[str, Marks]:
        return {role: shaft for role, shaft in self.shafts.items() if isinstance(shaft, Marks)}

    @property
    def count_pa(self) -> float:
        """Differential pressure of one count."""
        return self.instruments.count_pa

    @property
    def span_pa(self) -> float:
        return self.instruments.span_pa


def to_si(records: RunRecords, rig: Rig, name: str = "the log") -> Channels:
    """The channels of a board's records.

    Raises RigError when rig and header contradict each other, LogError, which names the log, where
    the part on the meter is not known.
    """
    header = records.header
    check_rig_against_header(rig, header)
    sensor = header.sensor("meter_dp")
    if sensor is None:
        raise RigError("the board's header names no sensor with the role meter_dp")
    blocks = records.blocks
    channel = sensor.channels[0]
    instruments = of_board(header, abs(transfer.scale(channel)))
    if instruments is None:
        raise LogError(
            f"{name}: its differential-pressure sensor is of a part that this version does "
            "not know; use a later version of pullcurve"
        )
    block = Block.of(blocks)
    table = pd.DataFrame(
        {
            "time_s": blocks["time_s"] + blocks["length_ticks"] * header.tick_ns * 1e-9 / 2,
            "length_s": blocks["length_ticks"] * header.tick_ns * 1e-9,
            "boot": blocks["boot"],
            "sensor_dp_pa": block.pressure(channel),
            "differential_pressure_sd_pa": block.spread(channel),
            "least_pa": transfer.linear(blocks["least"], channel),
            "greatest_pa": transfer.linear(blocks["greatest"], channel),
            "samples": blocks["n"],
            "stale": blocks["stale"],
            "faulty": blocks["faulty"],
            "clipped": blocks["clipped"],
        }
    )
    seen = _all_marks(records, rig)
    shaft = "blower_shaft" if "blower_shaft" in seen else "engine_shaft"
    belt_ratio = 1.0 if shaft == "blower_shaft" else float(rig.machine.belt_ratio or np.nan)
    table["speed_rpm"] = seen[shaft].at(table["time_s"].to_numpy()) * belt_ratio
    if "engine_shaft" in seen:
        table["engine_speed_rpm"] = seen["engine_shaft"].at(table["time_s"].to_numpy(), 2.0)
    _add_slow(table, records)
    table["clipped_block"] = clipped_blocks(blocks, (table["speed_rpm"] != 0).to_numpy())
    return Channels(table, seen, shaft, belt_ratio, instruments)


def check_rig_against_header(rig: Rig, header: Header) -> None:
    """Raises RigError when the rig names a shaft, a part or a range that the board has not."""
    roles = [pickup.role for pickup in header.pickups]
    for shaft in ("blower_shaft", "engine_shaft"):
        if getattr(rig.pickups, shaft) is not None and shaft not in roles:
            raise rig_fault(
                rig,
                f"pickups.{shaft}",
                f"the board that made this log watches {' and '.join(roles)} only; "
                "name the shaft that carried the marks",
            )
        if getattr(rig.pickups, shaft) is None and shaft in roles:
            raise rig_fault(
                rig,
                "pickups",
                f"the board that made this log watches {shaft}, and the rig does not say how "
                f"many marks it carries; add [pickups.{shaft}] with marks_per_turn",
            )
    for role in type(rig.sensors).model_fields:
        wanted = getattr(rig.sensors, role)
        parts = {sensor.part: sensor for sensor in header.sensors if sensor.role == role}
        if wanted is None:
            continue
        if wanted.part not in parts:
            raise rig_fault(
                rig,
                f"sensors.{role}.part",
                f"the board that made this log has {', '.join(parts)} as {role}, not {wanted.part}"
                if parts
                else f"the board that made this log has no sensor as {role}; take "
                f"[sensors.{role}] out of the rig, or name the rig that was on the machine",
            )
        channel = parts[wanted.part].channels[0]
        ends = (channel.value_low, channel.value_high)
        if wanted.range and any(
            abs(a - b) > RANGE_TOLERANCE * (ends[1] - ends[0])
            for a, b in zip(wanted.range, ends, strict=True)
        ):
            raise rig_fault(
                rig,
                f"sensors.{role}.range",
                f"the board that made this log is set for {ends[0]:g} Pa to {ends[1]:g} Pa; "
                "one of the two does not fit the part: read its label, and mend board.json "
                "or this key",
            )


def _all_marks(records: RunRecords, rig: Rig) -> dict[str, Marks]:
    header = records.header
    found = {}
    for pickup in header.pickups:
        table = records.edges[records.edges["pickup"] == pickup.index]
        facts = getattr(rig.pickups, pickup.role)
        found[pickup.role] = marks(_edges(table, header), facts.marks_per_turn)
    return found


def _edges(table: pd.DataFrame, header: Header) -> pd.DataFrame:
    """Edge times in seconds, a row a record, or a part of one that is longer than two of PART_S."""
    tick_s = header.tick_ns * 1e-9
    names = ["after_gap", "rejects", "time_s", "edges", "first", "last", "least", "greatest"]
    rows: list[tuple[Any, ...]] = []
    for row in rows_of(table):
        begin = int(signed(row.first, header.tick_bits))
        extremes = (row.least_interval, row.greatest_interval)
        steps = tuple(step % (1 << header.tick_bits) for step in row.steps)
        found = list(parts(row.edges, row.stride, begin, steps, extremes, round(PART_S / tick_s)))
        for i, part in enumerate(found or [Part(0, 0, 0, 0, 0)]):
            gap, rejects = (row.after_gap, row.rejects) if i == 0 else (False, 0)
            rows.append((gap, rejects, row.time_s, *part))
    cut = pd.DataFrame.from_records(rows, columns=names)
    return pd.DataFrame(
        {
            "edges": cut["edges"],
            "after_gap": cut["after_gap"],
            "first_s": cut["time_s"] + cut["first"] * tick_s,
            "last_s": cut["time_s"] + cut["last"] * tick_s,
            "least_interval_s": cut["least"] * tick_s,
            "greatest_interval_s": cut["greatest"] * tick_s,
            "rejects": cut["rejects"],
        }
    )


def _add_slow(table: pd.DataFrame, records: RunRecords) -> None:
    reach_s = 5 * records.header.slow_us * 1e-6
    at = table["time_s"].to_numpy()
    for (role, quantity), (times, series) in _slow_series(records).items():
        column = SLOW_COLUMNS.get((role, quantity))
        if column is None or column in table:
            continue
        read = np.interp(at, times, series)
        nearest = np.abs(at - times[_nearest(times, at)])
        table[column] = np.where(nearest <= reach_s, read, np.nan)


def _slow_series(records: RunRecords) -> dict[tuple[str, str], tuple[Array, Array]]:
    """Times and values of each role's quantities, each reading by the header that held then:
    a sensor that was changed in mid-run has trimming words of its own."""
    rows = records.slows[records.slows["status"] == OK]
    found: dict[tuple[str, str], list[pd.DataFrame]] = {}
    held = _held(records, rows)
    for place in np.unique(held):
        group = rows[held == place]
        for sensor in records.headers[place].header.sensors:
            own = group[group["sensor"] == sensor.index]
            own = own[own["words"].map(len) == len(sensor.channels)]
            if own.empty:
                continue
            words = np.array(own["words"].tolist(), dtype=float)
            for quantity, series in quantities(sensor, words).items():
                part = pd.DataFrame({"time_s": own["time_s"].to_numpy(), "value": series})
                found.setdefault((sensor.role, quantity), []).append(part)
    joined = {key: pd.concat(parts).sort_values("time_s") for key, parts in found.items()}
    return {
        key: (part["time_s"].to_numpy(), part["value"].to_numpy()) for key, part in joined.items()
    }


def _held(records: RunRecords, rows: pd.DataFrame) -> NDArray[np.int64]:
    """For each row, which of the headers holds for it."""
    headers = [held.header for held in records.headers]
    if len(headers) == 1:
        return np.zeros(len(rows), dtype=np.int64)
    places = [
        headers.index(records.header_at(int(row.boot), int(row.seq))) for row in rows_of(rows)
    ]
    return np.array(places, dtype=np.int64)


def _nearest(sorted_times: Array, at: Array) -> NDArray[np.int64]:
    after = np.clip(np.searchsorted(sorted_times, at), 1, max(len(sorted_times) - 1, 1))
    before = after - 1
    after = np.minimum(after, len(sorted_times) - 1)
    closer = np.abs(at - sorted_times[before]) <= np.abs(at - sorted_times[after])
    return np.where(closer, before, after)


def quantities(sensor: Sensor, words: Array) -> dict[str, Array]:
    """The quantities of a sensor's raw words (a row a reading): Pa, K, humidity 0 to 1."""
    found: dict[str, Array] = {}
    names = [channel.quantity for channel in sensor.channels]
    if sensor.channels[0].transfer == "bosch":
        if len(sensor.trim) < 12:
            return {}
        celsius, fine = transfer.bosch_temperature(
            words[:, names.index("temperature")], sensor.trim
        )
        found["temperature"] = celsius + ZERO_CELSIUS
        found["pressure"] = transfer.bosch_pressure(
            words[:, names.index("pressure")], fine, sensor.trim
        )
        if "humidity" in names and len(sensor.trim) >= 18:
            found["humidity"] = transfer.bosch_humidity(
                words[:, names.index("humidity")], fine, sensor.trim
            )
        return found
    for i, channel in enumerate(sensor.channels):
        value = transfer.linear(words[:, i], channel)
        found[channel.quantity] = value + ZERO_CELSIUS if channel.unit == "Cel" else value
    return found

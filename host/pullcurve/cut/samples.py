"""From what a source yields to one sample each half second, in the order of arrival.

Keeps nothing but the newest readings, so that a watch may run for weeks. A record that comes
late, repeated or asked for again, is not looked at: the sample it belongs to has been judged.
"""

import math
from collections import deque
from dataclasses import dataclass
from typing import Any

import numpy as np

from pullcurve.cut.flow_lookup import UNKNOWN_HUMIDITY, QuickFlow
from pullcurve.errors import LogError
from pullcurve.measure import channels
from pullcurve.measure.clipping import CLIPPED_SHARE
from pullcurve.measure.shaft_speed import NewestSpeed
from pullcurve.measure.zeros import RUN_DOWN_S
from pullcurve.physics.air import ROOM_TEMPERATURE
from pullcurve.rig.loading import rig_fault
from pullcurve.rig.models import Rig
from pullcurve.stream.block import Block
from pullcurve.stream.header import Header, Sensor
from pullcurve.stream.record_stream import Arrival, Batch
from record_format import OK

SAMPLE_S = 0.5
FRESH_S = 3.0  # a slow reading serves so long
GREATEST_OFFSET_PA = 500.0  # between two absolute sensors that stand in the same air
LOST_BETWEEN = 0.3  # of the differential pressure, from the tap to a sensor at the blower


@dataclass(frozen=True, slots=True)
class Sample:
    """What half a second said. Pressures are absolute, NaN where no reading is fresh."""

    time_s: float  # at its end, board seconds since the first block
    speed_rpm: float  # of the blower; 0 where it stands, NaN where not seen
    engine_speed_rpm: float
    differential_pa: float
    ambient_pa: float
    ambient_k: float
    tap_pa: float
    tank_pa: float
    mass_flow_kg_s: float
    clipped: bool
    after_gap: bool  # more than a sample is missing before this one


class Samples:
    """Samples of a stream, batch by batch."""

    def __init__(self, rig: Rig) -> None:
        if rig.meter.position != "clean_pipe":
            raise rig_fault(
                rig,
                "meter.position",
                f"a cut is watched with the meter in the clean pipe only, and this one is at the "
                f"{rig.meter.position.replace('_', ' ')}: spoil must never go through the tube. "
                "Mount it between filter and blower, or take a run without spoil and report that",
            )
        self._rig = rig
        self._flow = QuickFlow(rig)
        self._header: Header | None = None
        self._sensors: dict[int, Sensor] = {}
        self._shafts: dict[int, NewestSpeed] = {}
        self._roles: dict[int, str] = {}
        self._slow: dict[str, tuple[float, float]] = {}  # column: value and when
        self._zero = _Mean()
        self._offsets: dict[str, _Mean] = {}
        self._still_since: float | None = None
        self._blocks: list[dict[str, Any]] = []
        self._bin = 0
        self._last_end_s = 0.0

    @property
    def zero_pa(self) -> float | None:
        """The differential-pressure sensor's zero, taken with the engine off."""
        return self._zero.value

    def take(self, batch: Batch) -> list[Sample]:
        """The samples that a batch completes."""
        found: list[Sample] = []
        for each in batch.arrivals:
            if not each.in_order:
                continue
            if each.header is not None and each.header is not self._header:
                if each.header != self._header:
                    self._use(each.header)
                self._header = each.header
            sample = self._take(each)
            if sample is not None:
                found.append(sample)
        return found

    def _take(self, each: Arrival) -> Sample | None:
        if self._header is None:
            return None
        if each.kind == "dp" and each.time_s is not None:
            return self._block(each.fields(), each.time_s, self._header)
        if each.kind == "slow":
            self._slow_record(each.fields())
        elif each.kind == "edges":
            values = each.fields()
            shaft = self._shafts.get(values["pickup"])
            if shaft is not None:
                shaft.add(values)
        return None

    def _use(self, header: Header) -> None:
        channels.check_rig_against_header(self._rig, header)
        roles = {sensor.role for sensor in header.sensors}
        if not roles & {"meter_air", "blower_air"}:
            raise rig_fault(
                self._rig,
                "meter.position",
                "a cut is watched by how hard the air comes in, and that needs the absolute "
                "pressure in the clean pipe: a sensor with the role meter_air",
            )
        ambient = header.sensor("ambient_air")
        measured = [channel.quantity for channel in ambient.channels] if ambient else []
        if "pressure" not in measured and self._rig.site.station_pressure is None:
            raise rig_fault(
                self._rig,
                "site",
                "no sensor measures the station pressure and none is typed: add "
                "station_pressure, read from a barometer on the site",
            )
        meter = header.sensor("meter_dp")
        if meter is None:
            raise LogError("the board's header names no sensor with the role meter_dp")
        self._meter_index = meter.index
        self._meter_channel = meter.channels[0]
        self._sensors = {sensor.index: sensor for sensor in header.sensors}
        self._roles = {pickup.index: pickup.role for pickup in header.pickups}
        for index, role in self._roles.items():
            marks = getattr(self._rig.pickups, role).marks_per_turn
            if index not in self._shafts:
                self._shafts[index] = NewestSpeed(marks, header.tick_ns, header.tick_bits)

    def _slow_record(self, values: dict[str, Any]) -> None:
        sensor = self._sensors.get(values["sensor"])
        if sensor is None or values["status"] != OK or len(values["words"]) != len(sensor.channels):
            return
        words = np.array([values["words"]], dtype=float)
        for quantity, series in channels.quantities(sensor, words).items():
            column = channels.SLOW_COLUMNS.get((sensor.role, quantity))
            if column is not None:
                self._slow[column] = (float(series[0]), self._last_end_s)

    def _block(self, values: dict[str, Any], start_s: float, header: Header) -> Sample | None:
        if values["sensor"] != self._meter_index:
            return None
        end_s = start_s + values["length_ticks"] * header.tick_ns * 1e-9
        gap_s = start_s - self._last_end_s
        sample = None
        place = int((end_s - 0.01) / SAMPLE_S)
        if self._blocks and place > self._bin:
            sample = self._close()
            self._blocks = []
        if gap_s > SAMPLE_S:
            self._blocks = []
            self._gap = True
        self._bin = place
        self._blocks.append(values)
        self._last_end_s = end_s
        return sample

    _gap = True

    def _close(self) -> Sample:
        """The sample of the blocks that are waiting."""
        blocks = Block.of(self._blocks)
        differential = blocks.pooled_pressure(self._meter_channel)
        clipped = blocks.clipped.sum() > CLIPPED_SHARE * max(blocks.n.sum(), 1)
        speeds = {role: self._shafts[i].rpm() for i, role in self._roles.items()}
        engine = speeds.get("engine_shaft", math.nan)
        speed = speeds.get("blower_shaft", engine * (self._rig.machine.belt_ratio or math.nan))
        at_s = self._last_end_s
        ambient_pa, ambient_k, humidity = self._ambient(at_s)
        meter = self._fresh("meter_pressure_pa", at_s)
        blower = self._fresh("blower_pressure_pa", at_s)
        tank = self._fresh("tank_pressure_pa", at_s)
        self._compare(speed, differential, ambient_pa, at_s)
        differential -= self._zero.value or 0.0
        tap = self._corrected("meter_pressure_pa", meter)
        if not math.isfinite(tap):
            lost = LOST_BETWEEN * max(differential, 0.0)
            tap = self._corrected("blower_pressure_pa", blower) + lost
        sample = Sample(
            at_s,
            speed,
            engine,
            differential,
            ambient_pa,
            ambient_k,
            tap,
            self._corrected("tank_pressure_pa", tank),
            self._flow.mass_flow(differential, tap, ambient_pa, ambient_k, humidity),
            bool(clipped),
            self._gap,
        )
        self._gap = False
        return sample

    def _ambient(self, at_s: float) -> tuple[float, float, float]:
        site = self._rig.site
        pressure = self._fresh("ambient_pressure_pa", at_s, 60.0)
        temperature = self._fresh("ambient_temperature_k", at_s, 60.0)
        humidity = self._fresh("ambient_humidity", at_s, 60.0)
        if not math.isfinite(pressure):
            pressure = site.station_pressure or math.nan
        if not math.isfinite(temperature):
            temperature = site.temperature_k or ROOM_TEMPERATURE
        if not math.isfinite(humidity):
            humidity = UNKNOWN_HUMIDITY if site.humidity is None else site.humidity
        return pressure, temperature, humidity

    def _fresh(self, column: str, at_s: float, reach_s: float = FRESH_S) -> float:
        value, when_s = self._slow.get(column, (math.nan, -math.inf))
        return value if at_s - when_s <= reach_s else math.nan

    def _corrected(self, column: str, value: float) -> float:
        offset = self._offsets.get(column)
        return value + (offset.value or 0.0) if offset is not None else value

    def _compare(self, speed: float, differential: float, ambient_pa: float, at_s: float) -> None:
        """While the engine is off: the zero, and the absolute sensors in the same air."""
        turning = any(shaft.turns() for shaft in self._shafts.values())
        if turning or speed != 0:
            self._still_since = None
            return
        if self._still_since is None:
            self._still_since = at_s if at_s > RUN_DOWN_S else -math.inf
        if at_s - self._still_since < RUN_DOWN_S or not math.isfinite(differential):
            return
        self._zero.add(differential)
        for column in ("meter_pressure_pa", "blower_pressure_pa", "tank_pressure_pa"):
            off = ambient_pa - self._fresh(column, at_s)
            if abs(off) < GREATEST_OFFSET_PA:
                self._offsets.setdefault(column, _Mean()).add(off)


class _Mean:
    """The mean of the last stop's values."""

    def __init__(self) -> None:
        self._values: deque[float] = deque(maxlen=240)

    def add(self, value: float) -> None:
        self._values.append(value)

    @property
    def value(self) -> float | None:
        return float(np.mean(self._values)) if self._values else None

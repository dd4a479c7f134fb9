"""What the board says of itself, put together from its header lines."""

import math
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Any

from pullcurve.stream.decoder import Record
from record_format import HEADER, RECORDS

MOST_LINES = 1000
LONGEST = 1 << 40  # nanoseconds of a tick, microseconds of any time


@dataclass(frozen=True)
class Channel:
    """How the counts of one raw word become a quantity; see record_format."""

    quantity: str
    unit: str
    transfer: str
    value_low: float
    value_high: float
    count_low: float
    count_high: float
    clip_low: int
    clip_high: int


@dataclass(frozen=True)
class Sensor:
    index: int
    role: str
    part: str
    bus: int
    address: int
    period_us: int
    channels: tuple[Channel, ...]
    trim: tuple[int, ...]


@dataclass(frozen=True)
class Pickup:
    index: int
    role: str
    pin: int
    least_us: int


@dataclass(frozen=True)
class Runtime:
    """What the firmware runs on, as the runtime itself says it; empty where a board of version 1
    says nothing."""

    machine: str = ""
    runtime: str = ""
    version: str = ""


@dataclass(frozen=True)
class Header:
    """Two headers are equal when they say the same, wherever in the stream they stand."""

    boot: int = field(compare=False)
    seq: int = field(compare=False)  # of its first line
    format: int
    board: str
    board_id: str
    firmware: str
    tick_ns: int
    tick_bits: int
    block_us: int
    period_us: int
    jitter_us: int
    slow_us: int
    header_us: int
    sensors: tuple[Sensor, ...]
    pickups: tuple[Pickup, ...]
    runtime: Runtime = Runtime()

    def sensor(self, role: str) -> Sensor | None:
        """The first sensor that plays a role."""
        return next((sensor for sensor in self.sensors if sensor.role == role), None)


def named(record: Record) -> dict[str, Any]:
    """A record's values by the names of its fields."""
    names = [name for name, _ in RECORDS[record.kind]]
    return dict(zip(names, record.values, strict=True))


def _is_sound(kind: str, fields: dict[str, Any]) -> bool:
    """Whether the values of one header line can be."""
    if not 0 <= fields["line"] < fields["lines"] <= MOST_LINES:
        return False
    if kind == "board":
        return bool(0 < fields["tick_ns"] < LONGEST and 0 < fields["tick_bits"] <= 62)
    if kind == "plan":
        times = [fields[name] for name in ("block_us", "period_us", "slow_us", "header_us")]
        return all(0 < time < LONGEST for time in times) and bool(fields["jitter_us"] >= 0)
    if kind == "channel":
        values = fields["value_low"], fields["value_high"]
        counts = fields["count_low"], fields["count_high"]
        return all(
            math.isfinite(low) and math.isfinite(high) and low != high
            for low, high in (values, counts)
        )
    return True


class HeaderAssembler:
    """Collects header lines until a whole header of one boot is there.

    `malformed` counts the lines and headers that were refused because their values cannot be.
    """

    def __init__(self) -> None:
        self._boot = -1
        self._lines: dict[int, tuple[int, str, dict[str, Any]]] = {}
        self.malformed = 0

    def add(self, record: Record) -> Header | None:
        """The header that this record completes, or None."""
        if record.kind not in HEADER:
            return None
        fields = named(record)
        if not _is_sound(record.kind, fields):
            self.malformed += 1
            return None
        line, count = fields.pop("line"), fields.pop("lines")
        if record.boot != self._boot or line == 0 or self._is_of_the_next(line, record.seq):
            self._boot = record.boot
            self._lines.clear()
        self._lines[line] = (record.seq, record.kind, fields)
        if set(self._lines) != set(range(count)):
            return None
        header = self._build()
        self.malformed += header is None
        self._lines.clear()
        return header

    def _is_of_the_next(self, line: int, seq: int) -> bool:
        """Whether the lines collected are of an earlier header, the end of which was lost."""
        return any(line <= other and seq > at for other, (at, _, _) in self._lines.items())

    def _build(self) -> Header | None:
        kinds: dict[str, list[dict[str, Any]]] = {kind: [] for kind in HEADER}
        for _, (_, kind, fields) in sorted(self._lines.items()):
            kinds[kind].append(fields)
        if len(kinds["board"]) != 1 or len(kinds["plan"]) != 1 or not kinds["pickup"]:
            return None
        sensors = [_sensor(fields, kinds) for fields in kinds["sensor"]]
        if not all(sensor.channels for sensor in sensors):
            return None
        return Header(
            boot=self._boot,
            seq=self._lines[0][0],
            sensors=tuple(sensors),
            pickups=tuple(Pickup(index=p.pop("pickup"), **p) for p in kinds["pickup"]),
            runtime=Runtime(**kinds["runtime"][0]) if kinds["runtime"] else Runtime(),
            **kinds["board"][0],
            **kinds["plan"][0],
        )


def _sensor(fields: dict[str, Any], kinds: dict[str, list[dict[str, Any]]]) -> Sensor:
    index = fields.pop("sensor")
    own = {kind: [f for f in kinds[kind] if f["sensor"] == index] for kind in ("channel", "trim")}
    channels = sorted(own["channel"], key=itemgetter("channel"))
    trim = sorted(own["trim"], key=itemgetter("first"))
    return Sensor(
        index=index,
        channels=tuple(
            Channel(**{k: v for k, v in c.items() if k not in ("sensor", "channel")})
            for c in channels
        ),
        trim=tuple(word for t in trim for word in t["words"]),
        **fields,
    )

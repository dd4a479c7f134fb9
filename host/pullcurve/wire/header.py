"""What the board says of itself, put together from its header lines."""

from dataclasses import dataclass
from typing import Any

from pullcurve.wire.decoder import Record
from record_format import HEADER, RECORDS


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
class Header:
    boot: int
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

    def sensor(self, role: str) -> Sensor | None:
        """The first sensor that plays a role."""
        return next((sensor for sensor in self.sensors if sensor.role == role), None)


def named(record: Record) -> dict[str, Any]:
    """A record's values by the names of its fields."""
    names = [name for name, _ in RECORDS[record.kind]]
    return dict(zip(names, record.values, strict=True))


class HeaderAssembler:
    """Collects header lines until a whole header of one boot is there."""

    def __init__(self) -> None:
        self._boot = -1
        self._lines: dict[int, tuple[str, dict[str, Any]]] = {}

    def add(self, record: Record) -> Header | None:
        """The header that this record completes, or None."""
        if record.kind not in HEADER:
            return None
        fields = named(record)
        line, count = fields.pop("line"), fields.pop("lines")
        if record.boot != self._boot or line == 0:
            self._boot = record.boot
            self._lines.clear()
        self._lines[line] = (record.kind, fields)
        if set(self._lines) != set(range(count)):
            return None
        header = self._build()
        self._lines.clear()
        return header

    def _build(self) -> Header | None:
        kinds: dict[str, list[dict[str, Any]]] = {kind: [] for kind in HEADER}
        for _, (kind, fields) in sorted(self._lines.items()):
            kinds[kind].append(fields)
        if len(kinds["board"]) != 1 or len(kinds["plan"]) != 1:
            return None
        sensors = []
        for fields in kinds["sensor"]:
            index = fields.pop("sensor")
            channels = sorted((c["channel"], c) for c in kinds["channel"] if c["sensor"] == index)
            trim = sorted((t["first"], t["words"]) for t in kinds["trim"] if t["sensor"] == index)
            sensors.append(
                Sensor(
                    index=index,
                    channels=tuple(
                        Channel(**{k: v for k, v in c.items() if k not in ("sensor", "channel")})
                        for _, c in channels
                    ),
                    trim=tuple(word for _, words in trim for word in words),
                    **fields,
                )
            )
        pickups = [Pickup(index=p.pop("pickup"), **p) for p in kinds["pickup"]]
        return Header(
            boot=self._boot,
            sensors=tuple(sensors),
            pickups=tuple(pickups),
            **kinds["board"][0],
            **kinds["plan"][0],
        )

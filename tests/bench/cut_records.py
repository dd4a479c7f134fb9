"""Records of a cut, straight from the plant: what the board would have sent, in one go.

For studies of many hours. Sampling instants, counts, block statistics, edges and slow words are
those of the real firmware's plan; buses, drivers and their faults are left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Self

import numpy as np
from numpy.typing import NDArray

from machines import Tree
from pullcurve.bench.plant import Plant
from pullcurve.stream.received import Received
from record_format import FORMAT_VERSION, MOST_STAMPS, OK, edges_us, encode

Array = NDArray[np.float64]

BLOCK_S, PERIOD_S, SLOW_S, HEADER_S = 0.1, 0.005, 0.5, 10.0
EDGES_BLOCKS = edges_us(round(BLOCK_S * 1e6)) // round(BLOCK_S * 1e6)
PER_BLOCK = round(BLOCK_S / PERIOD_S)
PERIOD_TICKS = 1 << 30
LOW_COUNT, HIGH_COUNT = 1638, 14746
AIR_PART = ("LPS22HB", 260e2, 1260e2, 1064960, 5160960)


@dataclass(frozen=True)
class Instruments:
    """Errors of the sensors; `roles`: the absolute ones that the board has."""

    span_pa: float
    zero_pa: float
    noise_pa: float
    offsets_pa: dict[str, float]
    air_noise_pa: float
    jitter: bool
    marks: int
    uneven: float
    missed: float

    @classmethod
    def of(cls, sensors: list[Tree], pickup: Tree, *, jitter: bool) -> Self:
        """Those of a scenario's tables; a pickup's one odd mark stands for all of its marks."""
        meter, *air = sensors
        return cls(
            span_pa=meter["range_pa"][1],
            zero_pa=meter["zero_error"],
            noise_pa=meter["noise"],
            offsets_pa={each["role"]: each["zero_error"] for each in air},
            air_noise_pa=max(each["noise"] for each in air),
            jitter=jitter,
            marks=pickup["marks"],
            uneven=max(pickup["uneven"], key=abs),
            missed=pickup["missed"],
        )

    @property
    def roles(self) -> tuple[str, ...]:
        return tuple(self.offsets_pa)


def received(
    plant: Plant, tools: Instruments, generator: np.random.Generator
) -> Iterator[Received]:
    """What a host would hear, a block's records at a time."""
    start = plant.scenario.start
    for end_s, lines in records(plant, tools, generator):
        yield Received(start + timedelta(seconds=end_s + 0.005), b"".join(lines))


def records(
    plant: Plant, tools: Instruments, generator: np.random.Generator
) -> Iterator[tuple[float, list[bytes]]]:
    """The lines of each block, with the board's time at its end."""
    seq = 0

    def line(kind: str, *values: object) -> bytes:
        nonlocal seq
        seq += 1
        return encode(kind, 1, seq - 1, values)

    header = _header(tools)
    blocks = _blocks(plant, tools, generator)
    turns = _turns(plant, tools, generator)
    slow = _slow(plant, tools, generator)
    first = [line("event", 0, "start", "-", 1, "-")]
    for place, values in enumerate(blocks):
        lines = first if place == 0 else []
        if place % round(HEADER_S / BLOCK_S) == 0:
            for kind, *rest in header:
                lines.append(line(kind, *rest))
        lines.append(line("dp", 0, *values))
        if (place + 1) % EDGES_BLOCKS == 0:
            lines.append(line("edges", 0, *turns[place // EDGES_BLOCKS]))
        if place % round(SLOW_S / BLOCK_S) == 0:
            ticks = (values[0] + values[1]) % PERIOD_TICKS
            for index, words in enumerate(slow[place // round(SLOW_S / BLOCK_S)], start=1):
                lines.append(line("slow", index, ticks, OK, words))
        yield (place + 1) * BLOCK_S, lines


def _header(tools: Instruments) -> list[tuple[object, ...]]:
    part, low, high, count_low, count_high = AIR_PART
    lines: list[tuple[object, ...]] = [
        ("board", FORMAT_VERSION, "rp2-pico", "62656e6368000001", "0.1.0", 1000, 30),
        ("plan", 100_000, 5000, 5000 if tools.jitter else 0, 500_000, 10_000_000),
        ("sensor", 0, "meter_dp", "HSC", 0, 40, 5000),
        ("channel", 0, 0, "differential_pressure", "Pa", "linear", -tools.span_pa, tools.span_pa,
         LOW_COUNT, HIGH_COUNT, 0, 16383),
    ]  # fmt: skip
    for index, role in enumerate(tools.roles, start=1):
        lines += [
            ("sensor", index, role, part, 0, 92 + index, 500_000),
            ("channel", index, 0, "pressure", "Pa", "linear", low, high, count_low, count_high,
             -0x800000, 0x7FFFFF),
            ("channel", index, 1, "temperature", "Cel", "linear", -40, 85, -4000, 8500,
             -0x8000, 0x7FFF),
        ]  # fmt: skip
    lines.append(("pickup", 0, "blower_shaft", 6, 500))
    return [(kind, place, len(lines), *rest) for place, (kind, *rest) in enumerate(lines)]


def _blocks(
    plant: Plant, tools: Instruments, generator: np.random.Generator
) -> list[tuple[int, ...]]:
    count = int(plant.scenario.duration_s / BLOCK_S)
    slots = (np.arange(count * PER_BLOCK) * PERIOD_S).astype(float)
    if tools.jitter:
        slots = slots + generator.uniform(0, PERIOD_S * 0.9, slots.size)
    true = plant.differential_pressure(slots)
    seen = true + tools.zero_pa + tools.noise_pa * generator.standard_normal(slots.size)
    scale = (HIGH_COUNT - LOW_COUNT) / (2 * tools.span_pa)
    counts = np.clip(np.round(LOW_COUNT + (seen + tools.span_pa) * scale), 0, 16383)
    counts = counts.astype(np.int64).reshape(count, PER_BLOCK)
    pivot = counts[:, :1]
    off = counts - pivot
    statistics = np.column_stack(
        (pivot[:, 0], off.sum(1), (off**2).sum(1), counts.min(1), counts.max(1))
    ).tolist()
    starts = [round(place * BLOCK_S * 1e6) % PERIOD_TICKS for place in range(count)]
    return [
        (start, 100_000, PER_BLOCK, *row, 0, 0, 0)
        for start, row in zip(starts, statistics, strict=True)
    ]


def _turns(
    plant: Plant, tools: Instruments, generator: np.random.Generator
) -> list[tuple[object, ...]]:
    """The records of edges, each with its first and its last edge stamped and those between at
    a stride that fits."""
    length_s = EDGES_BLOCKS * BLOCK_S
    count = int(plant.scenario.duration_s / length_s)
    edges = _edges(plant, tools, generator)
    ticks = np.floor(edges * 1e6).astype(np.int64)
    bounds = np.searchsorted(edges, np.arange(count + 1) * length_s)
    interval = np.diff(ticks, prepend=ticks[0] if len(ticks) else 0)
    rows: list[tuple[object, ...]] = []
    for place in range(count):
        a, b = int(bounds[place]), int(bounds[place + 1])
        start = round(place * length_s * 1e6)
        pickup: tuple[object, ...] = (0, 0, 0, 0, 1, 0, ())
        if b > a:
            inside = interval[a:b]
            stride = (b - a) // MOST_STAMPS + 1
            stamps = np.unique([*range(a, b, stride), b - 1])
            steps = tuple(np.diff(ticks[stamps]).tolist())
            first = int(ticks[a]) - start
            pickup = (b - a, 0, int(inside.min()), int(inside.max()), stride, first, steps)
        rows.append((start % PERIOD_TICKS, round(length_s * 1e6), *pickup))
    return rows


def _edges(plant: Plant, tools: Instruments, generator: np.random.Generator) -> Array:
    truth = plant.truth(0.01)
    angle = np.concatenate(([0.0], np.cumsum(truth["speed_rpm"][1:] * 0.01 / 60)))
    passes = np.arange(1, int(angle[-1] * tools.marks))
    places = (passes + tools.uneven * (passes % tools.marks == 1)) / tools.marks
    # Where the shaft stands the angle does not rise: nothing passes there.
    grown = angle + np.arange(len(angle)) * 1e-12
    edges = np.interp(places, grown, truth["time_s"])
    return np.asarray(edges[generator.random(edges.size) >= tools.missed])


def _slow(
    plant: Plant, tools: Instruments, generator: np.random.Generator
) -> list[list[tuple[int, int]]]:
    _, low, high, count_low, count_high = AIR_PART
    times = np.arange(0, plant.scenario.duration_s, SLOW_S) + BLOCK_S
    signals = {
        "ambient_air": plant.ambient_pressure,
        "meter_air": plant.meter_pressure,
        "tank_air": plant.tank_pressure,
    }
    celsius = np.round(100 * (plant.ambient_temperature(times) - 273.15)).astype(int).tolist()
    columns = []
    for role, offset in tools.offsets_pa.items():
        pressure = signals[role](times) + offset
        pressure = pressure + tools.air_noise_pa * generator.standard_normal(times.size)
        counts = np.round(count_low + (pressure - low) * (count_high - count_low) / (high - low))
        columns.append(list(zip(counts.astype(int).tolist(), celsius, strict=True)))
    return [list(row) for row in zip(*columns, strict=True)]

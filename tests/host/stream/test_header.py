"""A header out of its lines, in any state in which a link may leave them."""

from collections.abc import Iterable
from typing import Any

import pytest

from pullcurve.stream.decoder import Record
from pullcurve.stream.header import Channel, Header, HeaderAssembler, Pickup, Sensor
from record_format import HEADER as FIELDS

LINES: list[tuple[str, tuple]] = [
    ("board", (1, "rp2-pico", "e661", "0.1.0", 1000, 30)),
    ("plan", (100000, 5000, 4000, 500000, 10000000)),
    ("sensor", (0, "meter_dp", "HSC", 0, 0x28, 5000)),
    ("channel", (0, 0, "differential_pressure", "Pa", "linear", -2.5, 2.5, 1.0, 9.0, 0, 10)),
    ("channel", (0, 1, "temperature", "Cel", "linear", -50.0, 150.0, 0.0, 7.0, 0, 7)),
    ("sensor", (1, "ambient_air", "BMP280", 1, 0x76, 500000)),
    ("channel", (1, 0, "pressure", "Pa", "bosch", 3e4, 1.1e5, 0.0, 1e6, 0, 9)),
    ("trim", (1, 0, (1, 2, -3))),
    ("trim", (1, 3, (4, 5))),
    ("pickup", (0, "blower_shaft", 15, 400)),
    ("pickup", (1, "engine_shaft", 14, 500)),
]

HEADER = Header(
    boot=4,
    seq=0,
    format=1,
    board="rp2-pico",
    board_id="e661",
    firmware="0.1.0",
    tick_ns=1000,
    tick_bits=30,
    block_us=100000,
    period_us=5000,
    jitter_us=4000,
    slow_us=500000,
    header_us=10000000,
    sensors=(
        Sensor(
            index=0,
            role="meter_dp",
            part="HSC",
            bus=0,
            address=0x28,
            period_us=5000,
            channels=(
                Channel("differential_pressure", "Pa", "linear", -2.5, 2.5, 1.0, 9.0, 0, 10),
                Channel("temperature", "Cel", "linear", -50.0, 150.0, 0.0, 7.0, 0, 7),
            ),
            trim=(),
        ),
        Sensor(
            index=1,
            role="ambient_air",
            part="BMP280",
            bus=1,
            address=0x76,
            period_us=500000,
            channels=(Channel("pressure", "Pa", "bosch", 3e4, 1.1e5, 0.0, 1e6, 0, 9),),
            trim=(1, 2, -3, 4, 5),
        ),
    ),
    pickups=(Pickup(0, "blower_shaft", 15, 400), Pickup(1, "engine_shaft", 14, 500)),
)


def records(boot: int = 4, lost: Iterable[int] = ()) -> list[Record]:
    count = len(LINES)
    return [
        Record(kind, boot, seq, (seq, count, *values))
        for seq, (kind, values) in enumerate(LINES)
        if seq not in lost
    ]


def assembled(stream: Iterable[Record]) -> list[Header]:
    assembler = HeaderAssembler()
    return [header for header in map(assembler.add, stream) if header is not None]


def test_a_header_is_there_when_its_last_line_has_come() -> None:
    assembler = HeaderAssembler()
    *first, last = records()
    block = Record("dp", 4, 99, (0,) * 12)
    assert [assembler.add(record) for record in (*first, block)] == [None] * len(LINES)
    assert assembler.add(last) == HEADER
    assert HEADER.sensor("ambient_air") is HEADER.sensors[1]
    assert HEADER.sensor("tank_air") is None


def test_each_repetition_is_a_header_again() -> None:
    assert assembled(records() * 3) == [HEADER] * 3


@pytest.mark.parametrize("lost", range(len(LINES)))
def test_a_lost_line_costs_one_header_at_most(lost: int) -> None:
    for stream in (
        records(lost=[lost]) + records(),
        records() + records(lost=[lost]) + records(),
    ):
        found = assembled(stream)
        assert set(found) == {HEADER}
        assert found[-1] == HEADER
        assert len(found) >= stream.count(records()[-1]) - 1


def test_lines_out_of_order_are_put_in_order() -> None:
    first, *others = records()
    assert assembled([first, *reversed(others)]) == [HEADER]


def test_lines_of_two_boots_are_never_mixed() -> None:
    half = len(LINES) // 2
    before, after = records(boot=4)[:half], records(boot=5)[half:]
    assert assembled([*before, *after]) == []
    assert [header.boot for header in assembled([*before, *records(boot=5)])] == [5]


def test_the_end_of_one_header_and_the_beginning_of_the_next_are_never_mixed() -> None:
    """The part was changed in between, and the first lines of the new header are lost."""
    half = len(LINES) // 2
    before = records()[: half + 1]
    after = [r._replace(seq=100 + r.seq) for r in records()[half:]]
    assert assembled([*before, *after]) == []


ODD: list[tuple[str, str, Any]] = [
    ("board", "tick_ns", 0),
    ("board", "tick_ns", -1000),
    ("board", "tick_bits", 0),
    ("board", "tick_bits", 63),
    ("board", "lines", 10**9),
    ("board", "line", -1),
    ("plan", "block_us", 0),
    ("plan", "slow_us", 0),
    ("plan", "period_us", 10**30),
    ("plan", "jitter_us", -1),
    ("channel", "count_high", 1.0),
    ("channel", "value_high", -2.5),
    ("channel", "value_low", float("nan")),
    ("channel", "count_low", float("inf")),
]


@pytest.mark.parametrize(("kind", "name", "value"), ODD)
def test_a_header_with_values_that_cannot_be_is_refused(kind: str, name: str, value: Any) -> None:
    place = [field for field, _ in FIELDS[kind]].index(name)
    odd = records()
    line = next(i for i, record in enumerate(odd) if record.kind == kind)
    values = list(odd[line].values)
    values[place] = value
    odd[line] = odd[line]._replace(values=tuple(values))
    assembler = HeaderAssembler()
    assert [assembler.add(record) for record in odd] == [None] * len(odd)
    assert assembler.malformed == 1
    assert [assembler.add(record) for record in records()][-1] == HEADER


@pytest.mark.parametrize("kind", ["board", "plan", "pickup", "channel"])
def test_a_header_without_what_every_board_has_is_refused(kind: str) -> None:
    lines = [(k, v) for k, v in LINES if k != kind]
    assembler = HeaderAssembler()
    for seq, (k, values) in enumerate(lines):
        assert assembler.add(Record(k, 4, seq, (seq, len(lines), *values))) is None
    assert assembler.malformed == 1

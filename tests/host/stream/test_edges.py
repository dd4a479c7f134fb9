"""What a record of edges stamps, and what a host can tell from it alone."""

import binascii
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.stream.decoder import Decoder, Record, as_of_today
from pullcurve.stream.edges import parts, stamps
from pullcurve.stream.header import named
from record_format import MOST_STAMPS

PERIOD = 1 << 30

intervals = st.lists(st.integers(400, 50_000), min_size=1, max_size=60)


def record(instants: list[int], stride: int) -> tuple[int, int, int, tuple[int, ...]]:
    """Edges, stride, first and steps of the edges at these ticks."""
    stamped = instants[::stride][:MOST_STAMPS]
    if (len(stamped) - 1) * stride < len(instants) - 1:
        stamped = [*stamped, instants[-1]]
    return len(instants), stride, instants[0], tuple(b - a for a, b in pairwise(stamped))


@settings(deadline=None)
@given(intervals, st.integers(1, 9), st.integers(-300, 300_000))
def test_every_stamp_is_an_edge_and_the_last_one_is_there(
    gaps: list[int], stride: int, first: int
) -> None:
    instants = [first, *(first + int(each) for each in np.cumsum(gaps))]
    number, at = stamps(*record(instants, stride))
    assert [instants[i] for i in number] == at.tolist()
    assert number[0] == 0
    assert number[-1] == len(instants) - 1


@settings(deadline=None)
@given(intervals, st.integers(1, 9), st.integers(1000, 300_000))
def test_parts_hold_every_edge_once_and_end_on_edges(
    gaps: list[int], stride: int, length: int
) -> None:
    instants = [5000, *(5000 + int(each) for each in np.cumsum(gaps))]
    extremes = (min(gaps), max(gaps))
    found = list(parts(*record(instants, stride), extremes, length))
    assert sum(part.edges for part in found) == len(instants)
    passed = np.cumsum([part.edges for part in found]) - 1
    assert [instants[i] for i in passed] == [part.last for part in found]
    assert found[0].first == instants[0]
    assert all(extremes[0] <= part.least <= part.greatest <= extremes[1] for part in found)
    for before, after in pairwise(found):
        assert before.last < after.first <= after.last


@pytest.mark.parametrize("stride", [1, 2, 3])
def test_each_part_shows_its_own_missed_and_doubled_marks(stride: int) -> None:
    """Marks 5000 ticks apart: one missed early, one seen twice late, none between."""
    marks = [5000 * i for i in range(40) if i != 6]
    instants = sorted([*marks, marks[33] + 1200])
    gaps = np.diff(instants)
    found = list(parts(*record(instants, stride), (int(gaps.min()), int(gaps.max())), 60_000))
    stamped = record(instants, stride)[3]
    if len(stamped) < MOST_STAMPS:  # else the last step holds the rest
        assert [part.greatest > 1.5 * 5000 for part in found].count(True) == 1
        assert [part.least < 0.65 * 5000 for part in found].count(True) == 1
    assert found[0].greatest == pytest.approx(10_000, rel=0.01)


def test_an_odd_interval_that_no_step_shows_came_before_the_first_edge() -> None:
    instants = [5000 * i for i in range(20)]
    first, *others = parts(*record(instants, 2), (5000, 15_000), 20_000)
    assert first.greatest == 15_000
    assert {part.greatest for part in others} == {5000}


def test_a_record_without_edges_has_no_part() -> None:
    assert list(parts(0, 1, 0, (), (0, 0), 1000)) == []


def of_version_1(kind: str, *values: int) -> list[dict[str, object]]:
    """The records of today that a line of version 1 is read as."""
    body = " ".join(str(each) for each in (kind, 3, 77, *values)).encode()
    (event,) = Decoder().feed(body + b" %08X\n" % binascii.crc32(body))
    assert isinstance(event, Record)
    today = as_of_today(event)
    assert {(each.boot, each.seq) for each in today} == {(3, 77)}
    return [{"kind": each.kind} | named(each) for each in today]


def test_a_block_of_version_1_is_a_block_and_its_edges() -> None:
    differential, turning = of_version_1(
        "block", 700, 100000, 20, 8192, -37, 1201, 8175, 8204, 1, 2, 3,
        10, 5021, 95021, 9990, 10011, 4,
    )  # fmt: skip
    assert differential == {
        "kind": "dp",
        "sensor": 0,
        "start_ticks": 700,
        "length_ticks": 100000,
        "n": 20,
        "pivot": 8192,
        "sum": -37,
        "sumsq": 1201,
        "least": 8175,
        "greatest": 8204,
        "stale": 1,
        "faulty": 2,
        "clipped": 3,
    }
    assert turning == {
        "kind": "edges",
        "pickup": 0,
        "start_ticks": 700,
        "length_ticks": 100000,
        "edges": 10,
        "rejects": 4,
        "least_interval": 9990,
        "greatest_interval": 10011,
        "stride": 9,
        "first": 4321,
        "steps": (90000,),
    }


@pytest.mark.parametrize(
    ("edges", "first", "last", "expected"),
    [
        (0, 0, 0, []),
        (1, 1000, 1000, [(0, 900)]),
        (3, 1000, 21000, [(0, 900), (2, 20900)]),
        (3, 5, 20005, [(0, -95), (2, 19905)]),  # an edge just before the record begins
        (3, PERIOD - 5, 19995, [(0, PERIOD - 105), (2, PERIOD + 19895)]),
    ],
)
def test_a_shaft_of_version_1_stamps_its_first_and_its_last_edge(
    edges: int, first: int, last: int, expected: list[tuple[int, int]]
) -> None:
    (turning,) = of_version_1("shaft", 1, 100, 500000, edges, first, last, 9000, 11000, 0)
    steps = tuple(step % PERIOD for step in turning["steps"])
    number, at = stamps(edges, turning["stride"], turning["first"], steps)
    assert list(zip(number.tolist(), at.tolist(), strict=True)) == expected


@pytest.mark.parametrize("marks", [1, 2, 4, 6])
def test_uneven_and_missed_marks_show_in_the_records_alone(marks: int) -> None:
    """Marks by hand, 12 % of a pitch off; one of fifty missed, one of a hundred seen twice.

    Of each record only what it says is used: the steps between stamps, over the run's median step
    an edge, are whole numbers of marks, give or take the unevenness. Their sum is the number of
    marks that have truly passed.
    """
    rng = np.random.default_rng(marks)
    pitch = 60e6 / 2750 / marks
    off = rng.uniform(-0.12, 0.12, marks)
    true = np.arange(1, 60 * 46 * marks)  # a minute
    at = np.round(pitch * (true + off[true % marks])).astype(int)
    kept = rng.random(len(at)) > 0.02
    twice = at[kept & (rng.random(len(at)) < 0.01)] + round(0.3 * pitch)
    edges = np.sort(np.concatenate((at[kept], twice)))
    steps_of, stride = [], 1
    for place, begin in enumerate(range(0, int(edges[-1]), 200_000)):
        inside = edges[(edges >= begin) & (edges < begin + 200_000)].tolist()
        number, ticks = stamps(*record(inside, 1 if place % 5 == 0 else stride))
        steps_of.append((np.diff(number), ticks))
        stride = len(inside) // MOST_STAMPS + 1
    typical = np.median(np.concatenate([np.diff(t) / n for n, t in steps_of]))
    passed, before = 0.0, None
    for _, ticks in steps_of:
        chained = ticks if before is None else np.concatenate(([before], ticks))
        passed += np.round(np.diff(chained) / typical).sum()
        before = ticks[-1]
    truly = np.round((edges[-1] - edges[0]) / pitch)
    assert abs(passed - truly) <= 1

"""Properties of the firmware's core, on CPython."""

from itertools import pairwise
from pathlib import Path

from checking import written
from hypothesis import given, settings
from hypothesis import strategies as st
from link_checks import Pipe, kept, lines
from sampling_checks import sampled, statistics
from tach_checks import Line

import board_config
from pullcurve.stream.edges import stamps
from record_format import DATA, FAULT, MOST_STAMPS, OK, STALE

FIRMWARE = Path(__file__).parents[2] / "firmware"


def test_the_shipped_board_json_is_sound() -> None:
    config = board_config.load((FIRMWARE / "board.json").read_text(encoding="utf-8"))
    sensors = board_config.make_sensors(config, {0: None})
    assert [sensor.role for sensor in sensors] == ["meter_dp", "ambient_air"]


counts = st.integers(0, 2**14 - 1) | st.integers(0, 2**24 - 1) | st.integers(-(2**23), 2**23 - 1)
readings = st.tuples(st.sampled_from([OK, OK, OK, STALE, FAULT]), counts)


@settings(max_examples=200, deadline=None)
@given(st.lists(readings, max_size=200))
def test_a_block_is_exact_integer_statistics(served: list) -> None:
    assert written(sampled(served).write) == statistics(served)


@settings(max_examples=200, deadline=None)
@given(
    first=st.integers(0, 2**30 - 1),
    gaps=st.lists(st.integers(400, 10**6), max_size=200),
    reads=st.sets(st.integers(0, 200)),
)
def test_every_edge_is_counted_and_placed_by_the_record_in_which_it_comes(first, gaps, reads):
    """Against the instants themselves: numbers, extreme intervals, and each stamp."""
    line = Line()
    line.clock.now = first
    line.tach.begin()
    instants = [first]
    for gap in gaps:
        instants.append(instants[-1] + gap)
    since = 0
    for i, at in enumerate(instants):
        line.edge(at)
        if i not in reads and at != instants[-1]:
            continue
        values = written(line.tach.write)
        record = dict(zip((name for name, _ in DATA["edges"][1:-1]), values, strict=False))
        of_record = instants[since : i + 1]
        intervals = [b - a for a, b in pairwise(instants[max(since - 1, 0) : i + 1])] or [0]
        assert record["edges"] == len(of_record)
        assert (record["least_interval"], record["greatest_interval"]) == (
            min(intervals),
            max(intervals),
        )
        numbers, ticks = stamps(record["edges"], record["stride"], record["first"], values[8:])
        assert [(record["start_ticks"] + t) % 2**30 for t in ticks.tolist()] == [
            of_record[n] % 2**30 for n in numbers.tolist()
        ]
        assert numbers[0] == 0
        assert numbers[-1] == len(of_record) - 1
        assert len(numbers) <= MOST_STAMPS + 1
        since = i + 1


@settings(max_examples=200, deadline=None)
@given(st.lists(st.none() | st.integers(0, 70) | st.just(-1), max_size=80))
def test_whatever_the_pipe_takes_no_line_is_torn(steps: list) -> None:
    """None puts 30 records, a number pumps once into a pipe that takes so many bytes, -1 asks
    for all of them again."""
    pipe = Pipe()
    out = b""
    for step in steps:
        if step is None:
            pipe.put(30)
        elif step < 0:
            pipe.link.turns.repeat(0, pipe.ring.next)
        else:
            pipe.room = step
            pipe.link.pump()
    pipe.room = 64
    out = pipe.drain()
    numbers = [int(line.split()[2]) for line in out.splitlines()]
    assert out == lines(numbers)
    assert len(set(numbers)) + pipe.link.turns.dropped == pipe.ring.next
    assert set(numbers) >= set(range(pipe.ring.oldest, pipe.ring.next))
    assert kept(pipe.ring) == len(range(pipe.ring.oldest, pipe.ring.next))

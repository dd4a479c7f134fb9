"""The number of marks, from their unevenness."""

import numpy as np
import pytest
from test_shaft_speed import blocks, turning

from pullcurve.checks.pickup import Pattern, pattern
from pullcurve.measure.shaft_speed import marks

HOLDS = (1.0, 0.87, 0.76, 0.94, 0.68)  # of the top speed


def seen(offsets: list[float], top_rpm: float, seed: int = 0) -> Pattern:
    """What a sweep of five holds of 18 s tells, its speed wandering."""
    generator = np.random.default_rng(seed)
    edges = np.concatenate(
        [turning(top_rpm * hold, offsets, 18.0) + 18.0 * i for i, hold in enumerate(HOLDS)]
    )
    edges = edges[np.concatenate(([True], np.diff(edges) > 1e-3))]
    wander = generator.uniform(2e-4, 1.5e-3)
    edges = edges + wander * (np.sin(edges) + 0.2 * np.sin(5 * edges + 1))
    edges = np.sort(edges + generator.normal(0, generator.uniform(1e-6, 15e-6), len(edges)))
    found = marks(blocks(edges, 90.0), len(offsets))
    told = pattern(found.interval, found.interval_mark)
    assert told is not None
    return told


def test_uneven_marks_tell_their_number_and_contradict_no_other_than_wrong_ones() -> None:
    """Marks put on by hand, uneven by 0.2 to 2 %; some of each hundred happen to be alike."""
    right, found, falsely = [], [], []
    for seed in range(30):
        generator = np.random.default_rng(seed)
        number = int(generator.integers(2, 7))
        uneven = float(np.exp(generator.uniform(np.log(0.002), np.log(0.02))))
        told = seen(list(generator.normal(0, uneven, number)), generator.uniform(1200, 2750), seed)
        right.append(told.repeats_after == number)
        falsely.append(told.contradicts(number))
        found += [
            told.contradicts(typed)
            for typed in range(1, 7)
            if typed % number  # a multiple repeats as well
        ]
    assert not any(falsely)
    assert np.mean(found) > 0.9
    assert np.mean(right) > 0.85


@pytest.mark.parametrize("number", [1, 2, 3, 5])
def test_even_marks_are_like_one(number: int) -> None:
    told = seen([0.0] * number, 2710.0)
    assert told.repeats_after == 1
    assert all(told.part_of(typed) for typed in (2, 3, 4, 6))
    assert told.part_of(1) is None
    assert not any(told.contradicts(typed) for typed in range(1, 7))


def test_marks_that_repeat_twice_a_turn_are_part_of_it() -> None:
    told = seen([0.0, 0.02, 0.0, 0.02], 2710.0)
    assert told.part_of(4) == 2
    assert told.contradicts(3)
    assert told.contradicts(1)


def test_few_intervals_tell_nothing() -> None:
    assert pattern(np.ones(20), np.arange(20.0)) is None

"""How many marks passed in each block, of shafts whose every mark is known."""

from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from pullcurve.measure.missed_marks import Blocks, Counted, count_marks, mean_pitch

BLOCK_S = 0.1
Array = NDArray[np.float64]


class Shaft(NamedTuple):
    """Times at which marks pass, in order, and how many there are on the shaft."""

    mark_s: Array
    marks_per_turn: int


class Seen(NamedTuple):
    """What the board sends of the edges; how many marks truly passed from one block's last edge to
    the next one's; and how long after its mark each last edge came."""

    blocks: Blocks
    passed: Array
    late_s: Array


def shaft(
    rpm: float, offsets: list[float], seconds: float = 12.0, jitter_s: float = 5e-6, seed: int = 0
) -> Shaft:
    """Marks at (k + offset) pitches."""
    number = len(offsets)
    turn_s = 60 / rpm
    angle = (np.arange(number) + np.array(offsets)) / number
    mark_s = (np.arange(int(seconds / turn_s))[:, None] + angle).ravel() * turn_s + 0.002
    jitter = jitter_s * np.random.default_rng(seed).standard_normal(len(mark_s))
    return Shaft(mark_s + jitter, number)


def sent(turning: Shaft, missed: Array, again: Array) -> Seen:
    """missed: marks that made no edge; again: how long after its mark a second edge came, s, 0 for
    none."""
    index = np.arange(len(turning.mark_s))
    seen = np.concatenate((index[~missed], index[again > 0]))
    at = np.concatenate((turning.mark_s[~missed], (turning.mark_s + again)[again > 0]))
    order = np.argsort(at)
    edge_s, mark = at[order], seen[order]
    place = np.floor(edge_s / BLOCK_S).astype(int)
    lasts = np.flatnonzero(np.diff(place, append=place[-1] + 1))
    firsts = np.concatenate(([0], lasts[:-1] + 1))
    interval = np.diff(edge_s, prepend=-np.inf)
    parts = [interval[first : last + 1] for first, last in zip(firsts, lasts, strict=True)]
    blocks = Blocks(
        number=(lasts - firsts + 1).astype(float),
        since_s=np.diff(edge_s[lasts], prepend=-np.inf),
        least_s=np.array([part.min() for part in parts]),
        greatest_s=np.array([part.max() for part in parts]),
        first_s=interval[firsts],
    )
    passed = np.diff(mark[lasts], prepend=-1).astype(float)
    return Seen(blocks, passed, edge_s[lasts] - turning.mark_s[mark[lasts]])


def counted(seen: Seen, marks_per_turn: int) -> Counted:
    known = np.arange(len(seen.passed)) > 0  # of the first block nothing came before
    return count_marks(seen.blocks, known, marks_per_turn)


def none_of(turning: Shaft) -> tuple[NDArray[np.bool_], Array]:
    return np.zeros(len(turning.mark_s), dtype=bool), np.zeros(len(turning.mark_s))


UNEVEN = [0.0, 0.012, -0.02, 0.015]


@pytest.mark.parametrize("rpm", [640.0, 1390.0, 2310.0])
@pytest.mark.parametrize("number", [1, 2, 4])
def test_marks_that_are_all_seen_are_the_edges(rpm: float, number: int) -> None:
    turning = shaft(rpm, UNEVEN[:number])
    seen = sent(turning, *none_of(turning))
    found = counted(seen, number)
    np.testing.assert_array_equal(found.passed[1:], seen.passed[1:])
    assert np.isnan(found.passed[0])
    assert not found.late_s.any()
    assert not found.doubt.any()


@pytest.mark.parametrize("rpm", [1390.0, 2310.0])
@pytest.mark.parametrize("offsets", [UNEVEN[:1], UNEVEN[:2], UNEVEN])
def test_missed_marks_are_counted_where_they_passed(rpm: float, offsets: list[float]) -> None:
    """One in twelve by chance."""
    turning = shaft(rpm, offsets)
    missed, again = none_of(turning)
    missed = np.random.default_rng(2).random(len(missed)) < 1 / 12
    seen = sent(turning, missed, again)
    found = counted(seen, len(offsets))
    np.testing.assert_array_equal(found.passed[1:], seen.passed[1:])
    assert missed.sum() > 20


def test_a_mark_that_is_missed_in_every_other_turn_is_counted() -> None:
    """The second of four."""
    turning = shaft(1390.0, UNEVEN)
    missed, again = none_of(turning)
    missed[1::8] = True
    seen = sent(turning, missed, again)
    np.testing.assert_array_equal(counted(seen, 4).passed[1:], seen.passed[1:])


@pytest.mark.parametrize("offsets", [UNEVEN[:1], UNEVEN[:2], UNEVEN])
def test_marks_that_are_seen_twice_are_counted_once(offsets: list[float]) -> None:
    """One in twenty, the far edge of the tape 0.8 ms behind the near one."""
    turning = shaft(1390.0, offsets)
    missed, again = none_of(turning)
    twice = np.random.default_rng(4).random(len(again)) < 0.05
    again[twice] = 0.8e-3
    seen = sent(turning, missed, again)
    found = counted(seen, len(offsets))
    np.testing.assert_array_equal(found.passed[1:], seen.passed[1:])
    assert twice.sum() > 5


def test_a_block_that_ends_with_a_second_edge_is_put_back_to_its_mark() -> None:
    """The second edge came 4 ms after the mark, of a pitch of 21.6 ms."""
    turning = shaft(1390.0, [0.0, 0.0], jitter_s=0.0)
    missed, again = none_of(turning)
    again[::37] = 4e-3
    seen = sent(turning, missed, again)
    found = counted(seen, 2)
    assert (seen.late_s[:-1] > 0).sum() >= 5
    # Of the last block no next one tells.
    np.testing.assert_allclose(found.late_s[1:-1], seen.late_s[1:-1], atol=2e-5)
    np.testing.assert_array_equal(found.passed[1:-1], seen.passed[1:-1])


def test_a_gap_of_some_turns_is_left_out_and_what_is_around_it_is_right() -> None:
    """Nothing for 0.7 s: more than half a second is no interval to be counted."""
    turning = shaft(1390.0, UNEVEN[:2])
    missed, again = none_of(turning)
    missed[(turning.mark_s > 5.03) & (turning.mark_s < 5.73)] = True
    seen = sent(turning, missed, again)
    found = counted(seen, 2)
    gap = seen.blocks.greatest_s > 0.5
    assert gap[1:].sum() == 1
    np.testing.assert_array_equal(np.isnan(found.passed), gap)
    np.testing.assert_array_equal(found.passed[~gap], seen.passed[~gap])


def test_what_is_not_known_is_not_counted() -> None:
    turning = shaft(1390.0, UNEVEN[:2])
    seen = sent(turning, *none_of(turning))
    known = np.arange(len(seen.passed)) > 0
    known[40:44] = False
    found = count_marks(seen.blocks, known, 2)
    np.testing.assert_array_equal(np.isnan(found.passed), ~known)
    nothing = count_marks(seen.blocks, np.zeros_like(known), 2)
    assert np.isnan(nothing.passed).all()


def test_edges_that_are_all_alike_say_nothing_of_a_wrong_number_of_marks() -> None:
    """Marks are counted, not turns: a rig that says 3 of 2 marks changes no count."""
    turning = shaft(1390.0, UNEVEN[:2])
    seen = sent(turning, *none_of(turning))
    np.testing.assert_array_equal(counted(seen, 3).passed[1:], seen.passed[1:])


def test_a_mark_that_is_hardly_ever_seen_leaves_a_doubt_that_holds_the_truth() -> None:
    """One of two marks in 3 of 100 turns, the other in half of them: whichever number of marks is
    believed, the doubt reaches the other."""
    turning = shaft(1450.0, [0.0, 0.01], seconds=20.0)
    chance = np.resize([0.5, 0.97], len(turning.mark_s))
    missed = np.random.default_rng(3).random(len(chance)) < chance
    seen = sent(turning, missed, np.zeros(len(chance)))
    found = counted(seen, 2)
    ratio = np.nansum(found.passed) / np.nansum(np.where(np.isnan(found.passed), 0, seen.passed))
    assert abs(1 / ratio - 1) <= found.doubt.max() + 1e-3


def test_the_pitch_is_seconds_over_marks_of_eleven_blocks() -> None:
    since_s, passed = np.full(40, 0.1), np.full(40, 4.0)
    passed[20] = 8.0
    pitch = mean_pitch(since_s, passed)
    assert pitch[10] == pytest.approx(0.025)
    assert pitch[[15, 20, 25]] == pytest.approx(1.1 / 48)
    assert pitch[26] == pytest.approx(0.025)
    passed[20] = np.nan
    assert mean_pitch(since_s, passed) == pytest.approx(0.025)

"""What is asked for again, on a link that loses anything, against a board that has a memory."""

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.stream.gaps import ANSWER_WITHIN_S, TRIES, Gaps
from record_format import MOST_AGAIN, encode, wanted


def line(boot: int, seq: int) -> bytes:
    if seq == 0:
        return bytes(encode("event", boot, 0, (0, "start", "", 1, "")))
    return bytes(encode("slow", boot, seq, (0, seq, 0, (seq,))))


def lines(boot: int, *numbers: int) -> bytes:
    return b"".join(line(boot, seq) for seq in numbers)


def gone(boot: int, seq: int, oldest: int) -> bytes:
    return bytes(encode("event", boot, seq, (0, "gone", "usb", oldest, "")))


def test_a_gap_is_asked_for_at_once_and_only_once() -> None:
    gaps = Gaps()
    gaps.feed(lines(3, 500, 501))
    assert gaps.due(0.0) == b""  # a log may start anywhere
    gaps.feed(lines(3, 504))
    assert gaps.due(0.1) == b"again 3 502 504\n"
    assert (gaps.due(0.2), gaps.wanted) == (b"", 2)
    gaps.feed(lines(3, 502, 505, 503))
    assert (gaps.due(0.3), gaps.wanted, gaps.given_up) == (b"", 0, 0)


def test_an_answer_that_does_not_come_is_asked_for_again_and_then_given_up() -> None:
    gaps = Gaps()
    gaps.feed(lines(3, 1, 5))
    asked = 0
    for tenth in range(600):
        gaps.feed(lines(3, 6 + tenth))
        asked += bool(gaps.due(tenth / 10))
    assert (asked, gaps.wanted, gaps.given_up) == (TRIES, 0, 3)


def test_while_nothing_comes_at_all_nothing_is_given_up() -> None:
    gaps = Gaps()
    gaps.feed(lines(3, 1, 5))
    asked = [gaps.due(tenth / 10) for tenth in range(600)]
    assert len([each for each in asked if each]) >= 600 / 10 / ANSWER_WITHIN_S - 1
    assert (gaps.wanted, gaps.given_up) == (3, 0)


def test_a_start_within_the_recording_is_wanted_from_its_first_record_on() -> None:
    gaps = Gaps()
    gaps.feed(lines(3, 100, 103) + lines(4, 30))
    assert gaps.given_up == 2  # of the start before, which the board has forgotten
    assert gaps.due(0.0) == b"again 4 1 %d\n" % (1 + MOST_AGAIN)
    gaps.feed(gone(4, 31, 20))
    assert (gaps.wanted, gaps.given_up) == (10, 2 + 19)
    assert gaps.due(0.1) == b"again 4 20 30\n"


def test_a_board_with_full_flash_starts_under_its_old_number() -> None:
    gaps = Gaps()
    gaps.feed(lines(3, 100, 103) + lines(3, 0, 1, 2))
    assert (gaps.due(0.0), gaps.wanted, gaps.given_up) == (b"", 0, 2)
    gaps.feed(lines(3, 5))
    assert gaps.due(0.1) == b"again 3 3 5\n"


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    lost_share=st.sampled_from([0.0, 0.05, 0.4]),
    outage=st.tuples(st.integers(1, 100), st.integers(0, 150)),
    memory=st.integers(30, 300),
)
def test_whatever_is_lost_comes_again_or_is_given_up(
    seed: int, lost_share: float, outage: tuple[int, int], memory: int
) -> None:
    """The board repeats what is within its memory; requests and answers may be lost too."""
    dice = Random(seed)  # noqa: S311  (repeatable losses, not a secret)
    gaps = Gaps()
    got: set[int] = set()
    seq, answer = 0, []

    def heard(said: bytes, numbers: list[int]) -> None:
        if not down and dice.random() >= share:
            gaps.feed(said)
            got.update(numbers)

    for step in range(600):
        share = lost_share if step < 300 else 0.0  # the link has become good
        down = outage[0] <= step < outage[0] + outage[1]
        if step == outage[0]:
            gaps.lose()
        heard(line(1, seq), [seq])
        seq += 1
        if answer and answer[0] < seq - memory:
            oldest = seq - memory
            heard(gone(1, seq, oldest), [seq])
            seq += 1
            answer = [number for number in answer if number >= oldest]
        for number in answer[:MOST_AGAIN]:
            heard(line(1, number), [number])
        answer = []
        if not down and (request := gaps.due(step * 0.1)) and dice.random() >= share:
            asked = wanted(request)
            assert asked is not None
            assert asked[0] == 1
            assert 0 < asked[2] - asked[1] <= MOST_AGAIN
            answer = list(range(asked[1], asked[2]))
    first = min(got)
    missing = set(range(first, seq)) - got
    assert gaps.wanted == 0
    assert len(missing) == gaps.given_up
    if outage[1] < 10 and lost_share < 0.1 and memory > 200:
        assert not missing

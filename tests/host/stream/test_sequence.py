"""Starts, gaps, duplicates and late records, against counting over the whole stream."""

from random import Random

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pullcurve.stream.decoder import Record
from pullcurve.stream.sequence import FAR, REMEMBERED, SequenceCheck

SEEDS = st.integers(0, 2**32)
HEADER_LINES = range(2, 6)  # in every start the same


def record(boot: int, seq: int, tick: int = 0) -> Record:
    return Record("slow", boot, seq, (0, tick, 0, ()))


def check(*pairs: tuple[int, int]) -> tuple[SequenceCheck, list[bool]]:
    sequence = SequenceCheck()
    return sequence, [bool(sequence.accept(record(*pair))) for pair in pairs]


def started(boot: int, start: int, first: int, beyond: int) -> list[Record]:
    """What one start of a board sends, from one number on."""
    kinds = {0: Record("event", boot, 0, (0, "start", "", 1, ""))}
    kinds |= {seq: Record("trim", boot, seq, (seq, 30, 0, 0, (1, 2))) for seq in HEADER_LINES}
    return [kinds.get(seq, record(boot, seq, 1000 * start + seq)) for seq in range(first, beyond)]


def places(sequence: SequenceCheck, stream: list[Record]) -> list[int]:
    """Which start each record belongs to, when all have come; 0 for a copy."""
    keys = [sequence.accept(each) for each in stream]
    return [sequence.starts().get(key, 0) for key in keys]


def test_a_gap_is_missing_until_its_records_come_late() -> None:
    sequence, new = check((3, 10), (3, 11), (3, 15), (3, 13), (3, 15), (3, 13))
    assert new == [True, True, True, True, False, False]
    assert sequence.missing() == {1: [range(12, 13), range(14, 15)]}
    assert (sequence.missing_count, sequence.late, sequence.duplicates) == (2, 1, 2)


def test_a_log_may_start_anywhere_and_the_board_may_start_anew() -> None:
    sequence, new = check((7, 500), (7, 501), (8, 0), (8, 1), (7, 502))
    assert all(new)
    assert sequence.boots == [7, 8]
    assert (sequence.missing_count, sequence.late, sequence.duplicates) == (0, 0, 0)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 2), st.integers(0, 25)), max_size=60))
def test_every_stream_is_counted_as_a_set_would(pairs: list[tuple[int, int]]) -> None:
    sequence, new = check(*pairs)
    seen: set[tuple[int, int]] = set()
    for pair, accepted in zip(pairs, new, strict=True):
        assert accepted == (pair not in seen)
        seen.add(pair)
    assert sequence.duplicates == len(pairs) - len(seen)
    assert sequence.received == len(seen)
    boots = sequence.boots
    missing = {
        (boots[start - 1], seq)
        for start, gaps in sequence.missing().items()
        for numbers in gaps
        for seq in numbers
    }
    spans = {boot: sorted(seq for b, seq in seen if b == boot) for boot, _ in seen}
    assert missing == {
        (boot, seq)
        for boot, seqs in spans.items()
        for seq in range(seqs[0], seqs[-1])
        if seq not in seqs
    }
    assert sequence.missing_count == len(missing)


@settings(max_examples=200, deadline=None)
@given(
    lengths=st.lists(st.integers(2, 200), min_size=1, max_size=5),
    first=st.just(0) | st.integers(FAR + 1, 300),
    boots=st.lists(st.integers(1, 2), min_size=5, max_size=5),
    seed=SEEDS,
    lost_share=st.sampled_from([0.0, 0.1, 0.4]),
)
def test_starts_with_one_number_are_told_apart(
    lengths: list[int], first: int, boots: list[int], seed: int, lost_share: float
) -> None:
    """Whatever else is lost, when the event with which a start begins and one more have come."""
    dice = Random(seed)  # noqa: S311  (repeatable losses, not a secret)
    stream: list[Record] = []
    truth: list[int] = []
    for start, (length, boot) in enumerate(zip(lengths, boots, strict=False), start=1):
        begin = first if start == 1 else 0
        sent = started(boot, start, begin, begin + length)
        kept = [*sent[:2], *(each for each in sent[2:] if dice.random() >= lost_share)]
        stream += kept
        truth += [start] * len(kept)
    sequence = SequenceCheck()
    assert places(sequence, stream) == truth
    assert sequence.boots == boots[: len(lengths)]
    assert (sequence.late, sequence.duplicates) == (0, 0)
    assert sequence.received == len(stream)


@settings(max_examples=200, deadline=None)
@given(
    first=st.integers(0, 200),
    length=st.integers(FAR + 1, 200),
    again=st.integers(1, 100),
    seen=st.integers(1, 100),
)
def test_a_new_start_is_seen_without_its_first_records(
    first: int, length: int, again: int, seen: int
) -> None:
    """By the fall of the numbers, or by another record under a number that was there."""
    differs = first <= again < first + length and again not in HEADER_LINES
    assume(again < min(first, first + length - FAR) or differs)
    before = started(1, 1, first, first + length)
    after = started(1, 2, again, again + seen)
    found = places(SequenceCheck(), before + after)
    assert found == [1] * len(before) + [2] * len(after)


@settings(max_examples=200, deadline=None)
@given(
    first=st.integers(0, 3) | st.integers(100, 2000),
    seed=SEEDS,
    reach=st.integers(0, 20),
    lost_share=st.sampled_from([0.0, 0.1, 0.3]),
    copies=st.integers(0, 30),
)
def test_records_out_of_order_and_copies_are_no_start(
    first: int, seed: int, reach: int, lost_share: float, copies: int
) -> None:
    dice = Random(seed)  # noqa: S311  (repeatable disorder, not a secret)
    sent = started(1, 1, first, first + 300)
    kept = [each for each in sent if dice.random() >= lost_share]
    stream = sorted(kept, key=lambda each: each.seq + dice.uniform(0, reach))
    for _ in range(copies):
        at = dice.randrange(len(stream))
        stream.insert(dice.randint(at + 1, len(stream)), stream[at])
    stream.append(record(1, first + 300, 5))
    sequence = SequenceCheck()
    assert set(places(sequence, stream)) <= {0, 1}
    assert sequence.boots == [1]
    numbers = {each.seq for each in stream}
    assert sequence.received == len(numbers)
    assert sequence.duplicates == len(stream) - len(numbers)
    assert sequence.missing_count == max(numbers) - min(numbers) + 1 - len(numbers)


@settings(max_examples=100, deadline=None)
@given(begin=st.integers(1, 150), length=st.integers(1, FAR), copied=st.integers(0, FAR))
def test_a_piece_that_comes_long_after_its_place_is_no_start(
    begin: int, length: int, copied: int
) -> None:
    """A gap is filled far behind, and then an older piece is repeated whole."""
    sent = started(1, 1, 0, 400)
    gap = sent[begin : begin + length]
    stream = [*sent[:begin], *sent[begin + length : 300], *gap, *sent[300:350]]
    stream += sent[:copied] + sent[350:]
    sequence = SequenceCheck()
    found = places(sequence, stream)
    assert set(found) <= {0, 1}
    assert sequence.boots == [1]
    assert (sequence.missing_count, sequence.received) == (0, 400)
    assert (sequence.late, sequence.duplicates) == (length, copied)


@settings(max_examples=200, deadline=None)
@given(
    first=st.integers(0, 2000),
    outage=st.integers(1, 600),
    batch=st.integers(1, 40),
    seed=SEEDS,
)
def test_what_is_repeated_on_request_is_no_start(
    first: int, outage: int, batch: int, seed: int
) -> None:
    """A long gap is filled in pieces, new records between them, some of both lost."""
    dice = Random(seed)  # noqa: S311
    sent = started(1, 1, first, first + 60 + outage + 700)
    stream = sent[:60]
    again, live = sent[60 : 60 + outage], sent[60 + outage :]
    while again:
        stream.append(live.pop(0))
        stream += [each for each in again[:batch] if dice.random() > 0.1]
        again = again[batch:]
    stream += live
    sequence = SequenceCheck()
    assert set(places(sequence, stream)) == {1}
    assert (sequence.boots, sequence.duplicates) == ([1], 0)
    assert sequence.missing_count == len(sent) - len(stream)


def test_the_first_records_of_a_later_start_come_late() -> None:
    """All but number 0; the host was not there yet when they were sent."""
    one, two = started(1, 1, 0, 300), started(2, 2, 0, 400)
    stream = [*one, *two[200:203]]
    for place in range(1, 200, 16):
        stream += [*two[place : min(place + 16, 200)], two[203 + place // 16]]
    sequence = SequenceCheck()
    assert places(sequence, stream) == [1] * 300 + [2] * (len(stream) - 300)
    assert sequence.boots == [1, 2]
    assert sequence.missing_count == 0


def test_memory_does_not_grow_with_a_run() -> None:
    """Records that are lost, late and doubled; then a start under the same number."""
    dice = Random(5)  # noqa: S311
    sequence = SequenceCheck()
    length = 6 * REMEMBERED
    stream = sorted(
        (each for each in range(7, length) if dice.random() > 0.02),
        key=lambda seq: seq + (dice.random() < 0.01) * dice.uniform(0, 1200),
    )
    assert {sequence.accept(record(1, seq)) for seq in stream} == {1}
    assert [sequence.accept(record(1, seq)) for seq in stream[-50:]] == [0] * 50
    (start,) = sequence._starts.values()
    assert len(start.said) <= 2 * REMEMBERED
    missing = sequence.missing()[1]
    lost = set(range(stream[0], max(stream))) - set(stream)
    assert {seq for gap in missing for seq in gap} == lost
    assert (sequence.missing_count, sequence.received) == (len(lost), len(stream))
    assert {sequence.accept(record(1, seq, tick=1)) for seq in range(100, 400)} == {2}
    assert sequence.boots == [1, 1]

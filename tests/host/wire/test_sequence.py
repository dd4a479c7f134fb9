"""Gaps, duplicates and late records, against counting over the whole stream."""

from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.wire.decoder import Record
from pullcurve.wire.sequence import SequenceCheck


def record(boot: int, seq: int) -> Record:
    return Record("slow", boot, seq, (0, 0, 0, ()))


def check(*pairs: tuple[int, int]) -> tuple[SequenceCheck, list[bool]]:
    sequence = SequenceCheck()
    return sequence, [sequence.accept(record(*pair)) for pair in pairs]


def test_a_gap_is_missing_until_its_records_come_late() -> None:
    sequence, new = check((3, 10), (3, 11), (3, 15), (3, 13), (3, 15), (3, 13))
    assert new == [True, True, True, True, False, False]
    assert sequence.missing() == {3: [range(12, 13), range(14, 15)]}
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
    missing = {(boot, seq) for boot, gaps in sequence.missing().items() for r in gaps for seq in r}
    spans = {boot: sorted(seq for b, seq in seen if b == boot) for boot, _ in seen}
    assert missing == {
        (boot, seq)
        for boot, seqs in spans.items()
        for seq in range(seqs[0], seqs[-1])
        if seq not in seqs
    }
    assert sequence.missing_count == len(missing)

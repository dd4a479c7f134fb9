"""The decoder: the golden table, and whatever a bad link makes of it."""

import binascii
import string

import pytest
from golden_records import GOLDEN
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pullcurve.stream.decoder import (
    LONGEST_LINE,
    Decoder,
    Event,
    Record,
    Rejected,
    decode_line,
    unquote,
)
from record_format import DECIMAL, INT, INTS, LIMIT, RECORDS, WORD, encode, quote

LINES = [line for *_, line in GOLDEN]
STREAM = b"".join(LINES)


def crc32_bit_by_bit(data: bytes) -> int:
    """ISO 3309: polynomial 04C11DB7, bits of each byte reversed, register and result inverted."""
    register = 0xFFFFFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = register >> 1 ^ (0xEDB88320 if register & 1 else 0)
    return register ^ 0xFFFFFFFF


def expected(kind: str, boot: int, seq: int, values: tuple) -> Record:
    forms = [form for _, form in RECORDS[kind]]
    return Record(
        kind,
        boot,
        seq,
        tuple(
            float(value) if form == DECIMAL else value
            for form, value in zip(forms, values, strict=True)
        ),
    )


RECORDS_OF_STREAM = [expected(*entry[:4]) for entry in GOLDEN]


def fed(*chunks: bytes) -> list[Event]:
    decoder = Decoder()
    events = [event for chunk in chunks for event in decoder.feed(chunk)]
    return events + decoder.close()


def cut(data: bytes, places: list[int]) -> list[bytes]:
    ends = sorted(places)
    return [data[a:b] for a, b in zip([0, *ends], [*ends, len(data)], strict=True)]


def test_every_kind_is_in_the_golden_table() -> None:
    assert {entry[0] for entry in GOLDEN} == set(RECORDS)


@pytest.mark.parametrize("entry", GOLDEN, ids=lambda entry: entry[0])
def test_a_golden_line_is_its_record(entry: tuple) -> None:
    kind, boot, seq, values, line = entry
    # Check value of this CRC-32 in the catalogue of parametrised CRC algorithms (CRC-32/ISO-HDLC).
    assert crc32_bit_by_bit(b"123456789") == 0xCBF43926
    assert crc32_bit_by_bit(line[:-10]) == int(line[-9:-1], 16)
    assert len(line) < LIMIT
    assert set(line[:-1]) <= set(range(32, 127))
    assert fed(line) == [expected(kind, boot, seq, values)]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, len(STREAM)), max_size=40))
def test_chunks_do_not_matter(places: list[int]) -> None:
    assert fed(*cut(STREAM, places)) == RECORDS_OF_STREAM


def test_one_byte_at_a_time_behind_junk_and_with_carriage_returns() -> None:
    junk = b"\x00\xff  MPY: soft reboot\r\nTraceback:\r\n"
    data = junk + STREAM.replace(b"\n", b"\r\n")
    events = fed(*(data[i : i + 1] for i in range(len(data))))
    assert events == fed(data)
    assert [event.reason for event in events[:2]] == ["foreign", "foreign"]
    assert events[2:] == RECORDS_OF_STREAM


# Bytes that look like records often enough to go deep into the decoder.
pieces = st.one_of(
    st.binary(max_size=40),
    st.sampled_from(LINES),
    st.sampled_from(LINES).flatmap(lambda line: st.integers(0, len(line)).map(lambda n: line[:n])),
    st.sampled_from([b"\n", b"\r", b" ", b"block ", b"slow 1 2 3", b"x" * LONGEST_LINE]),
)
streams = st.lists(pieces, max_size=30).map(b"".join)


@settings(max_examples=150, deadline=None)
@given(streams, st.data())
def test_any_bytes_are_harmless_and_cost_bounded_memory(data: bytes, draw: st.DataObject) -> None:
    places = draw.draw(st.lists(st.integers(0, len(data)), max_size=20))
    decoder = Decoder()
    events = []
    for chunk in cut(data, places):
        events += decoder.feed(chunk)
        assert len(decoder._buffer) < LONGEST_LINE
    assert events + decoder.close() == fed(data)
    sound = set(RECORDS_OF_STREAM)
    assert all(event in sound for event in events if isinstance(event, Record))


def sound_records(data: bytes) -> list[Record]:
    return [event for event in fed(data) if isinstance(event, Record)]


LINE_OF_BYTE = [i for i, line in enumerate(LINES) for _ in line]


def without_line_of(place: int) -> list[Record]:
    lost = LINE_OF_BYTE[place]
    return RECORDS_OF_STREAM[:lost] + RECORDS_OF_STREAM[lost + 1 :]


@pytest.mark.parametrize("first", range(16))
def test_one_damaged_byte_costs_its_own_line_alone(first: int) -> None:
    """Every byte of the stream in turn. A damaged newline within it costs nothing."""
    for place in range(first, len(STREAM) - 1, 16):
        whole = STREAM[place]
        others = {ord("\n"), ord("\r"), ord(" "), whole ^ 1, whole ^ 0x80} - {whole}
        left = RECORDS_OF_STREAM if whole == ord("\n") else without_line_of(place)
        for byte in others:
            assert sound_records(STREAM[:place] + bytes([byte]) + STREAM[place + 1 :]) == left


@settings(max_examples=100, deadline=None)
@given(st.integers(0, len(STREAM) - 2))
def test_one_missing_byte_costs_its_own_line_alone(place: int) -> None:
    assert sound_records(STREAM[:place] + STREAM[place + 1 :]) == without_line_of(place)


@settings(max_examples=60, deadline=None)
@given(st.permutations(range(len(LINES))), st.lists(st.integers(0, len(LINES)), max_size=6))
def test_order_and_repeats_are_left_to_the_sequence_check(order: list, again: list) -> None:
    order = list(order)
    for place in again:
        order.insert(place, order[place % len(order)])
    assert fed(b"".join(LINES[i] for i in order)) == [RECORDS_OF_STREAM[i] for i in order]


def test_a_stream_that_starts_and_ends_within_lines() -> None:
    events = fed(STREAM[5:-3])
    assert events[0] == Rejected("foreign", LINES[0][5:-1])
    assert events[1:-1] == RECORDS_OF_STREAM[1:-1]
    assert events[-1] == Rejected("truncated", LINES[-1][:-3])


def with_crc(body: bytes) -> bytes:
    return body + b" %08X" % binascii.crc32(body)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"", "foreign"),
        (b"Traceback (most recent call last):", "foreign"),
        (b"block 1 2 3", "truncated"),
        (LINES[0][:-2] + b"0", "bad_crc"),
        (LINES[0][:-1].lower(), "truncated"),
        (with_crc(b"gust 1 2 3"), "unknown_kind"),
        (with_crc(b"pickup 1 12 11 29 0 blower_shaft 15"), "malformed"),
        (with_crc(b"pickup 1 12 11 29 0 blower_shaft 15 400 1"), "malformed"),
        (with_crc(b"pickup 1 12 11 29 0 blower_shaft 15 4x0"), "malformed"),
        (with_crc(b"slow 1 16 1 123456 0 415148 -"), "malformed"),
        (with_crc(b"slow 1 16 1 123456"), "malformed"),
    ],
)
def test_what_is_wrong_with_a_line(line: bytes, reason: str) -> None:
    assert decode_line(line) == Rejected(reason, line)


texts = st.text(st.characters(exclude_categories=["Cs"]))
awkward = st.text(st.sampled_from("-+% 20DE\n\t\x7f\x80\xe9\U0001f300"), max_size=12)


@settings(max_examples=200, deadline=None)
@given(texts | awkward)
def test_quoting_is_undone(text: str) -> None:
    field = quote(text)
    assert field
    assert set(field) <= set(string.printable) - set(string.whitespace)
    assert unquote(field) == text


VALUES = {
    INT: st.integers(-(2**60), 2**60),
    DECIMAL: st.decimals(allow_nan=False, allow_infinity=False, places=4).map(str),
    WORD: texts | awkward,
    INTS: st.lists(st.integers(-(2**24), 2**24), max_size=12).map(tuple),
}


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(RECORDS)), st.data())
def test_what_is_encoded_is_decoded(kind: str, draw: st.DataObject) -> None:
    values = tuple(draw.draw(VALUES[form]) for _, form in RECORDS[kind])
    boot, seq = draw.draw(st.integers(0, 2**24 - 1)), draw.draw(st.integers(0, 2**30))
    try:
        line = encode(kind, boot, seq, values)
    except ValueError:  # too long
        assume(False)
    assert len(line) <= LIMIT
    assert fed(line) == [expected(kind, boot, seq, values)]


def test_a_record_beyond_the_limit_is_refused() -> None:
    with pytest.raises(ValueError, match=r"event record of 18[1-9] bytes, limit 180"):
        encode("event", 1, 2, (3, "config", "", 0, "x" * 150))

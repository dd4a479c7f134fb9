"""Bytes in, records out. Knows no port, file or clock.

A line that is damaged, truncated, foreign or too long costs itself alone and comes out as
`Rejected` with its reason. When a damaged newline has joined two lines, a whole record
within the joined line is still found: its CRC vouches for it.
"""

import binascii
import re
from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

import record_format
from pullcurve.stream import version_1
from record_format import LIMIT, RECORDS

READABLE = RECORDS | version_1.KINDS  # kinds of every version
VERSIONS = (1, record_format.FORMAT_VERSION)

LONGEST_LINE = 4 * LIMIT

Value = int | float | str | tuple[int, ...]
Kinds = Mapping[str, tuple[tuple[str, str], ...]]


class Record(NamedTuple):
    """One record; `values` stand in the order of the kind's field table."""

    kind: str
    boot: int
    seq: int
    values: tuple[Value, ...]


def as_of_today(record: Record) -> tuple[Record, ...]:
    """The records of today's version that say what this one says, with its number."""
    if record.kind not in version_1.KINDS:
        return (record,)
    today = version_1.as_of_today(record.kind, record.values)
    return tuple(record._replace(kind=kind, values=values) for kind, values in today)


class Rejected(NamedTuple):
    """A line that is no record.

    `reason` is one of: foreign (does not begin like a record), truncated (begins like one
    but does not end in a CRC), bad_crc, unknown_kind (a sound line of a kind that this
    version does not know), malformed (a sound line whose fields are not those of its kind).
    """

    reason: str
    line: bytes


Event = Record | Rejected

_SHAPE = re.compile(rb"([a-z]+) (\d+) (\d+)((?: [!-~]+)*) ([0-9A-F]{8})")
_ESCAPE = re.compile(rb"%([0-9A-F]{2})")


def unquote(text: str) -> str:
    """The text of a WORD field; the inverse of `record_format.quote`."""
    if text == "-":
        return ""
    plain = text.replace("+", " ").encode("ascii")
    return _ESCAPE.sub(lambda m: bytes([int(m[1], 16)]), plain).decode("utf-8", "replace")


_READERS: dict[str, Callable[[str], int | float | str]] = {
    record_format.INT: int,
    record_format.DECIMAL: float,
    record_format.WORD: unquote,
}


# The short way for blocks.
_INTEGERS_ONLY = frozenset(
    kind for kind, fields in READABLE.items() if {form for _, form in fields} == {record_format.INT}
)


def _values(kind: str, texts: list[str], kinds: Kinds) -> tuple[Value, ...] | None:
    fields = kinds[kind]
    tail = fields[-1][1] == record_format.INTS
    if len(texts) < len(fields) - tail or (len(texts) > len(fields) and not tail):
        return None
    try:
        if kind in _INTEGERS_ONLY and kinds is READABLE:
            return tuple(map(int, texts))
        values: list[Value] = [
            _READERS[form](text)
            for (_, form), text in zip(fields, texts, strict=False)
            if form != record_format.INTS
        ]
        if tail:
            values.append(tuple(map(int, texts[len(fields) - 1 :])))
    except ValueError:
        return None
    return tuple(values)


def decode_line(line: bytes, kinds: Kinds = READABLE) -> Event:
    """One line, without its newline, as a record or as what is wrong with it."""
    match = _SHAPE.fullmatch(line)
    if match is None:
        known = line.split(b" ", 1)[0].decode("ascii", "replace") in kinds
        return Rejected("truncated" if known else "foreign", line)
    if binascii.crc32(line[:-9]) != int(match[5], 16):
        return Rejected("bad_crc", line)
    kind = match[1].decode("ascii")
    if kind not in kinds:
        return Rejected("unknown_kind", line)
    values = _values(kind, match[4].decode("ascii").split(), kinds)
    if values is None:
        return Rejected("malformed", line)
    return Record(kind, int(match[2]), int(match[3]), values)


class Decoder:
    """Cuts a stream of bytes into lines and decodes them.

    The events do not depend on how the stream was cut into chunks.
    """

    def __init__(self, kinds: Kinds = READABLE) -> None:
        self._kinds = kinds
        self._starts = re.compile(rb"(?:%s) " % b"|".join(kind.encode("ascii") for kind in kinds))
        self._buffer = bytearray()

    def feed(self, data: bytes) -> list[Event]:
        """The events of every line that `data` completes."""
        self._buffer += data
        return [event for line in self._lines() for event in self._decode(line)]

    def close(self) -> list[Event]:
        """The events of what is left when the stream has ended without a newline."""
        line = bytes(self._buffer)
        self._buffer.clear()
        return list(self._decode(line)) if line else []

    def _lines(self) -> Iterator[bytes]:
        buffer = self._buffer
        begin = 0
        while True:
            end = buffer.find(b"\n", begin, begin + LONGEST_LINE)
            if end >= 0:
                yield bytes(buffer[begin:end])
                begin = end + 1
            elif len(buffer) - begin >= LONGEST_LINE:
                yield bytes(buffer[begin : begin + LONGEST_LINE])
                begin += LONGEST_LINE
            else:
                del buffer[:begin]
                return

    def _decode(self, line: bytes) -> Iterator[Event]:
        event = decode_line(line.removesuffix(b"\r"), self._kinds)
        if isinstance(event, Record) or event.reason in ("unknown_kind", "malformed"):
            yield event
            return
        for match in self._starts.finditer(line, 1):
            found = decode_line(line[match.start() :], self._kinds)
            if isinstance(found, Record):
                # The byte ahead may be all that was damaged: a newline.
                ahead = decode_line(line[: match.start() - 1], self._kinds)
                yield (
                    ahead
                    if isinstance(ahead, Record)
                    else Rejected(ahead.reason, line[: match.start()])
                )
                yield found
                return
        yield event

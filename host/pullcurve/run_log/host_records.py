"""The host's own records in a run log, in the board's format."""

from collections.abc import Iterator

from record_format import INT, WORD, quote

LOG_FORMAT = 1

HOST_RECORDS = {
    # The first line of every log.
    "runlog": (("format", INT), ("pullcurve", WORD), ("source", WORD)),
    # The text of the rig file, in pieces. A later whole rig replaces an earlier one.
    "rig": (("piece", INT), ("pieces", INT), ("text", WORD)),
    # What a person said: `what` is one of notes.KINDS, `value` as typed, `place` where a gauge
    # sits, `at` when it holds, empty for the time of the line itself.
    "note": (("what", WORD), ("value", WORD), ("place", WORD), ("at", WORD)),
    # The state of the link: opened, lost, closed.
    "link": (("state", WORD), ("detail", WORD)),
}

PIECE = 110  # quoted bytes of text in one record


def pieces(text: str) -> Iterator[str]:
    """A text cut so that each piece fits into a record: at line ends, and within long lines."""
    for line in text.splitlines(keepends=True):
        piece = ""
        for char in line:
            if len(quote(piece + char)) > PIECE:
                yield piece
                piece = ""
            piece += char
        yield piece

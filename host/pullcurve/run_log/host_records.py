"""The host's own records in a run log, in the board's format."""

from collections.abc import Iterator

from record_format import INT, WORD, quote

LOG_FORMAT = 1

HOST_RECORDS = {
    # The first line of every log.
    "runlog": (("format", INT), ("pullcurve", WORD), ("source", WORD)),
    # The text of the rig file, in pieces. A later whole rig replaces an earlier one.
    "rig": (("piece", INT), ("pieces", INT), ("text", WORD)),
    # What a person said: `what` is engine_speed, vacuum, plate, hose or words, `value` as typed,
    # in pieces, `place` where a gauge sits, `at` when it holds, empty for the time of the line
    # itself. The pieces of a note carry one time and follow each other in sequence number.
    "note": (
        ("piece", INT),
        ("pieces", INT),
        ("what", WORD),
        ("value", WORD),
        ("place", WORD),
        ("at", WORD),
    ),
    # The state of the link: opened, lost, closed.
    "link": (("state", WORD), ("detail", WORD)),
}

PIECE = 110  # quoted bytes of text in one record
NOTE_PIECE = 80  # beside the other fields of a note


def pieces(text: str, longest: int = PIECE) -> Iterator[str]:
    """A text cut so that each piece fits into a record: at line ends, and within long lines.

    What UTF-8 cannot write, as half a character of a broken file name, becomes `?`.
    """
    for line in text.encode("utf-8", "replace").decode("utf-8").splitlines(keepends=True):
        start = used = 0
        for place, char in enumerate(line):
            width = len(quote(char))
            if used + width > longest:
                yield line[start:place]
                start, used = place, 0
            used += width
        yield line[start:]


def shortened(text: str) -> str:
    """The beginning of a text, as much as fits into one record."""
    return next(pieces(text), "")

"""What a person says of a run, in plain words, as the fields of a note."""

import re
from collections.abc import Iterable
from datetime import datetime
from difflib import get_close_matches
from typing import Final, NamedTuple

from pullcurve.quantities import to_si
from pullcurve.run_log.reading import HostRecord

PLACES: Final = ("hose", "port", "tank", "clean pipe", "blower inlet")
LOST: Final = "[...]"  # stands where a piece of a note is damaged

# Beyond these it is a slip of the pen (judgement): no engine of such a machine turns faster, and
# no vacuum is deeper than the atmosphere.
FASTEST_RPM: Final = 10_000.0
DEEPEST_PA: Final = 101_000.0

# What begins like a reading is held to be one, so that a slip is told and not kept as words.
_ENGINE: Final = re.compile(r"engine\s+([-+.]?\d.*)", re.IGNORECASE)
_VACUUM: Final = re.compile(r"vacuum\s+([-+.]?\d.*)", re.IGNORECASE)
_GAUGE: Final = re.compile(rf"(.+?)\s+(?:at\s+)?(?:the\s+)?({'|'.join(PLACES)})", re.IGNORECASE)
_PLATE: Final = re.compile(r"plate\s+(off|on(?:,?\s+bore\s+(.+))?)", re.IGNORECASE)
_HOSE: Final = re.compile(r"hose\s+(on|off|([-+.]?\d.*?)(?:\s+of\s+(.+))?)", re.IGNORECASE)
READINGS: Final = ("engine", "vacuum", "plate", "hose")
_ALIKE: Final = 0.75  # of the letters, so that a word is a slip of the pen: a judgement
_AS_READING: Final = re.compile(rf"\d|\b({'|'.join(READINGS)})\b", re.IGNORECASE)


class Spoken(NamedTuple):
    """What a person said: its kind, what was typed, and where a gauge sits."""

    what: str
    value: str
    place: str

    def __str__(self) -> str:
        return f"{self.what.replace('_', ' ')} {self.value} {self.place}".rstrip()

    @property
    def hint(self) -> str:
        """That what may have been meant as a reading is none."""
        if self.what != "words" or not _AS_READING.search(self.value):
            return ""
        return (
            " (kept as words; a reading is typed as: engine 2190 rpm | vacuum 10 inHg at tank | "
            "plate on, bore 2 in | hose 70 ft of 5 in)"
        )


class Note(NamedTuple):
    """A note of a log, its pieces joined. `at` says when it holds, empty for `host_time`."""

    host_time: datetime
    what: str
    value: str
    place: str
    at: str


def understand(text: str) -> Spoken:
    """The note in a typed line: engine 2190 rpm | vacuum 10 inHg at tank | plate on, bore 2 in |
    plate on | plate off | hose 70 ft of 5 in | hose on | hose off. All else is kept as words.

    Raises ValueError with a sentence for an empty line, for a gauge without its place, for a
    quantity without its unit or beyond reason, and for a reading whose first word is mistyped.
    """
    text = " ".join(text.split())
    if not text:
        raise ValueError("there are no words in it")
    spoken = _reading(text)
    if spoken is None and (meant := _mistyped(text)):
        raise ValueError(f"{text.split()[0]!r} begins no reading; did you mean '{meant}'?")
    return spoken or Spoken("words", text, "")


def _mistyped(text: str) -> str:
    """The reading that this would be with the first word put right; empty when it would be none."""
    first, _, rest = text.partition(" ")
    for right in get_close_matches(first.lower(), READINGS, 1, _ALIKE):
        meant = f"{right} {rest}"
        try:
            if _reading(meant):
                return meant
        except ValueError:
            return meant
    return ""


def _reading(text: str) -> Spoken | None:
    if match := _ENGINE.fullmatch(text):
        if not 0 <= to_si(match[1], "speed") <= FASTEST_RPM:
            raise ValueError(f"no engine turns at {match[1]}")
        return Spoken("engine_speed", match[1], "")
    if match := _VACUUM.fullmatch(text):
        return _vacuum(match[1])
    if match := _PLATE.fullmatch(text):
        if match[2]:
            _length(match[2])
        return Spoken("plate", match[1], "")
    if match := _HOSE.fullmatch(text):
        if match[2]:
            _length(match[2])
            if not match[3]:
                raise ValueError("a hose has a length and a bore, such as 'hose 70 ft of 5 in'")
            _length(match[3])
        return Spoken("hose", match[1], "")
    return None


def joined(records: Iterable[HostRecord]) -> list[Note]:
    """The notes among a log's records, in the order in which they were written."""
    # A second program may append to a log that is recorded: then numbers alone are ambiguous.
    notes: dict[tuple[datetime, int], dict[int, tuple[str, ...]]] = {}
    lengths: dict[tuple[datetime, int], int] = {}
    for item in records:
        if item.record.kind == "note":
            fields = item.named()
            piece = int(fields["piece"])
            key = (item.host_time, item.record.seq - piece)
            lengths[key] = int(fields["pieces"])
            notes.setdefault(key, {})[piece] = tuple(
                str(fields[name]) for name in ("what", "value", "place", "at")
            )
    found = []
    for key, parts in notes.items():
        value, beyond = "", 0
        for piece, (_, part, _, _) in sorted(parts.items()):
            value += part if piece == beyond else LOST + part
            beyond = piece + 1
        what, _, place, at = next(iter(parts.values()))
        found.append(
            Note(key[0], what, value if beyond == lengths[key] else value + LOST, place, at)
        )
    return found


def _vacuum(reading: str) -> Spoken:
    match = _GAUGE.fullmatch(reading)
    if match is None:
        raise ValueError(
            "a vacuum needs the place of its gauge, such as 'vacuum 10 inHg at tank'; places: "
            + ", ".join(PLACES)
        )
    vacuum_pa = to_si(match[1], "pressure")
    if vacuum_pa < 0:
        raise ValueError("a vacuum is typed without a sign, as what is below the air outside")
    if vacuum_pa > DEEPEST_PA:
        raise ValueError(
            f"no vacuum is as deep as {match[1]}: read the unit on the gauge's face once more"
        )
    return Spoken("vacuum", match[1], match[2].lower())


def _length(text: str) -> None:
    if to_si(text, "length") <= 0:
        raise ValueError(f"{text} is no length")

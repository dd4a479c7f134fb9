"""When a note that is added afterwards holds, as people say it."""

import re
from datetime import datetime, time, timedelta
from typing import Final, NamedTuple

from pullcurve.run_log.notes import Spoken

HELP: Final = "'sweep 2, hold 3', '125 s', '2 min 5 s', or the time of day: '14:32', '14:32:10'"

# Digits are few, so that every one of these fits into a record.
_HOLD: Final = re.compile(r"sweep (\d{1,3})(?: ?,? ?hold (\d{1,3}))?", re.ASCII)
_ELAPSED: Final = re.compile(
    r"(?:(\d{1,3}(?:\.\d{1,3})?) ?h)? ?(?:(\d{1,4}(?:\.\d{1,3})?) ?min)? ?"
    r"(?:(\d{1,6}(?:\.\d{1,3})?) ?s)?",
    re.ASCII,
)
_CLOCK: Final = re.compile(r"(\d{1,2}):(\d\d)(?::(\d\d))?", re.ASCII)

_HALF_A_DAY_S = 12 * 3600.0
_SLACK_S = 60.0  # a person's watch, or a time of day without its seconds


class Hold(NamedTuple):
    """A settled point by its number within its sweep, or with `hold` None the whole sweep."""

    sweep: int
    hold: int | None


class Elapsed(NamedTuple):
    """Seconds since the run's first block."""

    seconds: float


def parse_time(text: str) -> Hold | Elapsed | time:
    """When a note holds. A time of day is that of the run's day and zone.

    Raises ValueError with a sentence that says what is understood.
    """
    plain = tidy(text)
    if match := _HOLD.fullmatch(plain):
        sweep, hold = int(match[1]), int(match[2]) if match[2] else None
        if sweep < 1 or hold == 0:
            raise ValueError(f"{text!r}: sweeps and holds are counted from 1")
        return Hold(sweep, hold)
    if plain and (match := _ELAPSED.fullmatch(plain)):
        hours, minutes, seconds = (float(part or 0) for part in match.groups())
        return Elapsed(3600 * hours + 60 * minutes + seconds)
    if match := _CLOCK.fullmatch(plain):
        try:
            return time(int(match[1]), int(match[2]), int(match[3] or 0))
        except ValueError:
            raise ValueError(f"{text!r} is no time of day") from None
    shown = repr(text if len(text) <= 40 else text[:40] + "...")
    raise ValueError(f"{shown} does not say when; understood are {HELP}")


def seconds_into(when: Elapsed | time, began: datetime) -> float:
    """Seconds from a run's beginning, whose zone is the run's."""
    if isinstance(when, Elapsed):
        return when.seconds
    moment = datetime.combine(began.date(), when, began.tzinfo)
    if (began - moment).total_seconds() > _HALF_A_DAY_S:  # a run past midnight
        moment += timedelta(days=1)
    return (moment - began).total_seconds()


def check_time(text: str, spoken: Spoken, began: datetime, ended: datetime) -> None:
    """Raises ValueError with a sentence when this does not say when a note holds, or says a time
    outside the run; began, ended: when its first and last record came, by a clock that nobody
    has set meanwhile."""
    when = parse_time(text)
    lasted_s = (ended - began).total_seconds()
    if not isinstance(when, Hold) and not -_SLACK_S <= seconds_into(when, began) <= (
        lasted_s + _SLACK_S
    ):
        raise ValueError(
            f"{text!r} lies outside the run, which lasts {lasted_s:.0f} s, from "
            f"{began:%H:%M:%S} to {ended:%H:%M:%S}"
        )
    if isinstance(when, Hold) and when.hold is None and spoken.what in ("engine_speed", "vacuum"):
        raise ValueError(
            f"a reading belongs to one hold: say which, such as 'sweep {when.sweep}, hold 1'"
        )


def tidy(text: str) -> str:
    """The same in small letters with single spaces."""
    return " ".join(text.lower().split())

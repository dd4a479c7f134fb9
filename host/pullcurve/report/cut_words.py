"""An alarm of the cut watch in words, from the one reviewed file `cut_words.toml`."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from pullcurve.cut.alarm import CutAlarm, Forecast
from pullcurve.rounding import NO_BREAK, measured, minutes

_LIMITS = {
    "typed": "the limit that was given",
    "doubled": "twice the loss of the clean filter",
    "flow": "a loss that takes a tenth of the flow",
}
_LIKELY = 80.0
# From how many percent on.
_WORDS = ((99.9, "certain"), (98.0, "nearly certain"), (_LIKELY, "likely"), (0.0, "not certain"))
_HOURS_FROM_S = 2 * 3600.0


@dataclass(frozen=True)
class Said:
    """`short` is for a screen at arm's length; `certainty` a phrase with the probability."""

    name: str
    short: str
    what: str
    since: str
    certainty: str
    try_this: tuple[str, ...]
    caution: str
    forecast: str


def said(event: CutAlarm) -> Said:
    """All that is said of an alarm, in words."""
    words = _words()[event.kind]
    over = event.end_s is not None and not event.stays
    which = "over" if over else "what"
    if event.kind == "filter_loading" and event.measured_by == "path":
        which += "_without_tank_sensor"
    if event.kind == "leak" and event.places == ("C",):
        which += "_behind"
    what = f"{words[which]} {words['stays']}" if event.stays else words[which]
    places = " or ".join(_words()["leak"]["places"][place] for place in event.places)
    return Said(
        words["name"],
        words["short"],
        what.format(size=_size(event), places=places),
        _since(event),
        _certainty(event),
        tuple(words["do"]),
        words["caution"],
        forecast_words(event.forecast) if event.forecast and not over else "",
    )


def name(event: CutAlarm) -> str:
    return str(_words()[event.kind]["name"])


def forecast_words(forecast: Forecast) -> str:
    """When a filter is at its limit, with the interval."""
    limit = _LIMITS[forecast.limit]
    if forecast.at_s is None:
        return f"As it goes now it does not reach {limit} within forty hours."
    if forecast.at_s == forecast.earliest_s == forecast.latest_s:
        return f"It has reached {limit}."
    earliest = "now" if forecast.earliest_s is None else _roughly(forecast.earliest_s)
    latest = "never" if forecast.latest_s is None else _roughly(forecast.latest_s)
    return (
        f"If it goes on like this it reaches {limit} {_roughly(forecast.at_s)} into the recording "
        f"(95 % interval: {earliest} to {latest})."
    )


def _roughly(seconds: float) -> str:
    if seconds < _HOURS_FROM_S:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"


def _size(event: CutAlarm) -> str:
    number = measured(100 * abs(event.size), 100 * max(event.size_u95, 5e-4))
    return f"{number.value} % ± {number.u95} %".replace(" ", NO_BREAK)


def _since(event: CutAlarm) -> str:
    spoken = f"said at {minutes(event.spoken_s)}"
    if event.seen_afterwards:
        spoken = "seen only when the whole log was gone through"
    ended = "" if event.end_s is None else f" until {minutes(event.end_s)}"
    return f"since {minutes(event.start_s)}{ended}; {spoken}"


def _certainty(event: CutAlarm) -> str:
    if event.sure is None:
        return "measured, not inferred"
    percent = 100 * event.sure
    sudden = event.kind in ("clog", "hose_off")
    if sudden and percent < _LIKELY:
        return "not certain: scatter alone shows as much about once in 12 h of work"
    word = next(word for least, word in _WORDS if percent >= least)
    shown = "over 99.9 %" if percent >= 99.9 else f"{percent:.0f} %"
    if sudden:
        return f"{word} ({shown} that scatter does not show as much in 12 h of work)"
    return f"{word} ({shown} that it is no scatter)"


def running_time(seconds: float) -> str:
    """As minutes and seconds; in hours from two hours on."""
    if seconds < _HOURS_FROM_S:
        return f"{minutes(seconds)} min"
    return f"{seconds / 3600:.1f} h"


@cache
def _words() -> dict[str, Any]:
    text = (files("pullcurve.report") / "cut_words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)

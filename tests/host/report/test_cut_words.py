"""Every alarm has its words: what, what to try, and a caution."""

import re
from dataclasses import replace
from typing import get_args

import pytest

from pullcurve.cut.alarm import CutAlarm, Forecast, Kind
from pullcurve.report.cut_words import said


@pytest.mark.parametrize("kind", get_args(Kind))
@pytest.mark.parametrize("places", [(), ("A", "B"), ("C",)])
def test_every_alarm_says_what_since_how_sure_and_what_to_try(
    kind: Kind, places: tuple[str, ...]
) -> None:
    event = CutAlarm(1, kind, 62.0, 65.5, None, 0.123, 0.02, 0.97, places)  # type: ignore[arg-type]
    words = said(event)
    assert "12.3 % ± 2.0 %" in words.what.replace("\N{NO-BREAK SPACE}", " ")
    assert "{" not in words.what
    assert words.since == "since 1:02; said at 1:06"
    assert "97 %" in words.certainty
    assert words.try_this
    assert words.caution
    assert len(words.short) <= 8


@pytest.mark.parametrize("places", [(), ("A", "B"), ("C",)])
@pytest.mark.parametrize("measured_by", ["", "path"])
@pytest.mark.parametrize("kind", get_args(Kind))
def test_what_has_ended_is_told_in_the_past(
    kind: Kind, measured_by: str, places: tuple[str, ...]
) -> None:
    lasting = CutAlarm(1, kind, 62.0, 65.5, None, 0.123, 0.02, 0.97, places, None, measured_by)  # type: ignore[arg-type]
    over = said(replace(lasting, end_s=80.0)).what
    assert re.search(r"\b(was|came)\b", over)
    assert "{" not in over
    present = over.split("at best")[0].replace("A filter that loads does this; so does", "")
    assert not re.search(r"\b(is|are|comes|sits|pulls|has|resists)\b", present)
    assert over != said(lasting).what


@pytest.mark.parametrize("kind", ["clog", "hose_off", "speed_sag"])
def test_what_stays_is_told_as_it_was_with_how_it_is_taken(kind: Kind) -> None:
    lasting = CutAlarm(1, kind, 62.0, 65.5, None, 0.123, 0.02, 0.97)
    stays = said(replace(lasting, end_s=900.0, stays=True)).what
    assert stays.startswith(said(lasting).what)
    assert "is taken as" in stays


def test_the_certainty_is_that_of_the_kind() -> None:
    clog = CutAlarm(1, "clog", 62.0, 65.5, None, 0.2, 0.05, 0.999)
    assert said(clog).certainty.startswith("certain (over 99.9 % that scatter does not show as")
    assert "about once in 12 h of work" in said(replace(clog, sure=0.2)).certainty
    assert said(replace(clog, kind="leak")).certainty.endswith("that it is no scatter)")
    assert said(replace(clog, kind="speed_sag", sure=None)).certainty == "measured, not inferred"


def test_a_forecast_names_its_limit_and_interval() -> None:
    whole = Forecast("doubled", 4000.0, 3000.0, None)
    event = CutAlarm(1, "filter_loading", 0, 600, None, 0.2, 0.1, 0.99, (), whole, "filter")
    text = said(event).forecast
    assert "twice the loss of the clean filter 67 min into the recording" in text
    assert "50 min to never" in text
    none = Forecast("typed", None, None, None)
    event = CutAlarm(1, "filter_loading", 0, 600, None, 0.2, 0.1, 0.99, (), none, "filter")
    assert "does not reach the limit" in said(event).forecast
    there = Forecast("doubled", 600.0, 600.0, 600.0)
    event = CutAlarm(1, "filter_loading", 0, 600, None, 0.2, 0.1, 0.99, (), there, "filter")
    assert said(event).forecast == "It has reached twice the loss of the clean filter."

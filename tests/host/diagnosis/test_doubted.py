"""A clean sweep that one typed reading, or its baseline, spoils: that one is named."""

from dataclasses import replace

import pandas as pd
import pytest

from pullcurve.diagnosis.diagnose import Diagnosis, diagnose
from pullcurve.examine import Run
from pullcurve.quantities import US, to_si
from pullcurve.report.from_run import result_of
from pullcurve.report.summary import summary
from sample_runs import sample_run


def noted(*notes: tuple[str, str, str, str]) -> Run:
    """The healthy sweep with notes of (what, value, place, at), each in its third hold."""
    run = sample_run("healthy_sweep")
    third = run.points.iloc[2]
    rows = [
        {
            "time_s": (third["start_s"] + third["end_s"]) / 2,
            "what": what,
            "value": value,
            "value_si": to_si(value, "pressure") if what == "vacuum" else float("nan"),
            "place": place,
            "at": at,
        }
        for what, value, place, at in notes
    ]
    return replace(run, notes=pd.DataFrame(rows))


def said_of(run: Run, earlier: Run | None = None) -> tuple[tuple[str, ...], str]:
    found = diagnose(run, earlier)
    assert isinstance(found, Diagnosis)
    return found.verdict.vetoed_by, " ".join(summary(result_of(run, found, ""), US).split())


FALSE = ("vacuum", "10 inHg", "tank", "sweep 1, hold 3")
TRUE = ("vacuum", "0.3 inHg", "tank", "sweep 1, hold 3")
PLATE = ("plate", "on, bore 2.5 in", "", "sweep 1")


@pytest.mark.parametrize(
    ("notes", "names"),
    [
        ((FALSE,), "what was typed: vacuum 10 inHg at tank (sweep 1, hold 3). Nothing"),
        ((PLATE,), "what was typed: plate on, bore 2.5 in (sweep 1). Nothing"),
        ((TRUE, PLATE), "what was typed: plate on, bore 2.5 in (sweep 1). Nothing"),
        ((PLATE, FALSE), "plate on, bore 2.5 in (sweep 1) and vacuum 10 inHg at tank (sweep 1, h"),
    ],
    ids=["gauge", "plate", "plate beside a true gauge", "both"],
)
def test_the_note_that_spoils_a_clean_sweep_is_named(
    notes: tuple[tuple[str, str, str, str], ...], names: str
) -> None:
    vetoed_by, text = said_of(noted(*notes))
    assert vetoed_by == ("typed_reading",)
    assert names in text
    assert "in a cut" not in text


def test_a_baseline_that_spoils_a_clean_sweep_is_named() -> None:
    vetoed_by, text = said_of(noted(TRUE), sample_run("cut"))
    assert vetoed_by == ("baseline",)
    assert "the baseline does not belong to this run" in text


def test_where_nothing_typed_is_at_fault_nothing_typed_is_named() -> None:
    vetoed_by, text = said_of(sample_run("cut"))
    assert vetoed_by == ("no_fit",)
    assert "in a cut" in text


def test_a_later_reading_of_the_same_gauge_and_hold_counts() -> None:
    assert said_of(noted(FALSE, TRUE))[0] == ()

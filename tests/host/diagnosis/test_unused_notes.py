"""A note that changes nothing says so, and why; one that counts is not named."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pullcurve.diagnosis.diagnose import Diagnosis, diagnose
from pullcurve.diagnosis.unused_notes import unused_notes
from pullcurve.examine import Run
from pullcurve.measure.note_placing import QUANTITIES
from pullcurve.quantities import US, to_si
from pullcurve.report.from_run import result_of
from pullcurve.report.summary import summary
from pullcurve.run_log.notes import understand
from sample_runs import sample_run

TOP = {"healthy_sweep": 4, "full_sensors": 2, "cut": 2}


def noted(name: str, *notes: tuple[str, float | int, str]) -> Run:
    """Notes of (text, seconds or number of a hold of the first sweep, at)."""
    run = sample_run(name)
    rows: list[dict[str, Any]] = []
    for text, when, at in notes:
        said = understand(text)
        time_s = float(when)
        if isinstance(when, int):
            hold = run.points.iloc[when - 1]
            time_s = (hold["start_s"] + hold["end_s"]) / 2
        kind = QUANTITIES.get(said.what)
        value = np.nan if kind is None else to_si(said.value, kind)
        rows.append(said._asdict() | {"time_s": time_s, "value_si": value, "at": at})
    return replace(run, notes=pd.DataFrame(rows))


@pytest.mark.parametrize(
    ("name", "text", "when", "at", "why"),
    [
        ("healthy_sweep", "hose 70 ft of 5 in", 3.0, "", "the meter on the port, where no hose"),
        ("healthy_sweep", "hose on", 3.0, "", "the meter on the port, where no hose is on"),
        ("full_sensors", "hose off", 3.0, "", "at the hose's end, so the hose is on"),
        ("full_sensors", "hose 40 ft of 5 in", 3.0, "", "taken from the rig, 21.3 m of 127 mm"),
        ("healthy_sweep", "vacuum 2 inHg at hose", 5, "", "at the hose it tells nothing here"),
        ("healthy_sweep", "vacuum 2 inHg at tank", 3.0, "", "it lies in no hold"),
        ("healthy_sweep", "plate on, bore 2.5 in", 99999.0, "99999 s", "it lasts 193 s"),
        ("healthy_sweep", "belt squeals", 99999.0, "99999 s", "the run has no such time"),
        ("healthy_sweep", "belt squeals", -5.0, "7:00", "the run has no such time"),
        ("healthy_sweep", "plate on", 191.0, "", "no hold lies behind it"),
        ("healthy_sweep", "engine 1710 rpm", 3, "", "fastest hold alone, sweep 1, hold 4"),
        ("full_sensors", "engine 2192 rpm", 2, "", "the engine's own pickup counts"),
    ],
)
def test_what_is_not_used_is_said_with_the_reason(
    name: str, text: str, when: float | int, at: str, why: str
) -> None:
    run = noted(name, (text, when, at))
    (found,) = unused_notes(run)
    assert why in str(found.values["why"])
    told = " ".join(summary(result_of(run), US).split())
    assert f"Noted and not used: {found.values['said']}. Why: {found.values['why']}." in told


@pytest.mark.parametrize(
    ("name", "text", "when"),
    [
        ("healthy_sweep", "engine 2198 rpm", TOP["healthy_sweep"]),
        ("healthy_sweep", "vacuum 1.4 inHg at blower inlet", 3),
        ("healthy_sweep", "hose off", 3.0),
        ("full_sensors", "hose 70 ft of 5 in", 3.0),
        ("full_sensors", "plate on, bore 2.5 in", 3.0),
        ("cut", "hose off", 3.0),
        ("cut", "the belt squeals", 3.0),
    ],
)
def test_what_counts_is_not_named(name: str, text: str, when: float | int) -> None:
    assert list(unused_notes(noted(name, (text, when, "")))) == []


def test_of_two_readings_on_one_hold_the_first_is_said_to_be_put_right() -> None:
    run = noted("healthy_sweep", ("engine 2130 rpm", 4, ""), ("engine 2198 rpm", 4, ""))
    (found,) = unused_notes(run)
    assert found.values["said"] == "engine speed 2130 rpm"
    assert found.values["why"] == "a later one on the same hold counts"


def test_a_hose_noted_on_the_port_leaves_the_verdict_as_it_was() -> None:
    plain, hosed = (
        diagnose(run)
        for run in (
            sample_run("healthy_sweep"),
            noted("healthy_sweep", ("hose 70 ft of 5 in", 3.0, "")),
        )
    )
    assert isinstance(plain, Diagnosis)
    assert isinstance(hosed, Diagnosis)
    assert hosed.verdict == plain.verdict

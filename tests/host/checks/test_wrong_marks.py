"""A wrong number of marks in the rig: it is doubted, and the speed's interval holds the truth."""

from pathlib import Path

import numpy as np
import pytest

from pullcurve.examine import Run, read_run, rig_of
from pullcurve.quantities import SI
from pullcurve.report.finding_words import evidence_words
from pullcurve.report.from_run import result_of
from pullcurve.run_log.reading import read_log

LOG = Path(__file__).parents[3] / "sample_logs" / "healthy_sweep.runlog"  # two marks


def typed(marks_per_turn: int) -> Run:
    """The log, as a rig with so many marks has it."""
    rig = rig_of(read_log(LOG), None)
    shaft = rig.pickups.blower_shaft.model_copy(update={"marks_per_turn": marks_per_turn})
    pickups = rig.pickups.model_copy(update={"blower_shaft": shaft})
    return read_run(LOG, rig.model_copy(update={"pickups": pickups}))


@pytest.fixture(scope="module")
def right() -> Run:
    return typed(2)


@pytest.mark.parametrize("wrong", [1, 3])
def test_a_wrong_number_is_doubted_and_the_report_leads_with_it(wrong: int, right: Run) -> None:
    run = typed(wrong)
    assert "wrong_marks" not in {trouble.kind for trouble in right.troubles}
    (trouble,) = [each for each in run.troubles if each.kind == "wrong_marks"]
    assert f"The rig says {wrong} mark" in evidence_words(trouble, SI)
    assert trouble.consequence == "widened"
    true = np.array([right.points["speed_rpm"].mean(), right.points["speed_rpm"].max()])
    shown = run.points["speed_rpm"], run.points["speed_u95_rpm"]
    assert abs(shown[0].mean() - true[0]) < shown[1].mean()
    assert abs(shown[0].max() - true[1]) < shown[1].max()
    headline = result_of(run).headline
    assert headline.startswith("The speeds are not to be trusted. The rig says")
    assert result_of(right).headline.startswith("At ")


def test_twice_the_marks_that_are_there_are_doubted_for_the_speed_that_they_make() -> None:
    (trouble,) = [each for each in typed(4).troubles if each.kind == "wrong_marks"]
    assert "repeat after every 2" in evidence_words(trouble, SI)

"""The steps: every cause, place and reading has its own, and none asks for what is dangerous."""

import re
import tomllib
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest

import pullcurve.diagnosis.readings as readings_module
from host.report.diagnoses import HEALTHY, TWIN, VETOED, diagnosed, single
from pullcurve.checks.catalogue import CATALOGUE
from pullcurve.diagnosis.priors import CAUSE_OF
from pullcurve.quantities import US
from pullcurve.report.next_steps import DEFERS, next_steps, veto_words
from pullcurve.report.page import page
from pullcurve.report.verdict_words import HEADINGS, first_step

TEXT = tomllib.loads((files("pullcurve.report") / "next_steps.toml").read_text("utf-8"))
STEPS = [
    *(step for steps in TEXT["causes"].values() for step in steps),
    *(step for reading in TEXT["readings"].values() for step in reading["steps"]),
    *(step for veto in TEXT["vetoes"].values() for step in veto.get("steps", [])),
    *(*TEXT["healthy"], *TEXT["unsure"]),
]


def test_every_fault_reading_and_veto_that_the_diagnosis_knows_has_its_text() -> None:
    assert set(TEXT["causes"]) == set(CAUSE_OF)
    source = Path(readings_module.__file__).read_text("utf-8")
    named = set(re.findall(r'yield "(\w+)"|yield \(\s*"(\w+)"', source))
    names = {one or other for one, other in named} | set(re.findall(r'"(seal_\w+)"', source))
    assert len(names) >= 10
    assert set(TEXT["readings"]) == names
    assert set(TEXT["vetoes"]) == {row.steps for row in CATALOGUE.values() if row.steps}
    assert set(HEADINGS) >= set(CAUSE_OF)
    assert veto_words("water_in_line") == "there is water in a line to the sensor"


def test_every_caution_exists_and_is_used() -> None:
    used = {name for step in STEPS for name in step["cautions"]}
    assert used == set(TEXT["cautions"])


@pytest.mark.parametrize(
    ("work", "caution"),
    [
        (r"\bvented plate\b", "plate"),
        (r"\b(belt'?s?|pulleys?|shaft)\b", "belt"),
        (r"\b(relief valve)\b", "relief"),
        (r"\b(behind the filter for grit|change the filter|filter's lid)\b", "dust"),
        (r"\b[Tt]ape\b", "stopped"),
        (r"\b[Ff]it (a|an) \w+", "stopped"),
    ],
)
def test_work_near_danger_carries_its_caution(work: str, caution: str) -> None:
    found = [step for step in STEPS if re.search(work, step["do"])]
    assert found
    for step in found:
        assert caution in step["cautions"], step["do"]


def test_nobody_is_asked_to_shut_an_inlet_or_to_touch_a_relief_valve() -> None:
    for step in STEPS:
        text = step["do"].lower()
        assert not re.search(r"(block|shut|close|blank|plug|cover)\w* (the|an|its) inlet", text)
        assert not re.search(r"\b(pin|jam|plug) the relief", text)
    plate = TEXT["cautions"]["plate"]
    for word in ("vented", "never blank", "stopped and locked out", "at idle first"):
        assert word in plate


def test_an_undecided_verdict_leads_with_the_reading_then_what_is_certain() -> None:
    both = replace(TWIN, certain=("low_speed",))
    assert [heading.about[0] for heading in next_steps(both)] == ["reading", "low_speed"]
    first = first_step(diagnosed(TWIN), TWIN)
    assert first is not None
    assert first.do.startswith("Fit a temperature sensor to the discharge")


def test_the_likely_places_of_a_leak_are_looked_at_in_order() -> None:
    steps = next_steps(single("leak"))
    assert [heading.about[1] for heading in steps] == ["leak_c", "leak_b"]
    text = page(diagnosed(single("leak")), US)
    assert text.index("Air that comes in at the blower<") < text.index("at the filter&#39;s lid<")
    assert DEFERS.replace("'", "&#39;") in text


def test_a_healthy_machine_gets_its_baseline_and_a_vetoed_one_the_troubles_action() -> None:
    assert "baseline" in next_steps(HEALTHY)[0].steps[0].do
    run = diagnosed(VETOED)
    assert next_steps(VETOED) == []
    assert first_step(run, VETOED) is None
    trouble = replace(run.troubles[0], kind="tubes_reversed", action="Swap them.")
    swapped = replace(run, troubles=(trouble,))
    step = first_step(swapped, VETOED)
    assert step is not None
    assert step.do == "Swap them."

"""Every kind of finding has its row and its detector, and its words reach people filled."""

import ast
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from host.checks.sample_findings import sample_findings
from host.report.results import result
from pullcurve.checks.catalogue import CATALOGUE, Finding, Kind, found
from pullcurve.live.estimator import Now
from pullcurve.live.figures import metrics
from pullcurve.live.guide import Facts, Guide
from pullcurve.live.reducing import Reduced
from pullcurve.live.words import Way, checks
from pullcurve.quantities import UNIT_SYSTEMS
from pullcurve.report.finding_words import (
    action_words,
    evidence_words,
    result_remark,
    result_trouble,
)
from pullcurve.report.page import page
from pullcurve.report.summary import summary
from pullcurve.rig.loading import load_rig

ROOT = Path(__file__).parents[3]
HOST = ROOT / "host/pullcurve"
RIG = load_rig(ROOT / "hardware/rigs/port.toml")
FINDINGS = list(sample_findings())
UNFILLED = re.compile(r"\{\w*\}|\bnan\b")
# Of the live page, as words.py knows them.
SHOWN = {"Pressure sensor", "Zero", "Pickup", "Open air", "Meter", "Records", "Board"}
TROUBLES = [each for each in FINDINGS if each.grade == "trouble"]


def name(finding: Finding) -> str:
    return f"{finding.kind}-{finding.case}".rstrip("-")


def test_no_kind_lacks_a_row_and_no_row_a_kind() -> None:
    rows = tomllib.loads((HOST / "checks/catalogue.toml").read_text("utf-8"))
    assert list(CATALOGUE) == list(Kind)
    assert set(rows) == {*Kind, "cautions"}


def test_no_row_lacks_a_detector() -> None:
    """Somewhere above the catalogue something is found to be of each kind, in each of its cases."""
    made: set[str] = set()
    words: set[str] = set()
    for path in HOST.rglob("*.py"):
        if path.name == "catalogue.py":
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "Kind":
                made.add(node.attr)
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                words.add(node.value)
    assert made == {kind.name for kind in Kind}
    assert {case for row in CATALOGUE.values() for case in row.cases} <= words


@pytest.mark.parametrize("finding", FINDINGS, ids=name)
@pytest.mark.parametrize("units", ["us", "si"])
def test_every_row_is_filled_in_both_systems_of_units(finding: Finding, units: str) -> None:
    evidence = evidence_words(finding, UNIT_SYSTEMS[units])
    action = action_words(finding)
    if finding.grade == "contradiction":
        assert finding.row.veto
        assert not evidence
        return
    assert evidence[0].isupper() or evidence[0].isdigit() or "_" in evidence or "some" in evidence
    assert evidence[-1] in ".:"
    assert not action or action[-1] in ".?"
    assert not UNFILLED.search(evidence + action)
    for field_name in finding.row.names(finding.case):
        assert finding.row.fields[field_name].quantity or "{" not in evidence


@pytest.mark.parametrize("finding", FINDINGS, ids=name)
def test_what_a_row_says_of_it_is_whole(finding: Finding) -> None:
    row = finding.row
    if row.grade == "trouble":
        assert row.check in SHOWN
        assert row.withheld or row.spoils != "withheld"
    assert set(row.actions) <= set(row.cases)
    assert not row.guide or action_words(finding)
    used = set().union(*(row.names(case) for case in row.cases or ("",)))
    assert set(row.fields) - used <= {"off"}  # which the speed's interval takes


@pytest.mark.parametrize("finding", TROUBLES, ids=name)
@pytest.mark.parametrize("units", ["us", "si"])
def test_no_text_with_a_placeholder_reaches_a_person(finding: Finding, units: str) -> None:
    """On the live page, in its metrics, from the guide, and in page and summary of the report."""
    used = UNIT_SYSTEMS[units]
    (check, *_) = [
        each
        for each in checks(Now("changing", 0.0), Reduced(findings=(finding,)), Way(), used)
        if each.words.startswith(finding.kind.replace("_", " ").capitalize())
    ]
    assert check.name == finding.row.check
    guide = Guide(RIG, units)
    said = [check.words, check.action, metrics({}, [check], RIG.name)]
    for state in ("settled", "engine off"):
        guide.update(Facts(60, state, 30, 2000, zero_s=12, findings=(finding,)))
        card = guide.card()
        if finding.row.guide and finding.consequence != "none":
            assert card.trouble == finding.kind
        said += [card.title, card.do, card.why, card.caution]
    told = replace(result(), troubles=(result_trouble(finding),), remarks=(result_remark(finding),))
    said += [summary(told, used), re.sub(r"(?s)<(svg|style)\b.*?</\1>", "", page(told, used))]
    for text in said:
        assert not UNFILLED.search(text), text


@pytest.mark.parametrize(
    ("values", "case"),
    [({}, ""), ({"fall": 1.0, "rise": 2.0}, ""), ({"fall": 1.0}, "run")],
)
def test_a_finding_that_its_row_does_not_fit_is_refused(
    values: dict[str, float], case: str
) -> None:
    with pytest.raises(ValueError, match="tubes_reversed"):
        found(Kind.TUBES_REVERSED, case=case, **values)


def test_braces_that_somebody_typed_stay_as_they_are() -> None:
    noted = found(Kind.NOTE_UNUSED, said="{offset} {0}", why="it lies in no hold")
    assert "Noted and not used: {offset} {0}." in evidence_words(noted, UNIT_SYSTEMS["si"])


def test_a_finding_knows_its_numbers() -> None:
    finding = found(Kind.BOARD_WARMED, warmed=9.0)
    assert finding.number("warmed") == 9.0
    assert "16\xa0°F" in evidence_words(finding, UNIT_SYSTEMS["us"])
    assert "9.0\xa0°C" in evidence_words(replace(finding), UNIT_SYSTEMS["si"])
    with pytest.raises(TypeError):
        found(Kind.BOARD_SAYS, text="no pins").number("text")

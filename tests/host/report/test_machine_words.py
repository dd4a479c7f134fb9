"""The machine of a rig in words."""

import pytest

from host.rig.good_rig import SHEET, changed
from pullcurve.diagnosis.expected_intake import blower_worth
from pullcurve.quantities import SI, US
from pullcurve.report.machine_words import machine_meaning, missing_facts
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.models import Rig

SPEEDS = 'belt_ratio = 1.25\nrated_speed = "2750 rpm"\ngoverned_speed = "2200 rpm"\n'
PROMISE = f'{SPEEDS}brochure_flow = "1500 cfm"\n{SHEET}'


def rig(machine: str) -> Rig:
    return parse_rig(changed(("belt_ratio = 1.25\n", machine)), "unit.toml")


def meaning(machine: str) -> str:
    found = rig(machine).machine
    us, si = ("\n".join(machine_meaning(found, blower_worth(found), each)) for each in (US, SI))
    assert us.replace("ft³/min", "").count("ft") == 0
    assert "inHg" not in si
    return us


def test_what_the_facts_promise() -> None:
    said = meaning(PROMISE)
    assert "healthy blower takes in 1405" in said
    assert "at 2750 rpm and 8.0 inHg" in said
    assert "With its data sheet with 12 figures" in said
    assert "The brochure's 1500 ft³/min is what it takes in at 2750 rpm and" in said
    assert "turns the blower at 2750 rpm, its rated speed" in said


def test_a_governor_set_low_is_told_before_anything_is_measured() -> None:
    """2220 in place of 2750 rpm of the blower: 19 % short."""
    said = meaning(SPEEDS.replace("2200 rpm", "1776 rpm"))
    assert "at 2220 rpm where the promise has 2750: 19 % short, before anything is worn" in said


def test_without_facts_nothing_is_promised() -> None:
    assert meaning("") == ""


@pytest.mark.parametrize(
    ("machine", "told", "not_told"),
    [
        ("", ["Nothing is said of the blower", "belt_ratio", "hose", "lobes"], ["No data sheet"]),
        (SPEEDS, ["Nothing is said of the blower", "brochure_flow"], ["belt_ratio", "rated_speed"]),
        (
            '[machine.blower]\ndisplacement = "16.0 L"\n',
            ["No data sheet", "no account of where the promised flow went"],
            ["Nothing is said of the blower"],
        ),
        (SHEET, ["highest speed is taken"], ["No data sheet", "Nothing is said of the blower"]),
        (
            PROMISE + '[[machine.hose]]\nlength = "70 ft"\nbore = "5 in"\n[machine.filter]\n'
            'clean_loss = "6 inH2O"\nat_flow = "1300 cfm"\n',
            ["port_bore", "relief_vacuum", "spoil"],
            ["hose", "filter", "brochure_flow", "governed_speed"],
        ),
    ],
)
def test_each_missing_fact_says_what_it_costs(
    machine: str, told: list[str], not_told: list[str]
) -> None:
    said = list(missing_facts(rig(machine)))
    for words in told:
        assert any(words in line for line in said), words
    for words in not_told:
        assert not any(line.startswith(words) for line in said), words

"""The summary in the terminal: its width, its numbers, and how light it loads."""

import subprocess
import sys
from dataclasses import replace

import pytest

from host.report.results import result
from pullcurve.checks.catalogue import Kind, found
from pullcurve.quantities import SI, US, UnitSystem
from pullcurve.report.finding_words import evidence_words
from pullcurve.report.summary import summary
from pullcurve.results import Quantity


@pytest.mark.parametrize("units", [US, SI])
def test_every_line_fits_a_terminal(units: UnitSystem) -> None:
    run = result(((1130, 1840, 2620), (2618, 1835, 1134)))
    tank = {"vacuum_tank_pa": Quantity(value=25_400.0, u95=55.0)}
    every = tuple(replace(point, **tank) for point in run.points)
    text = summary(replace(run, points=every), units)
    assert "tank" in text
    assert max(map(len, text.splitlines())) <= 100
    rows = [line for line in text.splitlines() if line.lstrip().startswith(("1.", "2."))]
    assert len(rows) == 6
    assert {row.index("±") for row in rows} == {rows[0].index("±")}


def test_the_numbers_are_those_of_the_points() -> None:
    run = result(((2620,),))
    (point,) = run.points
    text = summary(run, SI)
    flow, u95 = (3600 * each for each in (point.standard_flow.value, point.standard_flow.u95))
    assert f"{flow:.0f}\xa0±\xa0{u95:.0f}\xa0m³/h of standard air" in text
    assert "(101 325 Pa, 20 °C, dry)" in text.replace("\n", " ")
    assert f"WARNING, {run.remarks[1].subject}" in text
    assert "14 are missing" in text


def test_troubles_come_before_the_numbers_with_evidence_and_remedy() -> None:
    text = summary(result(), US)
    flat = " ".join(text.split())
    assert "ZERO MOVED (zero): The zero moved by +0.056 inH2O between" in flat
    assert "The zero moved by +14 Pa between" in " ".join(summary(result(), SI).split())
    assert "Do this: Keep the board out of the sun" in flat
    assert "Consequence: The intervals are wider for it." in flat
    assert text.index("ZERO MOVED") < text.index("hold  ")


def test_a_run_without_a_point_says_so() -> None:
    text = summary(result(()), US)
    assert "no flow can be stated" in text
    assert "m³/h" not in text
    assert "Uncertainty" not in text


def test_no_control_code_reaches_the_terminal() -> None:
    text = summary(result(text="grit\x1b]0;owned\x07 unit\x9b2J"), SI)
    assert "grit?]0;owned? unit?2J" in text
    assert not {"\x1b", "\x07", "\x9b"} & set(text)


def test_no_plotting_and_no_templates_are_loaded() -> None:
    check = (
        "import sys, pullcurve.report.summary; print(*{'matplotlib', 'jinja2'} & set(sys.modules))"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", check], capture_output=True, text=True, check=True
    )
    assert loaded.stdout.strip() == ""


def test_evidence_is_told_in_the_units_of_the_page() -> None:
    typed = found(Kind.IMPOSSIBLE_PRESSURE, typed=101_325.0, altitude=1800.0, standard=81_500.0)
    si = evidence_words(typed, SI).replace("\xa0", " ")
    assert si == "The rig says 101 kPa, and at 1 800 m (5 906 ft) the air has about 81.5 kPa."
    us = evidence_words(typed, US).replace("\xa0", " ")
    assert us == "The rig says 29.9 inHg, and at 1 800 m (5 906 ft) the air has about 24.1 inHg."
    warmed = found(Kind.BOARD_WARMED, warmed=10.0)
    assert "by 10\xa0°C during" in evidence_words(warmed, SI)
    assert "by 18\xa0°F during" in evidence_words(warmed, US)

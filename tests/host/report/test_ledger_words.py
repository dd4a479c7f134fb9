"""The bill: each bar starts where the last one ended, and the foot is what was measured."""

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host.report.diagnoses import FAR_BELOW, HEALTHY, TWIN, diagnosed, ledger, single, step
from pullcurve.quantities import SI, UNIT_SYSTEMS, US, UnitSystem
from pullcurve.report.ledger_words import (
    bill,
    ledger_caption,
    reference_sentence,
    relieved_rows,
)
from pullcurve.report.page import page
from pullcurve.report.summary import summary
from pullcurve.report.verdict_words import verdict_sentences


@pytest.mark.parametrize("units", UNIT_SYSTEMS.values(), ids=UNIT_SYSTEMS)
def test_the_bill_adds_up_and_its_bars_go_on_from_each_other(units: UnitSystem) -> None:
    lines = bill(diagnosed(TWIN), ledger(), units)
    steps = [line for line in lines if line.sign == "−"]
    totals = [line for line in lines if line.kind == "total"]
    assert [line.sign for line in totals] == ["", "=", "="]

    def amount(text: str) -> float:
        return float(text.replace("−", "-"))

    rated, healthy, metered = (amount(line.amount.value) for line in totals)
    taken = [amount(line.amount.value) for line in steps]
    assert rated - sum(taken) == pytest.approx(metered, abs=1e-9)
    assert rated - sum(taken[:3]) == pytest.approx(healthy, abs=1e-9)
    ends = [totals[0].bar.end, *(line.bar.end for line in steps)]
    assert [line.bar.start for line in steps] == pytest.approx(ends[:-1], abs=0.2)
    assert totals[-1].bar.end == pytest.approx(ends[-1], abs=0.2)
    for line in lines:
        assert line.bar.low <= line.bar.end <= line.bar.high


@given(lost=st.floats(-0.01, 0.3), governor=st.floats(-0.01, 0.2), units=st.sampled_from((US, SI)))
def test_the_captions_figures_add_up_as_a_reader_adds_them(
    lost: float, governor: float, units: UnitSystem
) -> None:
    drawn_up = ledger(lost=lost, governor=governor)
    said = ledger_caption(diagnosed(TWIN), drawn_up, units).partition(" The foot")[0]
    number = r"(−?\d+(?:\.\d+)?)"
    found = re.search(
        rf"flow {number} \(.*missing: {number} because.*rated, {number} by.*and {number} \(", said
    )
    assert found
    missing, slower, slip, beyond = (Decimal(each.replace("−", "-")) for each in found.groups())
    assert missing == slower + slip + beyond
    lead = verdict_sentences(replace(TWIN, ledger=drawn_up), units)[0]
    if told := re.search(rf"Of the {number} .* take in here, {number} \(", lead):
        assert Decimal(told[2].replace("−", "-")) == beyond
    unit = units.volume_flow
    true = [unit.from_si(each) for each in (drawn_up.lost.value_m3_s, 0.031)]
    place = 10.0 ** int(missing.as_tuple().exponent)
    assert [float(beyond), float(slip)] == pytest.approx(true, abs=2 * place)


def test_every_bar_of_the_bill_is_drawn_on_the_page() -> None:
    run = diagnosed(TWIN)
    text = page(run, US)
    drawn = text[text.index('<table class="bill"') :]
    drawn = drawn[: drawn.index("</table>")]
    lines = bill(run, ledger(), US)
    assert drawn.count("<svg") == len(lines)
    for line in lines:
        left = min(line.bar.start, line.bar.end)
        assert f'<rect x="{left}" y="8"' in drawn
    assert re.search(
        r'class="number">1479</td>\s*<td role="cell" class="range">1454 to 1504', drawn
    )
    assert "as stated" in drawn


def test_what_is_nothing_is_told_as_nothing_in_every_table() -> None:
    """Rounding leaves 1e-17 where a step is nothing at all."""
    whole = ledger()
    dust = step("wear_and_leak_behind", -3.1e-17, -1.8e-16, 6.4e-17)
    steps = (*whole.steps[:3], dust, *whole.steps[4:])
    said = replace(TWIN, ledger=replace(whole, steps=steps))
    for text in (page(diagnosed(said), US), summary(diagnosed(said), US)):
        assert not re.search(r"0\.0000|e-1[67]", text)


def test_the_caption_says_how_the_foot_stands_to_the_meter() -> None:
    run = diagnosed(TWIN)
    said = ledger_caption(run, ledger(), SI)
    # 0.20 +- 0.02 m3/s of 0.733 are missing: 720 +- 72 m3/h; 112 of slip, 594 lost.
    assert said.startswith("Of the rated flow 720 (648 to 792) m³/h are missing: 14 because")
    assert "112 by the slip" in said
    assert "and 594 (522 to 666) m³/h that a blower in good order would move here" in said
    assert "the meter alone says" in said
    # The invented sweep is a healthy one: a ledger that says much less is not to be trusted.
    assert "look at the meter first" in said
    assert "look at the meter first" not in ledger_caption(run, ledger(lost=0.02), SI)


def test_the_reference_conditions_are_told_in_one_line() -> None:
    said = reference_sentence(ledger(), US)
    assert "the rated 1550 ft³/min" in said
    assert "(29.9 inHg, 68.0 °F) 1550 ft³/min of standard flow" in said
    assert said.endswith("here is 1480, that is 5 % less air with nothing worn.")


def test_a_restriction_is_a_branch_of_its_own_with_its_gain() -> None:
    rows = relieved_rows(diagnosed(TWIN), ledger(), US)
    assert [change for _, _, change in rows] == ["", "+2 %", "+0 %", "+11 %"]
    assert rows[3][0] == "with the hose off, through the open port"
    assert "What a restriction costs" in page(diagnosed(TWIN), US)


@pytest.mark.parametrize("said", [HEALTHY, TWIN, FAR_BELOW, single("low_speed")])
def test_the_ledger_fits_a_terminal(said: object) -> None:
    text = summary(diagnosed(said), US)  # type: ignore[arg-type]
    assert max(map(len, text.splitlines())) <= 100
    rows = [re.search(r"   \S+ to \S+$|   as stated$", line) for line in text.splitlines()]
    assert len(places := [row.start() for row in rows if row]) == 8
    assert len(set(places)) == 1

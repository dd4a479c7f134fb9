"""What readings could tell, against a table that was worked out for the grit unit by other code.

That too is linearised at the healthy machine; its path is known, nothing is lost behind its
blower, and its priors are 40 % for each cause. No published table of this kind was found.
"""

from itertools import pairwise

import pytest
from machines_of_the_bench import P0, Truth, evidence, facts

from pullcurve.diagnosis.causes import posterior
from pullcurve.diagnosis.expected import SETS, Meter, expected_half_widths
from pullcurve.diagnosis.ledger import ledger
from pullcurve.diagnosis.priors import Law, Priors, priors

NAMES = [readings.name for readings in SETS]


@pytest.fixture(scope="module")
def known_path() -> dict[str, dict[str, float]]:
    """With the reference's own assumptions: scatter of displacement 1 %, plate 5 %, flow 0.7 %
    and 1.5 %, all else known."""
    usual = priors()
    scatter = {}
    for name, law in usual.scatter.items():
        if law.law == "lognormal":
            scatter[name] = Law("lognormal", law.first, 1.0001, 1.0001)
        else:
            scatter[name] = Law("uniform", 0.0, 1e-6, 0.0)
    scatter["displacement"] = Law("lognormal", 1.0, 1.01, 1.01)
    scatter["plate"] = Law("lognormal", 1.0, 1.05, 1.05)
    scatter["heat_loss"] = usual.scatter["heat_loss"]
    scatter["filter_linear"] = Law("uniform", 0.999, 1.0, 0.0)
    tight = Priors(scatter, usual.faults, usual.odds)
    return expected_half_widths(facts(), tight, 101_325.0, meter=Meter(0.007, 0.015))


# Of the reference: set of readings, step, half-width in per cent of the flow.
REFERENCE = [
    (0, "wear", 63),
    (0, "leak_behind", 62),
    (0, "wear_and_leak_behind", 53),
    (0, "restriction", 38),
    (1, "wear", 57),
    (1, "leak_behind", 57),
    (1, "wear_and_leak_behind", 13),
    (2, "wear", 51),
    (2, "wear_and_leak_behind", 10),
    (2, "leak_ahead", 5.0),
    (2, "belt", 7.3),
    (3, "belt", 4.1),
]


@pytest.mark.parametrize(("row", "step", "percent"), REFERENCE)
def test_is_near_the_reference(
    known_path: dict[str, dict[str, float]], row: int, step: str, percent: float
) -> None:
    assert 0.5 < known_path[NAMES[row]][step] / percent < 1.5


def test_each_further_reading_tells_more() -> None:
    table = list(expected_half_widths(facts(), priors(), P0).values())
    for before, after in pairwise(table[:-1]):
        assert all(after[step] <= before[step] * 1.001 for step in before)


def test_only_heat_or_a_second_place_parts_wear_from_a_leak_at_the_blower() -> None:
    table = expected_half_widths(facts(), priors(), P0)
    together, heated = table[NAMES[4]], table[NAMES[5]]
    assert together["wear"] > 5 * together["wear_and_leak_behind"]
    assert heated["wear"] < 0.4 * together["wear"]


def test_a_run_with_these_readings_knows_as_much() -> None:
    """The sampled ledger, without the wide priors of faults, is narrower but not otherwise."""
    truth = Truth(
        seen=("inlet_vacuum", "tank_vacuum", "discharge_rise"), plate=True, tachs="engine"
    )
    seen = evidence(truth)
    book = ledger(seen, posterior(seen, priors()))
    expected = expected_half_widths(facts(), priors(), P0)[NAMES[5]]
    steps = {step.name: step.volume for step in book.steps}
    flow = book.metered.volume.value
    for step, name in (("wear", "wear"), ("leak_ahead", "leak_ahead")):
        half = (steps[name].high - steps[name].low) / 2 / flow * 100
        assert half < 1.3 * expected[step]

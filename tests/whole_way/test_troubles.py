"""Each trouble is named on machines that were drawn at random, and none where none is.

How often that succeeds is measured by tests/bench/population.py; here are single runs of it.
"""

from pathlib import Path

import pytest

from population import one_run
from population_instruments import TROUBLES

SEED = 20


@pytest.mark.parametrize("trouble", [*TROUBLES, "straightener_missing"])
def test_a_trouble_is_named(trouble: str, tmp_path: Path) -> None:
    outcomes = [one_run(number, SEED, trouble, tmp_path) for number in range(3)]
    named = [trouble in outcome.named for outcome in outcomes]
    least = 2 if trouble == "water_in_line" else 3
    assert sum(named) >= least, [outcome.named for outcome in outcomes]


def test_no_trouble_is_named_where_none_is(tmp_path: Path) -> None:
    for number in range(6):
        outcome = one_run(number, SEED, "none", tmp_path)
        assert not set(outcome.named) & set(TROUBLES), (number, outcome.named)

"""The table of beliefs, read as it stands."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pullcurve.diagnosis.priors import CAUSE_OF, Law, priors

LAWS = {**priors().scatter, **{name: fault.size for name, fault in priors().faults.items()}}


def test_the_odds_of_all_hypotheses_are_one() -> None:
    hypotheses = priors().hypotheses(tuple(CAUSE_OF))
    assert sum(h.prior for h in hypotheses) == pytest.approx(1.0)
    assert len({h.faults for h in hypotheses}) == len(hypotheses)


def test_no_pair_is_twice_the_same_cause() -> None:
    for h in priors().hypotheses(tuple(CAUSE_OF)):
        assert len(h.causes) == len(h.faults)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
@given(z=st.floats(-3.0, 3.0), step=st.floats(0.01, 1.0))
def test_a_law_rises_with_its_quantile(law: Law, z: float, step: float) -> None:
    low, high = law.value(np.array([z, z + step]))
    assert low < high


def test_a_density_is_that_of_the_draws() -> None:
    law = priors().faults["low_speed"].size
    drawn = law.value(stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000))
    share, edges = np.histogram(drawn, bins=20, density=True)
    middle = (edges[:-1] + edges[1:]) / 2
    assert share == pytest.approx(law.density(middle), rel=0.12)
    assert law.density(np.array([1e-3, 0.9])) == pytest.approx(0.0)

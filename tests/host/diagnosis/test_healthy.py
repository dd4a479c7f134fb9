"""The machine in good order, and what wear alone would take, on logs whose truth is known.

The plant of the bench made the logs; its laws are its own.
"""

import numpy as np
import pytest

from pullcurve.diagnosis.diagnose import Diagnosis, diagnose
from pullcurve.diagnosis.healthy import healthy_band, hose_end_flow, wear_alone
from pullcurve.physics.blower import blanked_inlet_pressure
from sample_runs import sample_run


def diagnosed(name: str) -> Diagnosis:
    found = diagnose(sample_run(name))
    assert isinstance(found, Diagnosis)
    return found


@pytest.fixture(scope="module")
def worn() -> Diagnosis:
    """`worn_sweep.toml`: slip six times the healthy one, leaks next to nothing."""
    return diagnosed("worn_sweep")


def test_wear_alone_finds_the_slip_of_a_blower_that_is_worn_and_nothing_else(
    worn: Diagnosis,
) -> None:
    wear = wear_alone(worn.evidence, worn.posterior)
    assert wear.slip_ratio.low < 6.0 < wear.slip_ratio.high
    assert wear.slip_ratio.high / wear.slip_ratio.low < 3
    # 690 rpm of slip at 1 psi, at 2743 rpm before 93.7 kPa: by the law, without a laminar share.
    by_law = 93_720.0 - float(blanked_inlet_pressure(2743.0, 690.0, 93_720.0, temperature=290.65))
    assert wear.blanked_vacuum_pa.low < by_law < wear.blanked_vacuum_pa.high


def test_the_band_of_a_worn_machine_lies_above_its_points(worn: Diagnosis) -> None:
    """The same machine healthy, same speeds and site air, in the log `healthy_sweep`: its points
    lie within their bands, so the band of the worn one is where it would be."""
    band = healthy_band(worn.evidence, worn.posterior)
    metered = np.exp(worn.evidence.readings[0].value)
    assert all(each.low > flow for each, flow in zip(band, metered, strict=True))
    healthy = diagnosed("healthy_sweep")
    within = healthy_band(healthy.evidence, healthy.posterior)
    flows = np.exp(healthy.evidence.readings[0].value)
    for each, flow in zip(within, flows, strict=True):
        assert each.low < flow * 1.02
        assert each.high > flow * 0.98
    assert all(each.high / each.low < 1.15 for each in (*band, *within))


def test_a_hose_costs_flow_and_says_whether_it_was_on(worn: Diagnosis) -> None:
    without = hose_end_flow(worn.evidence, worn.posterior)
    assert without is not None
    flow, hose_was_on = without
    assert not hose_was_on
    assert flow.high < worn.ledger.metered.mass.value
    full = diagnosed("full_sensors")
    with_hose = hose_end_flow(full.evidence, full.posterior)
    assert with_hose is not None
    assert with_hose[1]
    assert with_hose[0].value == pytest.approx(full.ledger.metered.mass.value, rel=0.01)

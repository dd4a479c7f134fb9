"""What dominates and what would sharpen, in words whose figures follow from the budget."""

from dataclasses import replace

import numpy as np
import pytest

from host.report.results import point, result
from pullcurve.measure.inputs import Source
from pullcurve.measure.points import Contribution, SharedInputs
from pullcurve.quantities import SI
from pullcurve.report.inputs_in_words import best_remedy
from pullcurve.report.result import RunResult
from pullcurve.report.uncertainty_words import uncertainty_sentences


def test_each_figure_follows_from_the_budget() -> None:
    run = result()
    top, bottom = run.points[5], run.points[0]
    told = " ".join(uncertainty_sentences(run, SI))
    whole = [100 * each.standard_flow.u95 / each.standard_flow.value for each in (top, bottom)]
    assert f"that is ±\xa0{whole[0]:.1f}\xa0%" in told
    assert f"At the slowest hold it is ±\xa0{whole[1]:.1f}\xa0%" in told
    assert "discharge coefficient, with 91\xa0% of the variance, common to all runs" in told
    # Variances add (JCGM 100:2008, 5.1.2): known exactly, C and the bores leave the rest.
    zero = [100 * 6.0 / each.differential_pressure_pa.value for each in (top, bottom)]
    rest = [np.linalg.norm([0.70, 0.50, 0.40, 0.06, each]) for each in zero]
    assert "What would sharpen it most: calibrating this meter" in told
    for before, after in zip(whole, rest, strict=True):
        left = f"{after:.1f}" if after >= 1 else f"{after:.2f}"
        assert f"±\xa0{before:.1f}\xa0% would become ±\xa0{left}\xa0%" in told
    of_meter = np.linalg.norm([4.0, 0.78, 0.70])
    assert f"±\xa0{of_meter:.1f}\xa0% belongs to the meter" in told
    own = np.linalg.norm([0.50, 0.40, 0.06, zero[0]])
    assert f"compared. ±\xa0{own:.2f}\xa0% belongs to this run alone" in told


@pytest.mark.parametrize(
    ("shares", "words"),
    [
        ({Source.SENSOR_ZERO: 0.6, Source.DISCHARGE_COEFFICIENT: 0.4}, "zeros of 10 s"),
        (
            {Source.SENSOR_ZERO: 0.4, Source.SENSOR_GAIN: 0.3, Source.THROAT_BORE: 0.3},
            "a better differential",
        ),
        (
            {Source.DISCHARGE_COEFFICIENT: 0.2, Source.THROAT_BORE: 0.3, Source.HUMIDITY: 0.45},
            "calibrating",
        ),
        ({Source.THROAT_BORE: 1.0}, "calibrating"),
        ({Source.ALIASING: 0.7, Source.PULSATION: 0.3}, "a jitter"),
    ],
)
def test_the_remedy_is_the_one_that_takes_most_of_the_variance(
    shares: dict[str, float], words: str
) -> None:
    budget = [
        Contribution(source=name, share=share, u95_m3_s=0.0, shared="run")
        for name, share in shares.items()
    ]
    assert best_remedy(budget)[0].words.startswith(words)


def test_where_no_step_helps_none_is_sold() -> None:
    hold = point(1, 2620.0, 100.0)
    formula = Contribution(
        source=Source.DENSITY_FORMULA, share=1.0, u95_m3_s=hold.standard_flow.u95, shared="meter"
    )
    assert "No single step would sharpen it much." in of(replace(hold, budget=(formula,)))


def test_a_modelled_flow_names_the_sensor_that_would_sharpen_it() -> None:
    hold = point(1, 2620.0, 100.0)
    assert hold.flow_inlet is not None
    own = hold.flow_inlet.u95_m3_s
    losses = SharedInputs(run={Source.LOSSES_INLET: 2 * own / 1.96}, meter={})
    modelled = replace(
        hold.flow_inlet, basis="modelled", u95_m3_s=5**0.5 * own, shared_inputs=losses
    )
    told = of(replace(hold, flow_inlet=modelled))
    share = 100 * own / hold.flow_inlet.value_m3_s
    assert f"known to ±\xa0{5**0.5 * share:.1f}\xa0%" in told
    assert f"(role blower_air) would bring about ±\xa0{share:.1f}\xa0%" in told
    assert "blower_air" not in of(hold)


def of(hold: object) -> str:
    run: RunResult = replace(result(((2620,),)), points=(hold,))
    return " ".join(uncertainty_sentences(run, SI))

"""Sudden loss: spoil's own scatter, pauses, heavy loads and throttle moves told from clogs."""

import numpy as np
import pytest
from cut_bench import heard, scenario, watched

from pullcurve.cut.clog import Sudden, SuddenLoss
from pullcurve.cut.needs import Needs
from pullcurve.cut.samples import SAMPLE_S

OPENNESS = 1.0


def said(values: np.ndarray) -> list[Sudden]:
    sudden = SuddenLoss()
    return [
        each
        for place, x in enumerate(values.tolist(), start=1)
        for each in sudden.add(SAMPLE_S * place, x, OPENNESS)
    ]


def spoil(generator: np.random.Generator, count: int, scatter: float, phi: float) -> np.ndarray:
    values = scatter * generator.standard_normal(count)
    for i in range(1, count):
        values[i] = phi * values[i - 1] + np.sqrt(1 - phi**2) * values[i]
    return values


def test_a_clean_hoses_scatter_is_not_held_against_spoil() -> None:
    """A minute and a half of clean running, then ten minutes of uneven spoil, of twenty machines.
    In these 3.3 h the limit alone lets through 0.3; scatter that is still being learned, some."""
    clogs = begun = 0
    for seed in range(20):
        generator = np.random.default_rng([11, seed])
        clean = 0.003 * generator.standard_normal(180)
        values = np.concatenate((clean, 0.4 + spoil(generator, 1200, 0.1, 0.6)))
        found = said(values)
        clogs += sum(each.what == "clog" for each in found)
        begun += any(each.what == "work_begins" for each in found)
    assert begun >= 18
    assert clogs <= 4


def test_spoil_that_is_heavy_for_minutes_and_goes_is_no_hose_that_came_off() -> None:
    """It takes the velocity, so that is told beside the clog that it looks like. Then the nozzle
    is lifted, which is nothing, and then the hose comes off."""
    chosen = scenario(480, hose_off=((440.0, 455.0),))
    load = chosen.events.clogs[0]
    heavy = {"from_s": 120.0, "to_s": 300.0, "extra_loss": 16.0, "rise_s": 20.0, "unevenness": 0.0}
    parts = (
        load.model_copy(update={"to_s": 360.0}),
        load.model_copy(update={"from_s": 385.0, "to_s": 440.0}),
        type(load)(**heavy),
    )
    events = chosen.events.model_copy(update={"clogs": parts})
    needs = Needs(hose_bore_m=0.127, velocity_m_s=36.0)
    _, spoken = watched(heard(chosen.model_copy(update={"events": events})), needs=needs)
    assert [event.kind for event in spoken] == ["clog", "slow_nozzle", "hose_off"]
    assert 120 < spoken[1].spoken_s < 170
    assert 440 < spoken[2].spoken_s < 445


@pytest.mark.parametrize(("to_rpm", "wanted"), [(1245.0, 30.0), (1690.0, 33.0)])
def test_a_filters_own_law_makes_no_clog_of_a_throttle_move(to_rpm: float, wanted: float) -> None:
    """A filter that takes most of the loss: at less flow it resists more, by the square's
    measure. Air that is too slow only there is told while it lasts, and not before."""
    moves = ((140.0, 2050.0), (142.0, to_rpm), (200.0, to_rpm), (202.0, 2050.0))
    chosen = scenario(270, throttle=moves, machine={"filter": {"linear_pa_s_m3": 20e3}})
    needs = Needs(hose_bore_m=0.127, velocity_m_s=wanted)
    watch, spoken = watched(heard(chosen), needs=needs)
    (event,) = spoken
    assert event.kind == "slow_nozzle"
    assert 142 + 10 < event.spoken_s < 165
    ended = watch.events[0].end_s
    assert ended is not None
    assert event.spoken_s < ended < 210

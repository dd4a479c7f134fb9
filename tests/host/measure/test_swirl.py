"""Flow that is not straight: what the readings tell of it, and what they do not."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest

from host.measure.meters import a_meter
from pullcurve.measure.swirl import (
    inlet_loss,
    is_clogged,
    is_disturbed,
    restlessness,
    straightness_u95,
)
from pullcurve.physics.flow_equation import solve_open_inlet
from pullcurve.physics.venturi import VenturiTube

# Of eddies that are means over nine blocks of white noise, the standard deviation of means over
# five: the sum of their covariances, (5 + 2 (4 8 + 3 7 + 2 6 + 1 5) / 9) / 25, and its root.
OF_MEANS = 0.907


def hold(eddies: float, wander: float, seed: int = 8, count: int = 6000) -> pd.DataFrame:
    """Ten minutes at 2500 rpm and 2000 Pa; both as relative standard deviations."""
    generator = np.random.default_rng(seed)
    speed = 2500 * (1 + wander * np.sin(np.arange(count) / 7))
    smooth = np.convolve(generator.normal(size=count + 8), np.ones(9) / 3, mode="valid")
    pressure = 2000 * (speed / 2500) ** 2 * (1 + eddies * smooth)
    return pd.DataFrame({"length_s": 0.1, "speed_rpm": speed, "zeroed_dp_pa": pressure})


def test_eddies_show_and_a_wandering_throttle_does_not() -> None:
    assert restlessness(hold(0.0, 0.01)) < 1e-3
    assert restlessness(hold(0.04, 0.0)) == pytest.approx(OF_MEANS * 0.04, rel=0.06)


def test_spoil_that_comes_unevenly_is_no_eddy() -> None:
    """More of it: less flow, and less pressure in the clean pipe. An eddy leaves that as it is."""
    spoil, eddies = hold(0.04, 0.0, seed=9), hold(0.04, 0.0, seed=10)
    spoil["meter_pressure_pa"] = 8e4 + 0.5 * spoil["zeroed_dp_pa"]
    eddies["meter_pressure_pa"] = 8e4 + np.random.default_rng(11).normal(0, 2, len(eddies))
    assert restlessness(spoil) < 2e-3
    assert restlessness(eddies) == pytest.approx(OF_MEANS * 0.04, rel=0.06)


@pytest.mark.parametrize(("restless", "ripple", "disturbed"), [
    ([0.03, 0.02, 0.04, 0.002], 0.05, True),
    ([0.003, 0.002, 0.03, 0.002], 0.05, False),  # one hold in which something was in the way
    ([0.03, 0.02, 0.04, 0.03], 0.3, False),  # a ripple that comes through the readings as slow
])  # fmt: skip
def test_half_of_the_holds_must_be_restless(
    restless: list[float], ripple: float, disturbed: bool
) -> None:
    points = pd.DataFrame({"restlessness": restless, "pulsation_ratio": ripple})
    assert is_disturbed(points) == disturbed
    assert not is_disturbed(points[:2])


def test_what_may_swirl_is_allowed_for() -> None:
    plastic, stated = a_meter("venturi"), a_meter("venturi_as_cast")
    assert straightness_u95(plastic, disturbed=False) == 0
    assert straightness_u95(plastic, disturbed=True) == 0.05
    assert straightness_u95(stated, disturbed=False) == 0.005
    for keys, expected in (
        ({"straightener": True}, 0.0),
        ({"straightener": False}, 0.02),
        ({"straight_length": "7 m"}, 0.0),
        ({"straightener": False, "straight_length": "7 m"}, 0.0),
    ):
        assert straightness_u95(a_meter("venturi_as_cast", **keys), disturbed=False) == expected


@pytest.mark.parametrize(("loss", "clogged"), [(0.5, False), (0.9, False), (4.5, True)])
def test_a_clogged_mouth_shows_in_the_pressure_at_the_tap(loss: float, clogged: bool) -> None:
    """The mouth's loss as the physics puts it in comes out again."""
    meter = a_meter("venturi")
    state = solve_open_inlet(
        VenturiTube(meter.pipe_bore, meter.throat_bore, 0.97, 0.0, 3e5),
        np.array([600.0, 1500, 2500]),
        ambient_pressure=np.full(3, 94100.0),
        ambient_temperature=np.full(3, 285.15),
        vapour=np.zeros(3),
        inlet_loss=np.full(3, loss),
        isentropic_exponent=np.full(3, 1.4),
    )
    tap = SimpleNamespace(pressure=state.pressure, half_width=np.full(3, 60.0), compared=True)
    around = SimpleNamespace(
        pressure=SimpleNamespace(value=np.full(3, 94100.0)), places={"tap": tap}
    )
    seen = inlet_loss(meter, cast("Any", SimpleNamespace(state=state)), cast("Any", around))
    assert seen is not None
    assert seen[0] == pytest.approx(loss, abs=0.02)
    assert is_clogged(meter, seen) == clogged
    nothing = SimpleNamespace(pressure=around.pressure, places={})
    assert (
        inlet_loss(meter, cast("Any", SimpleNamespace(state=state)), cast("Any", nothing)) is None
    )

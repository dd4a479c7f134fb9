"""An offset of the differential pressure, from the points of a sweep."""

import numpy as np
import pytest

from pullcurve.reduction.offset import BEND_MODELLED, fitted_offset

SPEED = np.array([1500.0, 1900, 2400, 2900, 3300, 3600])


@pytest.mark.parametrize("offset", [-120.0, 0.0, 60.0, 200.0])
@pytest.mark.parametrize("bend", [-0.08, 0.0, 0.08])
def test_an_offset_is_told_from_a_bend(offset: float, bend: float) -> None:
    """2500 Pa at the top, a path that bends the curve by up to 8 %."""
    x = (SPEED / SPEED.max()) ** 2
    pressure = 2500 * x * (1 + bend * x) + offset
    found = fitted_offset(SPEED, pressure, np.full(6, 2.0), np.ones(6), BEND_MODELLED)
    assert found is not None
    assert abs(found.pa - offset) < 2 * found.u_pa
    assert found.u_pa < 30


def test_few_points_or_one_speed_tell_nothing() -> None:
    assert (
        fitted_offset(SPEED[:3], SPEED[:3] ** 2 / 5000, np.ones(3), np.ones(3), BEND_MODELLED)
        is None
    )
    assert (
        fitted_offset(np.full(6, 3000.0), np.full(6, 2000.0), np.ones(6), np.ones(6), BEND_MODELLED)
        is None
    )


def test_a_step_between_holds_is_told_from_a_clog() -> None:
    speed = np.array([1500.0, 2000, 2500, 3000, 3400, 2600, 1900, 1600])
    clean = 2500 * (speed / 3400) ** 2
    later = np.arange(8) >= 4
    stepped = fitted_offset(speed, clean + 160 * later, np.full(8, 2.0), np.ones(8), BEND_MODELLED)
    clogged = fitted_offset(
        speed, clean * (1 - 0.12 * later), np.full(8, 2.0), np.ones(8), BEND_MODELLED
    )
    assert stepped is not None
    assert stepped.step
    assert abs(stepped.pa - 160) < 3 * stepped.u_pa
    assert clogged is None or not clogged.step

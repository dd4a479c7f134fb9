"""Rating tables fitted and moved: invented sheets whose law is known, and what little tells."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from pullcurve.physics import blower
from pullcurve.physics.blower_rating import Estimate, RatingFit, fit_rating

INCH_OF_MERCURY = 3386.389
FT3_MIN = 4.719474e-4
SEA = 101325.0
SPEEDS, VACUA = (1400, 1850, 2300, 2750), (0, 2, 4, 6, 8, 10, 12)
Cells = tuple[np.ndarray, np.ndarray, np.ndarray]


def sheet(
    displacement: float = 0.0160,
    slip_at_1_psi: float = 115.0,
    *,
    share: float = 0.0,
    back: float = 0.0,
    step: float = 1.0,
    speeds: tuple[float, ...] = SPEEDS,
    inches: tuple[float, ...] = VACUA,
) -> Cells:
    """A data sheet as its maker would print it, flows rounded to `step` cubic feet a minute."""
    speed, vacuum = np.meshgrid(np.array(speeds, float), np.array(inches) * INCH_OF_MERCURY)
    multiple = blower.slip_multiple(SEA - vacuum, SEA + back, laminar_share=share)
    flow = displacement * (speed - slip_at_1_psi * multiple) / 60 / FT3_MIN
    return speed.ravel(), vacuum.ravel(), np.round(flow / step).ravel() * step * FT3_MIN


def test_a_sheet_gives_its_figures_back() -> None:
    fit = fit_rating(*sheet(share=0.2), rounding=FT3_MIN)
    assert fit.laminar_sought
    figures = [fit.displacement, fit.slip_rpm_at_1_psi, fit.laminar_share]
    u = np.sqrt(np.diag(fit.covariance))[:3]
    np.testing.assert_array_less(np.abs(np.array(figures) - [0.0160, 115, 0.2]), 3 * u)
    assert np.std(fit.residuals) < 0.5 * FT3_MIN
    assert fit.lack_of_fit < 0.1 * FT3_MIN


def test_the_figures_are_as_certain_as_scipy_has_them() -> None:
    """curve_fit, which knows neither the law's bounds nor what is known beforehand."""
    speed, vacuum, flow = sheet(share=0.2)
    fit = fit_rating(speed, vacuum, flow, rounding=FT3_MIN)

    def law(at: np.ndarray, litres: float, slip: float, share: float) -> np.ndarray:
        multiple = blower.slip_multiple(SEA - at[1], SEA, laminar_share=share)
        return np.asarray(litres / 1000 * (at[0] - slip * multiple) / 60)

    cells = np.stack([speed, vacuum])
    found, covariance = curve_fit(law, cells, flow, p0=[15.0, 100.0, 0.1])
    scatter = np.sqrt(np.sum((law(cells, *found) - flow) ** 2) / (flow.size - 3))
    # The rounding's own standard deviation, or the scatter where that is more.
    covariance *= (max(scatter, FT3_MIN / np.sqrt(12)) / scatter) ** 2
    figures = [1000 * fit.displacement, fit.slip_rpm_at_1_psi, fit.laminar_share]
    np.testing.assert_allclose(figures, found, rtol=1e-3)
    u = np.sqrt(np.diag(fit.covariance))[:3] * [1000, 1, 1]
    np.testing.assert_allclose(u, np.sqrt(np.diag(covariance)), rtol=0.03)


def test_a_sheet_with_a_back_pressure_of_its_own() -> None:
    cells = sheet(back=1500.0)
    unaware = fit_rating(*cells, rounding=FT3_MIN)
    aware = fit_rating(*cells, rounding=FT3_MIN, back_pressure=Estimate(0.0, 1500.0))
    told = fit_rating(*cells, rounding=FT3_MIN, back_pressure=Estimate(1500.0))
    assert aware.back_pressure == pytest.approx(1500, abs=150)
    for fit in (aware, told):
        assert fit.slip_rpm_at_1_psi == pytest.approx(115, abs=2)
        assert np.std(fit.residuals) < 0.5 * FT3_MIN
    # Unaware, the law misses at no vacuum, says so, and states less certain figures.
    assert unaware.lack_of_fit > 3 * aware.lack_of_fit
    assert unaware.covariance[1, 1] > 4 * told.covariance[1, 1]
    none = fit_rating(*sheet(), rounding=FT3_MIN, back_pressure=Estimate(0.0, 1500.0))
    assert 0 <= none.back_pressure < 30


def predict(fit: RatingFit, rng: np.random.Generator) -> tuple[tuple[float, ...], float, float]:
    outlet = rng.uniform(75e3, 102e3)
    inlet = outlet * (1 - rng.uniform(1, 12) * INCH_OF_MERCURY / SEA)
    state = (rng.uniform(1200, 2750), inlet, outlet, rng.uniform(270, 315))
    answer = fit.at(*state)
    return state, float(answer.inlet_flow), float(answer.standard_uncertainty)


@pytest.mark.parametrize("step", [1.0, 5.0])
def test_a_prediction_is_as_good_as_it_says(step: float) -> None:
    """Random sheets and sites, some with laminar slip, some with a back-pressure unknown."""
    rng = np.random.default_rng(7)
    errors = []
    for _ in range(120):
        v, s = rng.uniform(0.006, 0.03), rng.uniform(40, 180)
        share = rng.choice([0.0, rng.uniform(0, 0.3)])
        cells = sheet(
            v,
            s,
            share=share,
            back=abs(rng.normal(0, 1500)),
            step=step,
            speeds=tuple(rng.choice(np.arange(1150, 2751, 200), rng.integers(2, 5), False)),
            inches=tuple(rng.choice(VACUA, rng.integers(2, 6), False)),
        )
        fit = fit_rating(*cells, rounding=step * FT3_MIN, back_pressure=Estimate(0.0, 1500.0))
        (speed, inlet, outlet, kelvin), flow, u = predict(fit, rng)
        slip = s * blower.slip_multiple(inlet, outlet, kelvin, 1.0, share)
        errors.append((flow - v * (speed - slip) / 60) / u)
    inside = np.abs(errors) < 2
    assert inside.mean() > 0.93
    assert 0.5 < np.std(errors) < 1.15  # honest, and not by being vague


def test_two_vacua_leave_the_share_in_doubt() -> None:
    """No share is sought; what it could be widens the answer, most away from the sheet's vacua."""
    fit = fit_rating(*sheet(inches=(4, 8)), rounding=FT3_MIN)
    assert not fit.laminar_sought
    assert fit.laminar_share == 0
    assert fit.covariance[2, 2] == pytest.approx(0.15**2)
    firm = fit_rating(*sheet(inches=(4, 8)), rounding=FT3_MIN, laminar_share=Estimate(0.0))
    assert firm.covariance[2, 2] == 0
    inlet = SEA - np.array([4.0, 8.0, 14.0]) * INCH_OF_MERCURY
    wider = (
        fit.at(2750.0, inlet, SEA).standard_uncertainty
        / firm.at(2750.0, inlet, SEA).standard_uncertainty
    )
    assert 1 < wider[0] < wider[1] < wider[2]
    assert wider[2] > 10


def test_few_facts_are_enough_and_say_less() -> None:
    """One rated point; then the displacement too; then the whole sheet."""
    cell = tuple(column[-1] for column in sheet(inches=(12,)))
    here = (2750.0, SEA - 3 * INCH_OF_MERCURY, SEA)
    truth = 0.0160 * (2750 - 115 * blower.slip_multiple(*here[1:])) / 60
    point = fit_rating(*cell, rounding=10 * FT3_MIN)
    both = fit_rating(*cell, rounding=10 * FT3_MIN, displacement=Estimate(0.0160, 0.0160 * 0.005))
    whole = fit_rating(*sheet(), rounding=FT3_MIN)
    answers = [fit.at(*here) for fit in (point, both, whole)]
    u = [float(answer.standard_uncertainty) for answer in answers]
    assert u[0] > 1.5 * u[1] > 3 * u[2]
    for answer in answers:
        assert abs(answer.inlet_flow - truth) < 2 * answer.standard_uncertainty


def test_a_wrong_cell_stands_out() -> None:
    speed, vacuum, flow = sheet(step=5.0)
    flow[11] -= 60 * FT3_MIN
    fit = fit_rating(speed, vacuum, flow, rounding=5 * FT3_MIN)
    assert np.argmax(np.abs(fit.residuals)) == 11
    assert fit.lack_of_fit > 5 * FT3_MIN


@pytest.mark.parametrize(
    ("cells", "sentence"),
    [
        (([2750.0, 0.0], [0.0, 0.0], [0.5, 0.5]), "row 2 of the rating"),
        (([2750.0], [102e3], [0.5]), "row 1 of the rating"),
        (([2750.0], [np.nan], [0.5]), "row 1 of the rating"),
        (([], [], []), "at least one cell"),
    ],
)
def test_what_is_no_rating_is_refused(cells: tuple[list[float], ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        fit_rating(*map(np.array, cells), rounding=FT3_MIN)
    with pytest.raises(ValueError, match="step"):
        fit_rating(2750.0, 0.0, 0.5, rounding=0.0)

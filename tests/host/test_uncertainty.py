"""The uncertainty engine, against the GUM's and its supplement's worked examples."""

from collections.abc import Mapping

import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import umath

from host.monte_carlo import Sample, monte_carlo
from pullcurve.physics import air
from pullcurve.physics.flow_equation import solve_in_line
from pullcurve.physics.venturi import VenturiTube
from pullcurve.uncertainty import (
    Input,
    Reach,
    covariance_between_runs,
    expanded,
    propagate,
    rectangular,
)

Named = Mapping[str, np.ndarray]


def shortest_interval(sample: Sample, level: float) -> tuple[float, float]:
    """JCGM 101:2008, 5.3.4: the shortest of all intervals that hold the share."""
    ordered = np.sort(sample.draws[:, 0])
    inside = round(level * len(ordered))
    widths = ordered[inside:] - ordered[:-inside]
    start = int(np.argmin(widths))
    return float(ordered[start]), float(ordered[start + inside])


def test_gum_h1_end_gauge() -> None:
    """JCGM 100:2008, H.1: l = 50.000838 mm, u_c = 32 nm, nu_eff = 16, U99 = 93 nm."""

    def length(x: Named) -> np.ndarray:
        gauge = x["standard"]
        expansion = x["d_alpha"] * x["theta"] + x["alpha"] * x["d_theta"]
        return gauge + x["difference"] - gauge * expansion

    result = propagate(
        length,
        [
            Input("standard", 50.000623e6, 25.0, degrees_of_freedom=18),
            Input("difference", 215.0, 9.7, degrees_of_freedom=25.6),
            Input("d_alpha", 0.0, 1e-6 / np.sqrt(3), degrees_of_freedom=50),
            Input("theta", -0.1, 0.41),
            Input("alpha", 11.5e-6, 1.2e-6),
            Input("d_theta", 0.0, 0.05 / np.sqrt(3), degrees_of_freedom=2),
        ],
    )
    assert result.value[0] == pytest.approx(50.000838e6, abs=0.5)
    assert result.standard_uncertainty[0] ** 2 == pytest.approx(1002, abs=1.5)
    assert abs(result.contribution("d_alpha")[0]) == pytest.approx(2.9, abs=0.05)
    assert abs(result.contribution("d_theta")[0]) == pytest.approx(16.6, abs=0.1)
    assert result.effective_degrees_of_freedom[0] == 16
    assert result.expanded_uncertainty(0.99)[0] == pytest.approx(93, abs=0.6)


H2 = np.array(
    [
        [5.007, 4.994, 5.005, 4.990, 4.999],
        [0.019663, 0.019639, 0.019640, 0.019685, 0.019678],
        [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
    ]
)


@pytest.mark.parametrize(
    ("correlated", "u"),
    [
        (True, [0.071, 0.295, 0.236]),
        # What the same readings would give if their correlation were forgotten (computed).
        (False, [0.195, 0.201, 0.204]),
    ],
)
def test_gum_h2_correlated_readings(correlated: bool, u: list[float]) -> None:
    """JCGM 100:2008, H.2: V, I, phi read together; R, X, Z with their correlations."""
    covariance = np.cov(H2) / 5
    if not correlated:
        covariance = np.diag(np.diag(covariance))
    root = np.linalg.cholesky(covariance)

    def impedance(x: Named) -> np.ndarray:
        independent = np.stack([x["a"], x["b"], x["c"]])
        v, i, phi = (
            mean + np.tensordot(row, independent, 1)
            for mean, row in zip(H2.mean(axis=1), root, strict=True)
        )
        return np.concatenate([v / i * np.cos(phi), v / i * np.sin(phi), v / i], axis=1)

    result = propagate(impedance, [Input(name, 0.0, 1.0, Reach.RUN) for name in "abc"])
    np.testing.assert_allclose(result.value, [127.732, 219.847, 254.260], atol=6e-4)
    np.testing.assert_allclose(result.standard_uncertainty, u, atol=1e-3)
    if correlated:
        scale = result.standard_uncertainty
        correlation = result.covariance() / np.outer(scale, scale)
        np.testing.assert_allclose(
            correlation[np.triu_indices(3, 1)], [-0.588, -0.485, 0.993], atol=1e-3
        )


def total(x: Named) -> np.ndarray:
    return x["a"] + x["b"] + x["c"] + x["d"]


@pytest.mark.parametrize(
    ("first_half_width", "u", "half_width", "tolerance"),
    [(np.sqrt(3), 2.0, 3.88, 0.04), (10 * np.sqrt(3), 10.1, 17.0, 0.1)],
    ids=["9.2.3", "9.2.4"],
)
def test_sum_of_rectangulars(
    first_half_width: float, u: float, half_width: float, tolerance: float
) -> None:
    """JCGM 101:2008, 9.2.3 and 9.2.4 (values from memory): shortest 95 % interval."""
    inputs = [rectangular("a", 0.0, first_half_width)]
    inputs += [rectangular(name, 0.0, np.sqrt(3)) for name in "bcd"]
    sample = monte_carlo(total, inputs, 200_000, seed=1, rectangular="abcd")
    assert sample.standard_uncertainty[0] == pytest.approx(u, rel=0.01)
    low, high = shortest_interval(sample, 0.95)
    assert (high - low) / 2 == pytest.approx(half_width, abs=tolerance)
    result = propagate(total, inputs)
    assert result.standard_uncertainty[0] == pytest.approx(u, rel=5e-3)
    # Without degrees of freedom the coverage factor is the normal one: too wide in 9.2.4.
    assert result.expanded_uncertainty()[0] == pytest.approx(1.96 * u, rel=5e-3)


def test_mass_calibration() -> None:
    """JCGM 101:2008, 9.3 (values from memory): 1.234 mg, u 0.0755 mg, [1.084, 1.383] mg.
    The estimates of the densities of weight and reference agree, so first order sees half.
    """

    def mass(x: Named) -> np.ndarray:
        buoyancy = (x["air"] - 1.2) * (1 / x["weight"] - 1 / x["reference"])
        return (x["mass"] + x["difference"]) * (1 + buoyancy) - 100_000

    inputs = [
        Input("mass", 100_000.0, 0.050),
        Input("difference", 1.234, 0.020),
        rectangular("air", 1.2, 0.1),
        rectangular("weight", 8000.0, 1000.0),
        rectangular("reference", 8000.0, 50.0),
    ]
    evenly = {"air", "weight", "reference"}
    sample = monte_carlo(mass, inputs, 200_000, seed=2, rectangular=evenly)
    assert sample.value[0] == pytest.approx(1.234, abs=1e-3)
    assert sample.standard_uncertainty[0] == pytest.approx(0.0755, abs=5e-4)
    low, high = shortest_interval(sample, 0.95)
    assert (low, high) == (pytest.approx(1.084, abs=0.01), pytest.approx(1.383, abs=0.01))
    assert propagate(mass, inputs).standard_uncertainty[0] == pytest.approx(0.0539, abs=1e-4)


def test_t_distribution_is_drawn_for_few_degrees_of_freedom() -> None:
    """t with 5 degrees of freedom: variance 5/3, 97.5 % quantile 2.571 (JCGM 100, table G.2)."""
    one = [Input("a", 10.0, 2.0, degrees_of_freedom=5)]
    sample = monte_carlo(lambda x: x["a"], one, draws=400_000, seed=3)
    assert sample.standard_uncertainty[0] == pytest.approx(2 * np.sqrt(5 / 3), rel=0.01)
    assert sample.interval()[1][0] == pytest.approx(10 + 2 * 2.571, rel=0.01)
    assert propagate(lambda x: x["a"], one).expanded_uncertainty()[0] == pytest.approx(
        2 * 2.571, abs=1e-3
    )


def model(x: Named) -> np.ndarray:
    return x["gain"] * np.sqrt(x["reading"] - x["zero"]) * np.exp(x["slope"] * x["reading"] / 100)


READINGS = np.array([4.0, 9.0, 30.0, 80.0])


def some_run(readings: np.ndarray, zero: float) -> list[Input]:
    return [
        expanded("gain", 2.0, 0.06, Reach.METER),
        rectangular("slope", 0.1, 0.02, Reach.METER),
        Input("zero", zero, 0.2, Reach.RUN),
        Input("reading", readings, 0.01 * readings),
    ]


def test_covariance_against_the_uncertainties_package() -> None:
    """An independent package that follows every variable by automatic differentiation."""
    gain = uncertainties.ufloat(2.0, 0.03)
    slope = uncertainties.ufloat(0.1, 0.02 / np.sqrt(3))

    def run(readings: np.ndarray, zero: uncertainties.UFloat) -> list[uncertainties.UFloat]:
        own = [uncertainties.ufloat(value, 0.01 * value) for value in readings]
        return [gain * umath.sqrt(r - zero) * umath.exp(slope * r / 100) for r in own]

    first = propagate(model, some_run(READINGS, 0.1))
    second = propagate(model, some_run(READINGS[:2], -0.3))
    oracle = run(READINGS, uncertainties.ufloat(0.1, 0.2))
    oracle += run(READINGS[:2], uncertainties.ufloat(-0.3, 0.2))
    expected = np.array(uncertainties.covariance_matrix(oracle))
    np.testing.assert_allclose(first.value, [q.nominal_value for q in oracle[:4]], rtol=1e-14)
    np.testing.assert_allclose(first.covariance(), expected[:4, :4], rtol=1e-6)
    np.testing.assert_allclose(second.covariance(), expected[4:, 4:], rtol=1e-6)
    np.testing.assert_allclose(covariance_between_runs(first, second), expected[:4, 4:], rtol=1e-6)


def test_monte_carlo_shares_what_first_order_shares() -> None:
    inputs = some_run(READINGS, 0.1)
    sample = monte_carlo(model, inputs, draws=200_000, seed=5, rectangular={"slope"})
    result = propagate(model, inputs)
    drawn = np.cov(sample.draws, rowvar=False)
    np.testing.assert_allclose(drawn, result.covariance(), rtol=0.03)


PIPE, THROAT = 0.1446022, 0.098298  # 5.693 in, 3.870 in


def venturi_flow(x: Named) -> np.ndarray:
    vapour = air.vapour_fraction(x["pressure"], x["temperature"], x["humidity"])
    drop = x["drop"] + x["zero"] + x["band"]
    tube = VenturiTube(x["pipe"], x["throat"], x["coefficient"])
    state = solve_in_line(
        tube, drop, pressure=x["pressure"], temperature=x["temperature"], vapour=vapour
    )
    return state.mass_flow


@pytest.mark.parametrize(
    ("inches", "bores", "band", "zero"),
    [(1, 0.26, 1.44, 0.58), (2, 0.26, 0.72, 0.29), (12, 0.26, 0.11, 0.05)],
)
def test_budget_of_a_plain_tube(inches: float, bores: float, band: float, zero: float) -> None:
    """Shares in percent of flow, computed with a separate script: C 2 %, bores 0.1 mm, band
    0.25 % of 20 inH2O and zero 5 Pa (both rectangular), 150 Pa, 1 K, 10 % humidity.
    """
    inch = 249.08891
    inputs = [
        Input("coefficient", 0.97, 0.97 * 0.02, Reach.METER),
        Input("drop", inches * inch, 0.0),
        Input("pressure", 94_100.0, 150.0, Reach.RUN),
        Input("temperature", 285.15, 1.0, Reach.RUN),
        Input("humidity", 0.55, 0.1, Reach.RUN),
        Input("pipe", PIPE, 1e-4, Reach.METER),
        Input("throat", THROAT, 1e-4, Reach.METER),
        rectangular("band", 0.0, 0.0025 * 20 * inch, Reach.RUN),
        rectangular("zero", 0.0, 5.0, Reach.RUN),
    ]
    result = propagate(venturi_flow, inputs)

    def percent(*names: str) -> float:
        parts = np.array([result.contribution(name)[0] for name in names])
        return float(100 * np.sqrt(np.sum(parts**2)) / result.value[0])

    assert percent("coefficient") == pytest.approx(2.0, abs=0.01)
    assert percent("throat", "pipe") == pytest.approx(bores, abs=0.015)
    assert percent("band") == pytest.approx(band, abs=0.015)
    assert percent("zero") == pytest.approx(zero, abs=0.01)
    assert percent("pressure", "temperature", "humidity") == pytest.approx(0.21, abs=0.015)


def test_what_two_points_share_leaves_their_ratio() -> None:
    """2990 and 2691 Pa, u(C) 1.5 %, one offset of +-12.4 Pa, noise 3 Pa: each 1.51 %,
    their ratio 0.076 %, and 2.13 % if they were taken as independent (computed separately).
    """
    drops = np.array([2990.0, 2691.0])

    def flow(x: Named) -> np.ndarray:
        return x["coefficient"] * np.sqrt(x["drop"] - x["zero"])

    inputs = [
        Input("coefficient", 0.97, 0.97 * 0.015, Reach.METER),
        Input("drop", drops, 3.0),
        rectangular("zero", 0.0, 12.4, Reach.RUN),
    ]
    result = propagate(flow, inputs)
    relative = result.covariance() / np.outer(result.value, result.value)
    np.testing.assert_allclose(np.sqrt(np.diag(relative)), 0.0151, atol=1e-4)
    ratio = np.array([1.0, -1.0])
    assert np.sqrt(ratio @ relative @ ratio) == pytest.approx(0.000762, abs=5e-6)
    assert np.sqrt(np.trace(relative)) == pytest.approx(0.0213, abs=1e-4)
    sample = monte_carlo(flow, inputs, draws=20_000, seed=6, rectangular={"zero"})
    drawn = np.std(sample.draws[:, 0] / sample.draws[:, 1]) * result.value[1] / result.value[0]
    assert drawn == pytest.approx(0.000762, rel=0.03)


def test_near_zero_flow_only_monte_carlo_holds() -> None:
    """The root of noise of 3 Pa about zero: half of all draws lie within that of 0.674 u."""

    def root(x: Named) -> np.ndarray:
        return np.sign(x["drop"]) * np.sqrt(np.abs(x["drop"]))

    inputs = [Input("drop", 0.0, 3.0)]
    sample = monte_carlo(root, inputs, draws=200_000, seed=7)
    low, high = sample.interval(0.5)
    assert (low[0], high[0]) == (
        pytest.approx(-np.sqrt(0.6745 * 3), rel=0.01),
        pytest.approx(np.sqrt(0.6745 * 3), rel=0.01),
    )
    assert propagate(root, inputs).standard_uncertainty[0] > 20 * sample.standard_uncertainty[0]


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(0, 1e3)), min_size=1, max_size=5),
    st.floats(0.1, 10),
)
def test_linear_models_are_exact(terms: list[tuple[float, float]], scale: float) -> None:
    """u of a sum of c_i x_i is the root of the sum of squares, and follows the unit."""
    inputs = [Input(str(i), 1.0, u) for i, (_, u) in enumerate(terms)]

    def weighted(factor: float) -> np.ndarray:
        result = propagate(
            lambda x: factor * sum(c * x[str(i)] for i, (c, _) in enumerate(terms)), inputs
        )
        return result.standard_uncertainty

    expected = np.sqrt(sum((c * u) ** 2 for c, u in terms))
    assert weighted(1.0)[0] == pytest.approx(expected, rel=1e-6, abs=1e-8)
    assert weighted(scale)[0] == pytest.approx(scale * expected, rel=1e-6, abs=1e-7)


def test_bad_inputs_are_refused() -> None:
    with pytest.raises(ValueError, match="zero: a standard uncertainty"):
        Input("zero", 0.0, -1.0)
    with pytest.raises(ValueError, match="zero: a standard uncertainty"):
        Input("zero", 0.0, np.array([1.0, np.nan]))
    with pytest.raises(ValueError, match="a name of their own"):
        propagate(total, [Input("a", 0.0, 1.0), Input("a", 0.0, 1.0)])
    with pytest.raises(ValueError, match="the model made"):
        propagate(lambda x: x["a"][0], [Input("a", 0.0, 1.0)])

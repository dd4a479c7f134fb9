"""Run lengths against published tables, and that they hold for scatter that hangs together."""

import csv
from pathlib import Path

import numpy as np
import pytest

from pullcurve.cut.residual import Level
from pullcurve.cut.run_length import cusum_limit, cusum_run_length

TABLE = Path(__file__).parents[2] / "reference_data/run_lengths.csv"
ROWS = [
    (row["chart"], *(float(value) for value in list(row.values())[1:]))
    for row in csv.DictReader(
        line for line in TABLE.read_text(encoding="utf-8").splitlines() if line[0] != "#"
    )
]


@pytest.mark.parametrize(("chart", "reference", "limit", "shift", "run_length", "tolerance"), ROWS)
def test_run_lengths_are_the_published_ones(
    chart: str, reference: float, limit: float, shift: float, run_length: float, tolerance: float
) -> None:
    if chart == "one_sided":
        ours = cusum_run_length(reference, limit, shift)
    else:
        sides = (cusum_run_length(reference, limit, side) for side in (shift, -shift))
        ours = 1 / sum(1 / side for side in sides)
    assert ours == pytest.approx(run_length, abs=tolerance)


@pytest.mark.parametrize(("run_length", "h"), [(370, 4.775), (1000, 5.757), (2880, 6.81)])
def test_a_limit_is_found_for_a_run_length(run_length: float, h: float) -> None:
    """h of two-sided charts with k 0.5, whose one side has twice the run length; solved from
    the integral equation with another quadrature."""
    assert cusum_limit(0.5, 2 * run_length) == pytest.approx(h, abs=0.002)


def false_alarms(values: np.ndarray, k: float, h: float) -> int:
    found, total = 0, 0.0
    for value in values:
        total = max(0.0, total + value - k)
        if total > h:
            found, total = found + 1, 0.0
    return found


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.75])
def test_the_run_length_holds_for_scatter_that_hangs_together(phi: float) -> None:
    """The naive sum alarms ten times too often at 0.5; what is new in each value does not."""
    generator = np.random.default_rng(20240101)
    steps, design = 30_000, 500.0
    new = generator.standard_normal(steps)
    values = np.empty(steps)
    before = 0.0
    for i in range(steps):
        before = values[i] = phi * before + np.sqrt(1 - phi**2) * new[i]
    k, h = 0.5, cusum_limit(0.5, design)
    level = Level(1.0, 1000.0, 3000.0, 1.0)
    found = np.zeros(steps)
    for i in range(2, steps):
        level.learn(values[i])
        a, b, spread = level.foretold()
        off = values[i - 2 : i + 1] - level.level
        found[i] = (off[2] - a * off[1] - b * off[0]) / spread
    expected = steps / design
    assert 0.6 * expected < false_alarms(found, k, h) < 1.5 * expected
    if phi:
        assert false_alarms(values, k, h) > 4 * expected

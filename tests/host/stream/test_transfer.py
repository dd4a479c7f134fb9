"""Counts to quantities, against the data sheets' own numbers."""

import numpy as np
import pytest

from pullcurve.stream import transfer
from pullcurve.stream.header import Channel

# BST-BMP280-DS001-23, 3.12: trimming words and readings of the worked example. The last six
# stand for H1..H6, for which no example is published.
TRIM = (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)


def test_bosch_example_of_the_data_sheet() -> None:
    celsius, fine = transfer.bosch_temperature([519888], TRIM)
    pascal = transfer.bosch_pressure([415148], fine, TRIM)
    assert celsius[0] == pytest.approx(25.08, abs=0.005)
    assert fine[0] == pytest.approx(128422, abs=1)
    assert pascal[0] == pytest.approx(100653.27, abs=0.05)


def test_bosch_pressure_without_a_value_is_nan() -> None:
    assert np.isnan(transfer.bosch_pressure([415148], [128422.0], (*TRIM[:3], 0, *TRIM[4:])))


def linear(*ends: float) -> Channel:
    low, high, count_low, count_high = ends
    return Channel("x", "Pa", "linear", low, high, count_low, count_high, 0, 0)


@pytest.mark.parametrize(
    ("channel", "count", "value"),
    [
        # Transfer A of the 14-bit parts (TN 008201): 10 % and 90 % of 2^14 are the rated ends.
        (linear(-2500, 2500, 1638, 14746), 1638, -2500),
        (linear(-2500, 2500, 1638, 14746), 8192, 0),
        (linear(-2500, 2500, 1638, 14746), 14746, 2500),
        # One-sided: the sensor's zero is its low end.
        (linear(0, 6895, 1638, 14746), 8192, 3447.5),
        # LPS22HB: 4096 counts for a hectopascal.
        (linear(26000, 126000, 26000 * 40.96, 126000 * 40.96), 4096 * 1013.25, 101325),
    ],
)
def test_linear_parts_reach_their_end_points(channel: Channel, count: float, value: float) -> None:
    assert transfer.linear([count], channel)[0] == pytest.approx(value, abs=1e-6 * 126000)

"""The zero of the differential pressure, from engine-off stretches whose zero is known."""

import numpy as np
import pandas as pd
import pytest

from pullcurve.measure.zeros import Zeros, find_zeros

BLOCK_S, SPAN_PA, COUNT_PA, BOUND = 0.1, 13_789.5, 1.0, 0.0125
LIMIT_PA = 2 * BOUND * SPAN_PA  # 345 Pa: no sensor's zero lies so far off


def channels(
    *legs: tuple[float, float, float], noise_pa: float = 0.0, seed: int = 1
) -> pd.DataFrame:
    """legs of (seconds, rpm, Pa)."""
    seconds, rpm, pa = (np.array(each) for each in zip(*legs, strict=True))
    count = np.round(seconds / BLOCK_S).astype(int)
    time_s = BLOCK_S * (np.arange(count.sum()) + 0.5)
    noise = noise_pa * np.random.default_rng(seed).standard_normal(len(time_s))
    return pd.DataFrame(
        {
            "time_s": time_s,
            "speed_rpm": np.repeat(rpm, count),
            "boot": 1,
            "sensor_dp_pa": np.repeat(pa, count) + noise,
            "differential_pressure_sd_pa": 1.5,
        }
    )


def found(table: pd.DataFrame, count_pa: float = COUNT_PA) -> Zeros:
    return find_zeros(table, SPAN_PA, count_pa, BOUND)


SWEEP = ((20.0, 0.0, 3.0), (60.0, 2200.0, 1500.0), (20.0, 0.0, 9.0))


def test_the_zero_between_two_stops_goes_along_the_straight_line() -> None:
    """3 Pa until 19 s (a second before the first edge), 9 Pa from 84 s (four after the last one):
    middles 9.5 s and 92 s."""
    zeros = found(channels(*SWEEP))
    assert zeros.table["start_s"].tolist() == pytest.approx([0.0, 84.0], abs=0.2)
    assert zeros.table["end_s"].tolist() == pytest.approx([19.0, 100.0], abs=0.2)
    at = zeros.at(np.array([0.0, 9.5, 50.75, 92.0, 200.0]))
    np.testing.assert_allclose(at, [3, 3, 6, 9, 9], atol=0.02)
    assert zeros.noise_pa == 1.5


def test_a_zero_that_moved_is_known_to_half_its_way() -> None:
    """It may have been at either end all the time: 6 Pa moved, so 3 Pa either way of the middle."""
    assert found(channels(*SWEEP)).half_width_pa() == pytest.approx(3.0)
    third = (*SWEEP, (60.0, 2200.0, 1500.0), (20.0, 0.0, 1.0))
    assert found(channels(*third)).half_width_pa() == pytest.approx(4.0)


def test_a_move_that_an_offset_explains_is_none_of_the_zero_s() -> None:
    zeros = found(channels(*SWEEP))
    assert zeros.half_width_pa({1: 6.0}) == pytest.approx(0.0, abs=1e-9)
    assert zeros.half_width_pa({1: -2.0}) == pytest.approx(4.0)


def test_a_single_zero_may_wander_by_a_share_of_the_span() -> None:
    assert found(channels(*SWEEP[:2])).half_width_pa() == pytest.approx(0.0005 * SPAN_PA)


def test_without_a_stop_the_zero_is_as_wrong_as_the_data_sheet_allows() -> None:
    zeros = found(channels((60.0, 2200.0, 1500.0)))
    assert zeros.table.empty
    assert np.isnan(zeros.noise_pa)
    assert zeros.half_width_pa() == pytest.approx(BOUND * SPAN_PA)
    assert zeros.at(np.array([1.0, 2.0])).tolist() == [0.0, 0.0]


def test_the_air_that_the_coasting_rotors_still_draw_is_not_in_the_zero() -> None:
    """After the last edge the pressure dies away from 300 Pa with a time constant of 0.9 s: in four
    seconds to 1.2 % of it. Over all 20 s it would put 13 Pa into the zero."""
    table = channels((30.0, 2200.0, 1500.0), (20.0, 0.0, 5.0))
    since = table["time_s"] - 30
    table["sensor_dp_pa"] += np.where(since > 0, 300 * np.exp(-since / 0.9), 0)
    zeros = found(table)
    assert zeros.table["start_s"][0] == pytest.approx(34, abs=0.2)
    assert zeros.table["zero_pa"][0] == pytest.approx(5.0, abs=0.3)


def test_the_air_that_moves_before_the_first_edge_is_not_in_the_zero() -> None:
    table = channels((20.0, 0.0, 5.0), (30.0, 2200.0, 1500.0))
    table.loc[table["time_s"].between(19.1, 20), "sensor_dp_pa"] = 80.0
    assert found(table).table["zero_pa"][0] == pytest.approx(5.0)


@pytest.mark.parametrize(("seconds", "stretches"), [(3.8, 0), (4.5, 1)])
def test_a_stop_counts_from_three_seconds_on(seconds: float, stretches: int) -> None:
    """Of a stop at the beginning, the second before the first edge does not count."""
    assert len(found(channels((seconds, 0.0, 5.0), (30.0, 2200.0, 1500.0))).table) == stretches


@pytest.mark.parametrize(("pa", "stretches"), [(0.98 * LIMIT_PA, 1), (1.02 * LIMIT_PA, 0)])
def test_air_that_moves_past_a_dead_pickup_is_no_zero(pa: float, stretches: int) -> None:
    assert len(found(channels((20.0, 0.0, pa), (30.0, 2200.0, 1500.0))).table) == stretches


def test_a_blower_that_stands_while_its_engine_turns_gives_no_zero() -> None:
    table = channels((20.0, 0.0, 5.0), (30.0, 2200.0, 1500.0), (20.0, 0.0, 6.0))
    table["engine_speed_rpm"] = np.where(table["time_s"] < 50, 900.0, 0.0)
    assert found(table).table["zero_pa"].tolist() == pytest.approx([6.0])


def test_a_board_that_starts_again_begins_a_stretch_of_its_own() -> None:
    table = channels((20.0, 0.0, 5.0), (20.0, 0.0, 8.0))
    table["boot"] = np.where(table["time_s"] < 20, 1, 2)
    assert found(table).table["zero_pa"].tolist() == pytest.approx([5.0, 8.0])


def test_stated_uncertainty_holds_the_scatter_of_zeros_that_were_drawn() -> None:
    """White noise of 6 Pa a block over 16 s: 6 / sqrt(160) = 0.474 Pa; Student's t of the six
    parts, over the normal's, makes 1.31 of it (scipy.stats.t: 2.571 / 1.960)."""
    drawn = [
        found(channels((17.0, 0.0, 0.0), (9.0, 2200.0, 900.0), noise_pa=6.0, seed=seed)).table
        for seed in range(200)
    ]
    values = np.array([table["zero_pa"][0] for table in drawn])
    u = np.array([table["zero_u_pa"][0] for table in drawn])
    assert values.std() == pytest.approx(6 / np.sqrt(160), rel=0.15)
    assert np.sqrt(np.mean(u**2)) == pytest.approx(2.571 / 1.960 * 6 / np.sqrt(160), rel=0.1)
    assert 0.92 < np.mean(np.abs(values) < 1.96 * u) < 0.98


@pytest.mark.parametrize(("count_pa", "u"), [(2.0, 0.0), (6.0, 6 / np.sqrt(12))])
def test_steps_that_no_noise_blurs_are_uncertain_by_their_width(count_pa: float, u: float) -> None:
    """Noise of 1.5 Pa: 0.75 counts of 2 Pa blur them, 0.25 of 6 Pa do not."""
    table = found(channels((20.0, 0.0, 5.0), (30.0, 2200.0, 1500.0)), count_pa).table
    assert table["zero_u_pa"][0] == pytest.approx(u, abs=1e-9)

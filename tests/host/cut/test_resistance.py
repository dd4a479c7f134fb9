"""What the watch stands on: resistances, the quick flow, straight lines in time."""

import math

import numpy as np
import pytest
from cut_bench import clean_pipe_rig
from hypothesis import given, settings
from hypothesis import strategies as st
from meters import stated

from pullcurve.cut import resistance as path
from pullcurve.cut import trend
from pullcurve.cut.flow_lookup import QuickFlow
from pullcurve.cut.samples import Sample
from pullcurve.measure import meter as the_meter
from pullcurve.physics import air


def sample(speed_rpm: float, resistance: float, turn_m3: float = 0.0160) -> Sample:
    """A blower without slip behind a path: p0^2 - p1^2 = R m^2 T, m = p1 V N / (60 R_gas T)."""
    ambient_pa, kelvin = 100e3, 290.0
    k = turn_m3 * speed_rpm / 60 / (air.DRY_AIR_GAS_CONSTANT * kelvin)
    tap_pa = ambient_pa / math.sqrt(1 + resistance * kelvin * k**2)
    return Sample(
        1.0, speed_rpm, math.nan, 2000.0, ambient_pa, kelvin, tap_pa, math.nan, k * tap_pa,
        clipped=False, after_gap=False,
    )  # fmt: skip


@given(
    speed=st.floats(900, 4000),
    other=st.floats(900, 4000),
    resistance=st.floats(1e6, 5e8),
    factor=st.floats(0.3, 10),
)
def test_resistance_does_not_care_for_speed_and_tells_the_flow_that_is_lost(
    speed: float, other: float, resistance: float, factor: float
) -> None:
    before, slower = sample(speed, resistance), sample(other, resistance)
    after = sample(speed, resistance * factor)
    x = path.resistance(before)
    if not all(math.isfinite(path.resistance(each)) for each in (before, slower, after)):
        return  # hardly any drop: an open inlet is no path
    assert path.resistance(slower) == pytest.approx(x, abs=1e-6)
    rise = path.resistance(after) - x
    assert rise == pytest.approx(math.log(factor), abs=1e-6)
    lost = 1 - after.mass_flow_kg_s / before.mass_flow_kg_s
    assert path.flow_lost(rise, path.openness(after)) == pytest.approx(lost, abs=1e-6)
    if lost > 0:
        assert path.rise_for(lost, path.openness(before)) == pytest.approx(rise, abs=1e-5)
    turn, _ = path.intake_per_turn(before)
    assert turn / path.intake_per_turn(after)[0] == pytest.approx(1, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(
    differential=st.floats(50, 20e3),
    tap=st.floats(55e3, 104e3),
    kelvin=st.floats(262, 318),
)
def test_the_quick_flow_is_the_meters(differential: float, tap: float, kelvin: float) -> None:
    if differential > 0.2 * tap:
        return
    meter = stated("venturi", position="clean_pipe")
    rig = clean_pipe_rig().model_copy(update={"meter": meter})
    quick = QuickFlow(rig).mass_flow(differential, tap, 1.01 * tap, kelvin, 0.4)
    inputs = {
        each.name: np.asarray(each.value, float) for each in the_meter.meter_inputs(meter)
    } | {
        "station pressure": np.asarray(1.01 * tap),
        "air temperature": np.asarray(kelvin),
        "isentropic exponent": np.asarray(air.ISENTROPIC_EXPONENT),
    }
    state = the_meter.solve(
        meter,
        inputs,
        np.asarray(differential),
        vapour=air.vapour_fraction(1.01 * tap, kelvin, 0.4),
        tap_pressure=np.asarray(tap),
    )
    assert quick == pytest.approx(float(state.mass_flow), rel=1e-3)


TIME_S = np.arange(60) * trend.POINT_S


def test_a_slope_is_found_and_a_step_is_none() -> None:
    generator = np.random.default_rng(3)
    noise = 0.01 * generator.standard_normal(60)
    ramp = -0.08 * TIME_S / TIME_S[-1]
    step = np.where(TIME_S < 300, 0.0, -0.08)
    found = trend.strongest(TIME_S, ramp + noise, -1.0, 0.04)
    assert found is not None
    assert found.certain > 5
    assert abs(found.change + 0.08 * (found.end_s - found.start_s) / TIME_S[-1]) < (
        3 * found.change_u
    )
    assert trend.strongest(TIME_S, step + noise, -1.0, 0.04) is None
    assert trend.strongest(TIME_S, ramp + noise, 1.0, 0.0) is None


def points(change: float, step: float = 0.0, scatter: float = 0.03, seed: int = 0) -> trend.Array:
    """A path's resistance over ten minutes: a rise, and a step at a third of it."""
    white = np.random.default_rng(seed).standard_normal(60)
    rise = change * TIME_S / TIME_S[-1] + np.where(TIME_S < 200, 0.0, step)
    return np.asarray(1 + rise + scatter * white)


def rises(values: list[trend.Array], certain: float = 2.5) -> int:
    found = [trend.behind_step(TIME_S, each) for each in values]
    return sum(each is not None and each.change > 0.01 and each.certain > certain for each in found)


def test_a_rise_that_lasts_is_found_and_heavier_spoil_is_none() -> None:
    assert rises([points(0.08, seed=i) for i in range(40)]) >= 38
    assert rises([points(0.0, step=0.08, seed=i) for i in range(40)]) <= 1
    assert rises([points(0.0, step=0.5, seed=i) for i in range(40)]) <= 3
    assert rises([points(-0.08, seed=i) for i in range(40)]) == 0


def test_behind_a_clear_step_a_line_begins_anew() -> None:
    values = points(0.08, step=0.5)
    place, gain = trend.best_step(TIME_S, values)
    assert TIME_S[place] == 200
    assert gain > trend.CLEAR_STEP
    found = trend.behind_step(TIME_S, values)
    assert found is not None
    assert found.start_s == 200
    assert found.change == pytest.approx(0.08 * 390 / 590, abs=3 * found.change_u)


def test_a_step_seldom_looks_likelier_than_the_line_that_is_there() -> None:
    gains = np.array([trend.best_step(TIME_S, points(0.04, seed=i))[1] for i in range(1000)])
    assert 0.02 < np.mean(gains > trend.LIKELY_STEP) < 0.09


def test_visits_to_clean_running_make_a_rise_certain() -> None:
    """The nozzle is out of the spoil for 20 s, every 150 s; in between it scatters as spoil does,
    and now and then lies as low as a clean hose for as long."""
    generator = np.random.default_rng(11)
    visits = trend.Visits()
    for at_s in np.arange(0, 600, 150):
        for k in range(40):
            value = 0.05 * at_s / 600 + 0.002 * generator.standard_normal()
            visits.add(at_s + 0.5 * k, value)
        for k in range(40):
            visits.add(at_s + 60 + 0.5 * k, 0.03 + 0.03 * generator.standard_normal())
    time_s, medians = visits.all_over(600.0)
    assert time_s == pytest.approx([9.75, 159.75, 309.75, 459.75])
    clean = trend.of_visits(time_s, medians)
    assert clean is not None
    assert clean.change == pytest.approx(0.05 * 450 / 600, abs=2 * clean.change_u)
    loaded = trend.behind_step(TIME_S, points(0.03))
    assert loaded is not None
    together = trend.pooled([loaded, clean])
    assert together.certain > max(loaded.certain, clean.certain, 4)
    assert together.change == pytest.approx(0.05, abs=0.02)
    assert trend.of_visits(time_s[:1], medians[:1]) is None


@given(
    rates=st.lists(st.floats(-1e-3, 1e-3), min_size=1, max_size=4),
    u=st.floats(1e-4, 0.1),
    length_s=st.floats(60, 3600),
)
def test_lines_that_agree_are_pooled_to_a_surer_one(
    rates: list[float], u: float, length_s: float
) -> None:
    lines = [trend.Slope(0.0, length_s, rate * length_s, u, 10.0) for rate in rates]
    one = trend.pooled(lines)
    assert one.change == pytest.approx(np.mean(rates) * length_s, abs=1e-9)
    assert one.change_u == pytest.approx(u / math.sqrt(len(rates)), rel=1e-9)
    assert one.freedom == pytest.approx(10.0 * len(rates), rel=1e-9)


def test_a_line_that_grows_with_the_run_is_seldom_false() -> None:
    """Twenty minutes, looked at after each point as the watch does: in about 8 of 100 it is."""
    generator = np.random.default_rng(7)
    time_s = np.arange(120) * trend.POINT_S
    false = 0
    for _ in range(100):
        values = 1 + 0.03 * generator.standard_normal(120)
        looks = (trend.behind_step(time_s[:n], values[:n]) for n in range(12, 121))
        false += any(look and look.change > 0.01 and look.certain > 2.6 for look in looks)
    assert 1 <= false <= 15


def test_scatter_that_hangs_together_makes_a_slope_less_certain() -> None:
    """The share of false slopes at two standard deviations, white and with phi 0.5."""
    generator = np.random.default_rng(5)
    for phi in (0.0, 0.5):
        false = 0
        for _ in range(400):
            values = generator.standard_normal(60)
            for i in range(1, 60):
                values[i] = phi * values[i - 1] + math.sqrt(1 - phi**2) * values[i]
            false += trend.slope(TIME_S, values).certain > 2
        # 2.3 of 100 lie beyond two standard deviations to one side, 4.6 to both.
        assert 0.02 < false / 400 < 0.09

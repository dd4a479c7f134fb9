"""The second door: channels of another logger, with the accuracies of its instruments typed."""

import numpy as np
import pandas as pd
import pytest

from pullcurve.examine import Run
from pullcurve.measure.channels import Channels
from pullcurve.measure.instruments import Instruments
from pullcurve.measure.measurement import Measured, measure_channels
from pullcurve.measure.shaft_speed import LoggedSpeed
from pullcurve.rig.sensor_parts import DifferentialPressureAccuracy
from sample_runs import sample_run

# As a person types them: those of an HSC of 1 psi either way and of a BME280.
TYPED = Instruments(
    DifferentialPressureAccuracy(
        error_band=0.01,
        error_band_zeroed=0.005,
        drift=0.0025,
        nonlinearity=0.0025,
        source="the label",
    ),
    (-6894.757, 6894.757),
    2 * 6894.757 / (14746 - 1638),
    {
        ("ambient_air", "pressure"): 280.0,
        ("ambient_air", "temperature"): 1.7,
        ("ambient_air", "humidity"): 0.052,
    },
)
COLUMNS = [
    *("time_s", "length_s", "sensor_dp_pa", "differential_pressure_sd_pa", "speed_rpm"),
    *("ambient_pressure_pa", "ambient_temperature_k", "ambient_humidity"),
]


@pytest.fixture(scope="module")
def run() -> Run:
    return sample_run("healthy_sweep")


def measured(run: Run, instruments: Instruments = TYPED, exact_speed: bool = True) -> Measured:
    """The sample's channels as a bare table of columns."""
    table = run.channels.table[COLUMNS].copy()
    logged = LoggedSpeed(table["time_s"].to_numpy(), table["speed_rpm"].to_numpy(), 1e-3)
    shaft = run.channels.shafts["blower_shaft"] if exact_speed else logged
    channels = Channels(table, {"blower_shaft": shaft}, "blower_shaft", 1.0, instruments)
    return measure_channels(channels, run.rig)


def test_a_bare_table_with_typed_accuracies_gives_the_logs_flow(run: Run) -> None:
    found = measured(run)
    assert len(found.points) == len(run.points) > 4
    for column in (
        *("start_s", "end_s", "differential_pressure_pa", "pulsation_error", "speed_rpm"),
        *("mass_flow_kg_s", "standard_flow_m3_s", "standard_flow_u95_m3_s"),
    ):
        np.testing.assert_allclose(found.points[column], run.points[column], rtol=1e-9)
    assert found.notes.empty


def test_a_speed_of_another_logger_moves_the_flow_by_its_pulsation_only(run: Run) -> None:
    found = measured(run, exact_speed=False)
    np.testing.assert_allclose(found.points["speed_rpm"], run.points["speed_rpm"], rtol=2e-4)
    np.testing.assert_allclose(found.points["speed_u_rpm"], 1e-3 * found.points["speed_rpm"])
    flows = (each.points["standard_flow_m3_s"] for each in (found, run))
    np.testing.assert_allclose(*flows, rtol=1e-6)


def test_a_less_accurate_instrument_widens_the_flow_and_leaves_its_value(run: Run) -> None:
    coarse = DifferentialPressureAccuracy(
        error_band=0.08, drift=0.0025, nonlinearity=0.0025, source="the label"
    )
    wide = measured(run, Instruments(coarse, TYPED.range_pa, TYPED.count_pa, TYPED.bounds))
    np.testing.assert_allclose(
        wide.points["standard_flow_m3_s"], run.points["standard_flow_m3_s"], rtol=0.02
    )
    wider = wide.points["standard_flow_u95_m3_s"] / run.points["standard_flow_u95_m3_s"]
    assert (wider > 1.05).all()


def test_without_a_reading_of_the_air_the_rig_s_own_is_taken(run: Run) -> None:
    table = run.channels.table[COLUMNS[:5]]
    channels = Channels(pd.DataFrame(table), dict(run.channels.shafts), "blower_shaft", 1.0, TYPED)
    found = measure_channels(channels, run.rig)
    assert found.around is not None
    assert found.around.pressure.source == "typed"
    assert found.around.pressure.value[0] == pytest.approx(94_100)

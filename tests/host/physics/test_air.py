"""Moist air and the standard atmosphere, against publications and independent libraries."""

from pathlib import Path

import numpy as np
import pandas as pd
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from pullcurve.physics import air

DATA = Path(__file__).parents[2] / "reference_data"
MMHG = 133.322

celsius = st.floats(-20, 50)
pressures = st.floats(60e3, 105e3)
humidities = st.floats(0, 1)


def moist_density(pressure: float, kelvin: float, humidity: float) -> float:
    return float(air.density(pressure, kelvin, air.vapour_fraction(pressure, kelvin, humidity)))


def test_density_against_published_values() -> None:
    rows = pd.read_csv(DATA / "moist_air_density.csv", comment="#")
    assert len(rows) == 4
    for row in rows.itertuples():
        rho = moist_density(row.pressure_mmhg * MMHG, row.temperature_c + 273.15, row.humidity)
        assert rho == pytest.approx(row.density_kg_m3, rel=row.tolerance)


def test_steps_of_the_formula_at_one_state() -> None:
    """20 °C, 101325 Pa, 50 %: printed values of an own computation, to find a broken step."""
    p, t, h = 101325.0, 293.15, 0.5
    assert air.saturation_pressure(t) == pytest.approx(2339.163, abs=5e-4)
    assert air.enhancement_factor(p, t) == pytest.approx(1.004026, abs=5e-7)
    x = air.vapour_fraction(p, t, h)
    assert x == pytest.approx(0.0115893, abs=5e-8)
    assert air.compressibility(p, t, x) == pytest.approx(0.9996148, abs=5e-8)
    assert air.density(p, t, x) == pytest.approx(1.199314, abs=5e-7)


@pytest.mark.parametrize("degrees", [-20, -10, 0, 15, 20, 30, 40, 50])
@pytest.mark.parametrize("pressure", [60e3, 94.1e3, 101.325e3, 105e3])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_density_against_independent_moist_air(
    degrees: float, pressure: float, humidity: float
) -> None:
    """CoolProp: ASHRAE RP-1485 virial equation. PsychroLib: ideal gas, ASHRAE 2017."""
    kelvin = degrees + 273.15
    rho = moist_density(pressure, kelvin, humidity)
    coolprop = 1 / HAPropsSI("Vha", "T", kelvin, "P", pressure, "R", humidity)
    tolerance = 5e-5 if 0 <= degrees <= 40 else 2e-4
    assert rho == pytest.approx(coolprop, rel=tolerance)

    psychrolib.SetUnitSystem(psychrolib.SI)
    ratio = psychrolib.GetHumRatioFromRelHum(degrees, humidity, pressure)
    assert rho == pytest.approx(psychrolib.GetMoistAirDensity(degrees, ratio, pressure), rel=1e-3)


@settings(max_examples=100, deadline=None)
@given(pressures, celsius, st.floats(0, 0.99))
def test_density_falls_with_heat_and_damp_and_rises_with_pressure(
    p: float, t: float, h: float
) -> None:
    kelvin = t + 273.15
    rho = moist_density(p, kelvin, h)
    assert moist_density(p, kelvin + 1, h) < rho
    assert moist_density(p, kelvin, h + 0.01) < rho
    assert moist_density(p + 100, kelvin, h) > rho


def test_worth_of_the_density_is_stated() -> None:
    u = air.density_uncertainty(
        np.array([101e3, 101e3, 84e3, 59e3, 106e3]), np.array([293.15, 253.15, 318.15, 293.15, 330])
    )
    np.testing.assert_array_equal(u, [22e-6, 2e-4, 2e-4, np.nan, np.nan])


@pytest.mark.parametrize("degrees", [-20, 0, 20, 50])
def test_viscosity(degrees: float) -> None:
    """Dry air of CoolProp (a virial equation with its own transport model): within 0.6 %."""
    kelvin = degrees + 273.15
    expected = HAPropsSI("mu", "T", kelvin, "P", 101325, "R", 0)
    assert air.viscosity(kelvin) == pytest.approx(expected, rel=6e-3)
    # U.S. Standard Atmosphere 1976, table of sea level: 1.7894e-5 Pa s, from memory.
    assert air.viscosity(288.15) == pytest.approx(1.7894e-5, rel=3e-5)


@pytest.mark.parametrize(
    ("reference", "density"),
    [
        # 0.075 lb/ft3 for 68 °F, 14.7 psia, 36 %: common practice, no source. It is round to 3e-4.
        (air.ReferenceConditions(101352.9, 293.15, 0.36, "68 °F, 36 %"), 1.20138),
        # GB/T 10178-2006 (the twin of ISO 5802): 16 °C, 100 kPa, 65 % is 1.2 kg/m3.
        (air.ReferenceConditions(100e3, 289.15, 0.65, "fan test"), 1.2),
    ],
)
def test_reference_conditions(reference: air.ReferenceConditions, density: float) -> None:
    assert reference.density() == pytest.approx(density, rel=3e-4)


def test_standard_flow_is_all_the_mass_over_dry_standard_air() -> None:
    coolprop = 1 / HAPropsSI("Vha", "T", 293.15, "P", 101325, "R", 0)
    flow = air.standard_flow(np.array([0.4, -0.4]))
    np.testing.assert_allclose(flow, [0.4 / coolprop, -0.4 / coolprop], rtol=5e-5)


def test_standard_atmosphere_against_the_printed_table() -> None:
    rows = pd.read_csv(DATA / "standard_atmosphere.csv", comment="#")
    np.testing.assert_allclose(
        air.standard_temperature(rows["altitude_m"]), rows["temperature_k"], atol=6e-4
    )
    np.testing.assert_allclose(
        air.standard_pressure(rows["altitude_m"]), rows["pressure_pa"], atol=0.6
    )


@pytest.mark.parametrize("altitude", [-400.0, 0.0, 500.0, 1800.0, 3000.0, 9000.0])
def test_standard_atmosphere_against_fluids(altitude: float) -> None:
    """fluids takes geometric altitude too; its exponent is 5.255876, from other roundings."""
    assert air.standard_pressure(altitude) == pytest.approx(ATMOSPHERE_1976(altitude).P, rel=1e-6)


def geometric(geopotential: float) -> float:
    """ISO 2533:1975, clause 2.3 (number from memory), with its nominal radius of the earth."""
    return 6_356_766.0 * geopotential / (6_356_766.0 - geopotential)


def test_geometric_and_geopotential_altitude_are_told_apart() -> None:
    """3000 m: 70108.5 Pa if geopotential, 12.6 Pa more if geometric (computed)."""
    assert air.standard_pressure(geometric(3000.0)) == pytest.approx(70108.53, abs=0.05)
    assert air.standard_pressure(3000.0) - 70108.53 == pytest.approx(12.63, abs=0.05)
    altitude = float(air.altitude_of_pressure(94_100.0))
    assert abs(ATMOSPHERE_1976(altitude).P - 94_100.0) < 0.1


@settings(max_examples=100, deadline=None)
@given(st.floats(-500, 10_900))
def test_altitude_round_trip(altitude: float) -> None:
    pressure = air.standard_pressure(altitude)
    assert air.altitude_of_pressure(pressure) == pytest.approx(altitude, abs=1e-6)


def test_above_the_tropopause_nothing_is_stated() -> None:
    assert np.isnan(air.standard_pressure(11_100.0))
    assert np.isnan(air.altitude_of_pressure(22_000.0))


def test_station_pressure_from_qnh() -> None:
    """QNH 102000 Pa at 620 geopotential metres: the pressure of the standard atmosphere 620 m above
    where it has 102000 Pa; altitudes from fluids. A ratio of pressures would be some Pa off.
    """
    below = brentq(lambda z: ATMOSPHERE_1976(z).P - 102_000.0, -400.0, 400.0)
    geopotential = 6_356_766.0 * below / (6_356_766.0 + below) + 620.0
    expected = ATMOSPHERE_1976(geometric(geopotential)).P
    found = air.station_pressure(102_000.0, geometric(620.0))
    assert found == pytest.approx(expected, abs=0.1)
    by_ratio = air.standard_pressure(geometric(620.0)) * 102_000.0 / 101_325.0
    assert abs(by_ratio - found) > 1


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 4000))
def test_standard_qnh_gives_the_standard_atmosphere(altitude: float) -> None:
    expected = air.standard_pressure(altitude)
    assert air.station_pressure(101_325.0, altitude) == pytest.approx(float(expected), rel=1e-12)

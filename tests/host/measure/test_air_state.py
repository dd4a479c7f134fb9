"""The air's state at each point: measured, typed or assumed, and how far each is believed."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pullcurve.errors import RigError
from pullcurve.measure.air_state import Surroundings, surroundings
from pullcurve.measure.instruments import QUANTITIES, Instruments
from pullcurve.physics.air import standard_pressure
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS

P0, T0 = 94_100.0, 285.15
NAN = float("nan")
CHANNELS = (
    "ambient_pressure_pa",
    "ambient_temperature_k",
    "ambient_humidity",
    "meter_pressure_pa",
    "blower_pressure_pa",
    "tank_pressure_pa",
)
ROLES = {
    "ambient_air": "BME280",
    "meter_air": "BMP280",
    "blower_air": "LPS22HB",
    "tank_air": "LPS22HH",
}
TYPED = """station_pressure = "94.1 kPa"
temperature = "12 C"
humidity = "55 %"
"""


def a_rig(site: str = TYPED, position: str = "port", altitude: str = "620 m") -> Rig:
    return parse_rig(
        f'[meter]\nkind = "venturi"\nposition = "{position}"\npipe_bore = "144.60 mm"\n'
        f'throat_bore = "98.30 mm"\n[site]\naltitude = "{altitude}"\n{site}'
        "[pickups.blower_shaft]\nmarks_per_turn = 2\n",
        "unit.toml",
    )


def points(**columns: list[float]) -> pd.DataFrame:
    """Three holds of 20 s; NaN where no sensor is."""
    known: dict[str, Any] = dict.fromkeys(CHANNELS, NAN)
    known |= {"start_s": [30.0, 60.0, 90.0], "end_s": [50.0, 80.0, 110.0]}
    known["differential_pressure_pa"] = [500.0, 1000.0, 2000.0]
    return pd.DataFrame(known | columns)


AIR = {
    "ambient_pressure_pa": [P0, P0 + 10, P0 + 20],
    "ambient_temperature_k": [T0, T0 + 0.5, T0 + 1],
    "ambient_humidity": [0.55, 0.54, 0.53],
}


def air(
    of: pd.DataFrame,
    rig: Rig | None = None,
    stops: list[tuple[float, float, dict[str, float]]] | None = None,
    notes: list[tuple[float, str, float, str]] | None = None,
) -> Surroundings:
    """stops: from, to, and what channels read then. notes: time, what, Pa, place."""
    bounds = {
        (role, quantity): accuracy.bound
        for role, part in ROLES.items()
        for quantity in QUANTITIES
        if (accuracy := getattr(SENSOR_PARTS[part], quantity)) is not None
    }
    meter = SENSOR_PARTS["HSC"].differential_pressure
    assert meter is not None
    instruments = Instruments(meter, (-6895.0, 6895.0), 1.05, bounds)
    ends = pd.DataFrame([each[:2] for each in stops or []], columns=["start_s", "end_s"])
    rows = [
        {"time_s": time_s, **dict.fromkeys(CHANNELS, NAN), **read}
        for start, end, read in stops or []
        for time_s in np.arange(start, end, 0.5)
    ]
    table = pd.DataFrame(rows, columns=["time_s", *CHANNELS])
    said = pd.DataFrame(notes or [], columns=["time_s", "what", "value_si", "place"])
    return surroundings(of, ends, table, instruments, rig or a_rig(), said)


def test_what_sensors_measured_goes_before_what_was_typed() -> None:
    found = air(points(**AIR))
    for name, column, quantity in (
        ("pressure", "ambient_pressure_pa", "pressure"),
        ("temperature", "ambient_temperature_k", "temperature"),
        ("humidity", "ambient_humidity", "humidity"),
    ):
        known = getattr(found, name)
        assert known.source == "measured"
        assert known.value.tolist() == AIR[column]
        bound = getattr(SENSOR_PARTS["BME280"], quantity).bound
        assert known.half_width.tolist() == [bound] * 3
    assert found.places == {}


def test_a_hold_in_which_the_sensor_was_away_has_the_others_mean_and_twice_their_doubt() -> None:
    found = air(points(**AIR | {"ambient_pressure_pa": [P0, NAN, P0 + 30]})).pressure
    assert found.value.tolist() == [P0, P0 + 15, P0 + 30]
    assert found.half_width.tolist() == [280.0, 560.0, 280.0]


def test_what_was_typed_stands_in_with_its_own_doubt() -> None:
    """300 Pa, 3 K, 20 %."""
    found = air(points())
    for known, value, half in (
        (found.pressure, 94_100, 300),
        (found.temperature, 285.15, 3),
        (found.humidity, 0.55, 0.2),
    ):
        assert known.source == "typed"
        np.testing.assert_allclose(known.value, value)
        np.testing.assert_allclose(known.half_width, half)


def test_a_humidity_that_nobody_knows_is_anything() -> None:
    found = air(points(), a_rig(TYPED.replace('humidity = "55 %"\n', ""))).humidity
    assert found.source == "assumed"
    assert (found.value[0] - found.half_width[0], found.value[0] + found.half_width[0]) == (0, 1)


@pytest.mark.parametrize(
    ("missing", "says"), [("station_pressure", "barometer"), ("temperature", "add temperature")]
)
def test_what_neither_a_sensor_nor_the_rig_tells_is_asked_for(missing: str, says: str) -> None:
    site = "".join(line for line in TYPED.splitlines(True) if missing not in line)
    with pytest.raises(RigError, match=f"unit.toml.*site.*{says}"):
        air(points(), a_rig(site))


@pytest.mark.parametrize(
    ("typed", "altitude", "taken"),
    [
        ("97.6 kPa", "620 m", True),  # 94.1 kPa by ISO 2533: 3.5 kPa above, as weather may be
        ("90.4 kPa", "620 m", True),
        ("101.3 kPa", "620 m", False),
        ("98.5 kPa", "620 m", False),
        ("89.5 kPa", "620 m", False),
        ("101.3 kPa", "20 m", True),
    ],
)
def test_a_pressure_that_does_not_belong_to_the_altitude_is_replaced(
    typed: str, altitude: str, taken: bool
) -> None:
    rig = a_rig(TYPED.replace("94.1 kPa", typed), altitude=altitude)
    found = air(points(), rig)
    pa = 1000 * float(typed.removesuffix(" kPa"))
    if taken:
        assert (found.pressure.source, found.pressure.value[0]) == ("typed", pa)
        return
    standard = float(standard_pressure(620.0))
    # ISO 2533: 101325 (1 - 0.0065 H / 288.15)^5.25588, H = 619.94 m
    assert standard == pytest.approx(94_096, abs=2)
    assert found.pressure.source == "assumed"
    np.testing.assert_allclose(found.pressure.value, standard)
    np.testing.assert_allclose(found.pressure.half_width, 3000.0)


def test_two_sensors_that_stood_in_the_same_air_are_compared() -> None:
    """The one at the blower read 120 Pa less than the station's in a first stop and 100 Pa less
    in a second one: 110 Pa are added, and half of the 20 Pa are doubt, besides 60 Pa."""
    stops = [
        (0.0, 10.0, {"ambient_pressure_pa": P0, "blower_pressure_pa": P0 - 120}),
        (120.0, 130.0, {"ambient_pressure_pa": P0 + 20, "blower_pressure_pa": P0 - 80}),
    ]
    read = [90_000.0, 88_000.0, 84_000.0]
    inlet = air(points(**AIR, blower_pressure_pa=read), stops=stops).places["inlet"]
    assert inlet.compared
    assert inlet.source == "measured"
    np.testing.assert_allclose(inlet.pressure, np.array(read) + 110)
    np.testing.assert_allclose(inlet.half_width, 70.0)


@pytest.mark.parametrize(
    ("role", "place", "column"),
    [
        ("meter_air", "tap", "meter_pressure_pa"),
        ("blower_air", "inlet", "blower_pressure_pa"),
        ("tank_air", "port", "tank_pressure_pa"),
    ],
)
def test_a_sensor_that_was_never_compared_keeps_its_whole_error(
    role: str, place: str, column: str
) -> None:
    read = {column: [90_000.0, 88_000.0, 84_000.0]}
    pressure = SENSOR_PARTS[ROLES[role]].pressure
    assert pressure is not None
    for found in (air(points(**AIR, **read)), air(points(**read))):
        (only,) = found.places
        assert only == place
        at = found.places[place]
        assert not at.compared
        assert at.pressure.tolist() == read[column]
        assert at.half_width.tolist() == [pressure.bound] * 3


def test_a_typed_station_pressure_is_compared_with_nothing() -> None:
    stops = [(0.0, 10.0, {"blower_pressure_pa": P0 - 120})]
    found = air(points(blower_pressure_pa=[9e4, 9e4, 9e4]), stops=stops)
    assert not found.places["inlet"].compared


def test_where_a_sensor_was_away_its_vacuum_goes_as_the_differential_pressure() -> None:
    """4000 Pa of vacuum at 1000 Pa, 8000 Pa at 2000 Pa: 2000 Pa at 500 Pa, give or take 30 %."""
    steady = AIR | {"ambient_pressure_pa": [P0] * 3}
    inlet = air(points(**steady, blower_pressure_pa=[NAN, P0 - 4000, P0 - 8000])).places["inlet"]
    np.testing.assert_allclose(inlet.pressure, [P0 - 2000, P0 - 4000, P0 - 8000])
    np.testing.assert_allclose(inlet.half_width, [200 + 600, 200, 200])
    assert "inlet" not in air(points(**steady, blower_pressure_pa=[NAN, NAN, P0 - 8000])).places


def test_a_gauge_that_was_read_at_every_hold_tells_the_inlet() -> None:
    """Two seconds beside the hold still count; half a division of 1 inHg and the gauge's error."""
    readings = [(29.0, 3000.0), (70.0, 5000.0), (111.0, 9000.0)]
    notes = [(time_s, "vacuum", pa, "clean pipe") for time_s, pa in readings]
    inlet = air(points(**AIR), notes=notes).places["inlet"]
    np.testing.assert_allclose(
        inlet.pressure, np.array(AIR["ambient_pressure_pa"]) - [3e3, 5e3, 9e3]
    )
    np.testing.assert_allclose(inlet.half_width, 1700.0)
    assert (inlet.compared, inlet.source) == (True, "typed")


@pytest.mark.parametrize(
    "notes",
    [
        [(40.0, "vacuum", 3e3, "clean pipe"), (70.0, "vacuum", 5e3, "clean pipe")],
        [(time_s, "vacuum", 3e3, "tank") for time_s in (40.0, 70.0, 100.0)],
        [(time_s, "engine_speed", 230.0, "clean pipe") for time_s in (40.0, 70.0, 100.0)],
        [(time_s, "vacuum", 3e3, "clean pipe") for time_s in (40.0, 55.0, 100.0)],
    ],
)
def test_a_gauge_that_was_not_read_at_every_hold_or_elsewhere_tells_nothing(
    notes: list[tuple[float, str, float, str]],
) -> None:
    assert air(points(**AIR), notes=notes).places == {}


def test_a_sensor_at_the_inlet_goes_before_a_gauge() -> None:
    notes = [(time_s, "vacuum", 3e3, "clean pipe") for time_s in (40.0, 70.0, 100.0)]
    found = air(points(**AIR, blower_pressure_pa=[9e4, 8.8e4, 8.4e4]), notes=notes)
    assert found.places["inlet"].source == "measured"


def test_ahead_of_a_meter_in_the_clean_pipe_there_is_more_pressure_than_at_the_inlet() -> None:
    """By 30 % of the differential pressure, give or take as much."""
    read = [90_000.0, 88_000.0, 84_000.0]
    found = air(points(**AIR, blower_pressure_pa=read), a_rig(position="clean_pipe"))
    between = 0.3 * np.array([500.0, 1000.0, 2000.0])
    np.testing.assert_allclose(found.places["tap"].pressure, np.array(read) + between)
    np.testing.assert_allclose(found.places["tap"].half_width, 200 + between)
    both = air(
        points(**AIR, blower_pressure_pa=read, meter_pressure_pa=[9.1e4, 8.9e4, 8.5e4]),
        a_rig(position="clean_pipe"),
    )
    assert both.places["tap"].pressure.tolist() == [9.1e4, 8.9e4, 8.5e4]


def test_a_meter_in_the_clean_pipe_without_any_pressure_there_is_refused() -> None:
    with pytest.raises(RigError, match=r"meter.position: .* role meter_air"):
        air(points(**AIR), a_rig(position="clean_pipe"))

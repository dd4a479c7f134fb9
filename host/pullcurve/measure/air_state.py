"""The air's state at each settled point: of the open air, and along the machine.

Absolute sensors are compared while the engine is off, when all of them stand in the same air;
their differences from the station's are then taken off, and what is left of their errors is
small. Without such a stretch each keeps the whole error of its data sheet.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.measure.instruments import Instruments
from pullcurve.physics import air
from pullcurve.rig.loading import rig_fault
from pullcurve.rig.models import Rig
from pullcurve.stream.records import rows_of

Array = NDArray[np.float64]

# Half-widths where a value was typed, or not known at all (judgement).
TYPED_PRESSURE_PA = 300.0
WEATHER_PA = 3000.0  # of the standard atmosphere at a site's altitude
TYPED_TEMPERATURE_K = 3.0
TYPED_HUMIDITY = 0.2
UNKNOWN_HUMIDITY = (0.5, 0.5)
GAUGE_PA = 1700.0  # half a division of 1 inHg on a shop gauge, and its error
COMPARED_PA = 60.0  # what drift and temperature leave of two compared sensors' difference
KNOWN_SHARE = 0.5  # of the points, to fill in the others
GUESSED = 0.3  # of a vacuum that was filled in
LOST_BETWEEN = 0.3  # of the differential pressure, between tap and blower, give or take as much
AMBIGUOUS_PA = 4000.0  # from the standard atmosphere: no weather does this

# place: the role and the channel of its sensor
PLACES = {
    "tap": ("meter_air", "meter_pressure_pa"),
    "inlet": ("blower_air", "blower_pressure_pa"),
    "port": ("tank_air", "tank_pressure_pa"),
}

KnownBy = Literal["measured", "typed", "assumed", "unknown"]


@dataclass(frozen=True)
class Known:
    """A value for every point with the half-width of its rectangular distribution."""

    value: Array
    half_width: Array
    source: KnownBy


@dataclass(frozen=True)
class Place:
    """Absolute pressure at a place for every point.

    `half_width` is that of its difference to the station pressure where the two sensors were
    `compared`, else that of the pressure itself.
    """

    pressure: Array
    half_width: Array
    compared: bool
    source: str  # measured or typed


@dataclass(frozen=True)
class Surroundings:
    """State of the open air, and the pressures at the places of PLACES where they are known.

    A station pressure that was typed and that no weather gives is not believed: `pressure` is
    assumed then.
    """

    pressure: Known
    temperature: Known
    humidity: Known
    places: dict[str, Place]


def surroundings(
    points: pd.DataFrame,
    zeros: pd.DataFrame,
    table: pd.DataFrame,
    instruments: Instruments,
    rig: Rig,
    notes: pd.DataFrame,
) -> Surroundings:
    """The air at each point: measured where a sensor is, else as typed in the rig.

    points: settled points with the mean of each channel; zeros: engine-off stretches; table:
    the channels. Raises RigError when neither a sensor nor the rig tells a state that the flow
    needs.
    """
    pressure = _measured(points, instruments, "ambient_pressure_pa", "pressure")
    if pressure is None:
        pressure = _typed_pressure(points, rig)
    temperature = _measured(points, instruments, "ambient_temperature_k", "temperature")
    if temperature is None:
        if rig.site.temperature_k is None:
            raise rig_fault(
                rig,
                "site",
                "no sensor measured the air's temperature and none is typed: add temperature",
            )
        temperature = _typed(points, rig.site.temperature_k, TYPED_TEMPERATURE_K)
    humidity = _measured(points, instruments, "ambient_humidity", "humidity")
    if humidity is None and rig.site.humidity is not None:
        humidity = _typed(points, rig.site.humidity, TYPED_HUMIDITY)
    if humidity is None:
        middle, half_width = UNKNOWN_HUMIDITY
        humidity = _typed(points, middle, half_width, "assumed")
    places = {}
    for name, (role, column) in PLACES.items():
        place = _place(points, zeros, table, column, instruments.bound(role, "pressure"), pressure)
        if place is not None:
            places[name] = place
    gauge = _gauge(points, notes, pressure)
    if gauge is not None:
        places.setdefault("inlet", gauge)
    if rig.meter.position == "clean_pipe" and "tap" not in places:
        places["tap"] = _ahead_of_inlet(points, places, rig)
    return Surroundings(pressure, temperature, humidity, places)


def _measured(
    points: pd.DataFrame, instruments: Instruments, column: str, quantity: str
) -> Known | None:
    values = points[column].to_numpy(float)
    known = np.isfinite(values)
    half_width = instruments.bound("ambient_air", quantity)
    if not known.any() or half_width is None:
        return None
    # Where the sensor was away for a while, as at the other points, with twice the doubt.
    filled = np.where(known, values, values[known].mean())
    return Known(filled, np.where(known, half_width, 2 * half_width), "measured")


def _typed(
    points: pd.DataFrame, value: float, half_width: float, source: KnownBy = "typed"
) -> Known:
    return Known(np.full(len(points), value), np.full(len(points), half_width), source)


def _typed_pressure(points: pd.DataFrame, rig: Rig) -> Known:
    typed = rig.site.station_pressure
    if typed is None:
        raise rig_fault(
            rig,
            "site",
            "no sensor measured the station pressure and none is typed: add station_pressure, "
            "read from a barometer on the site",
        )
    standard = float(air.standard_pressure(rig.site.altitude))
    if abs(typed - standard) <= AMBIGUOUS_PA:
        return _typed(points, typed, TYPED_PRESSURE_PA)
    return _typed(points, standard, WEATHER_PA, "assumed")


def _place(
    points: pd.DataFrame,
    zeros: pd.DataFrame,
    table: pd.DataFrame,
    column: str,
    own: float | None,
    station: Known,
) -> Place | None:
    """The pressure that an absolute sensor tells; compared with the station's where that can
    be done."""
    values = points[column].to_numpy(float)
    half_width = np.full(len(points), own or np.nan)
    known = np.isfinite(values)
    if own is None or known.mean() < KNOWN_SHARE:
        return None
    if not known.all():
        # Where the sensor was away: vacuum goes about as the differential pressure does.
        differential = points["differential_pressure_pa"].to_numpy()
        share = np.median((station.value - values)[known] / differential[known])
        guess = share * differential
        values = np.where(known, values, station.value - guess)
        half_width = np.where(known, half_width, half_width + GUESSED * np.abs(guess))
    if station.source == "measured":
        differences = [
            float((inside["ambient_pressure_pa"] - inside[column]).mean())
            for zero in rows_of(zeros)
            if len(inside := table[table["time_s"].between(zero.start_s, zero.end_s)])
        ]
        differences = [value for value in differences if np.isfinite(value)]
        if differences:
            left = COMPARED_PA + float(np.ptp(differences)) / 2
            corrected = values + float(np.mean(differences))
            return Place(corrected, half_width - own + left, True, "measured")
    return Place(values, half_width, False, "measured")


def _ahead_of_inlet(points: pd.DataFrame, places: dict[str, Place], rig: Rig) -> Place:
    """The pressure at the tap of a meter in the clean pipe, from that at the blower's inlet:
    they are a short pipe and the tube's loss apart. Raises RigError without either."""
    if "inlet" not in places:
        raise rig_fault(
            rig,
            "meter.position",
            "a meter in the clean pipe needs the absolute pressure there: a sensor with the role "
            "meter_air",
        )
    inlet = places["inlet"]
    differential = np.abs(points["differential_pressure_pa"].to_numpy())
    return Place(
        inlet.pressure + LOST_BETWEEN * differential,
        inlet.half_width + LOST_BETWEEN * differential,
        inlet.compared,
        inlet.source,
    )


def _gauge(points: pd.DataFrame, notes: pd.DataFrame, station: Known) -> Place | None:
    """Pressure at the blower's inlet from gauge readings that were typed in for every point."""
    vacuum = np.full(len(points), np.nan)
    for note in rows_of(notes):
        if note.what == "vacuum" and note.place in ("clean pipe", "blower inlet"):
            at = (points["start_s"] - 2 <= note.time_s) & (note.time_s <= points["end_s"] + 2)
            vacuum[at.to_numpy()] = note.value_si
    if not np.isfinite(vacuum).all():
        return None
    return Place(station.value - vacuum, np.full(len(points), GAUGE_PA), True, "typed")

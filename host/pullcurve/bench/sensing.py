"""From a sensor of the scenario to the errors of its simulated part."""

import math
from typing import Any

import numpy as np

from pullcurve.bench.instrument import SensorTruth
from pullcurve.bench.moist_air import ZERO_CELSIUS_K, Array
from pullcurve.bench.parts import Imperfections
from pullcurve.bench.parts.part import deviation

_SHARED = (
    "zero_error",
    "zero_drift_per_s",
    "zero_per_k",
    "warm_up_error",
    "warm_up_s",
    "gain_error",
    "gain_per_k",
    "nonlinearity",
    "stops_pa",
    "noise",
    "temperature_error_k",
    "humidity_error",
    "vanish",
    "faults",
    "stuck",
)


def imperfections(sensor: SensorTruth) -> Imperfections:
    """The errors of the sensor's part."""
    return Imperfections(**{name: getattr(sensor, name) for name in _SHARED})


def heat_k(sensor: SensorTruth, time_s: Any) -> Any:
    """How much warmer than the air the part is. A float or an array."""
    if sensor.sun is None:
        return sensor.heat_k
    since_s = time_s - sensor.sun.from_s
    since_s = since_s * (since_s > 0)
    risen = 1 - math.e ** (-since_s / sensor.sun.time_constant_s)
    return sensor.heat_k + sensor.sun.rise_k * risen


def zero_error(
    sensor: SensorTruth, times: Array, ambient_k: Array, felt_pa: Array | float = 0.0
) -> Array:
    """What the differential-pressure sensor makes of no difference [Pa], noise left out.

    times [s]; ambient_k [K] at them. felt_pa: what its lines add to no difference.
    """
    celsius = ambient_k - ZERO_CELSIUS_K + heat_k(sensor, times)
    felt = np.broadcast_to(felt_pa, times.shape)
    return np.asarray(deviation(imperfections(sensor), sensor.range_pa, felt, times, celsius))

"""The two lines from the taps to the differential-pressure sensor, and water in them."""

from collections.abc import Sequence

import numpy as np

from pullcurve.bench.instrument import Meter, Water
from pullcurve.bench.moist_air import Array
from pullcurve.bench.pulsation import upstream_share
from pullcurve.bench.shafts import first_order


def line_constants(meter: Meter, water: Sequence[Water], times: Array) -> tuple[Array, Array]:
    """Time constants [s] of the upstream line and the throat's at `times` [s]."""
    upstream = np.full(times.shape, meter.line_time_constant_s)
    throat = np.full(times.shape, meter.throat_line_time_constant_s or meter.line_time_constant_s)
    for slug in water:
        line = upstream if slug.line == "upstream" else throat
        line[_there(slug, times)] = slug.time_constant_s
    return upstream, throat


def behind_lines(
    differential_pressure: Array, meter: Meter, upstream_s: Array, throat_s: Array, step_s: float
) -> Array:
    """The difference of the mean flow [Pa] as the sensor feels it, `step_s` apart.

    Both taps' pressures move when the flow does, each behind its own line. Where a line's
    time constant changes, its slower answer takes over at once.
    """
    share = upstream_share(meter)
    felt = _lagged((1 + share) * differential_pressure, throat_s, step_s)
    felt = felt - _lagged(share * differential_pressure, upstream_s, step_s)
    if meter.sensor_time_constant_s:
        felt = first_order(felt, step_s, meter.sensor_time_constant_s)
    return felt


def water_offset(water: Sequence[Water], times: Array, differential_pressure: Array) -> Array:
    """What water in the lines adds to the difference that the sensor feels [Pa]."""
    total = np.zeros_like(times)
    for slug in water:
        there = _there(slug, times)
        pushed = differential_pressure[there]
        rest = np.empty_like(pushed)
        at_rest = np.inf
        for i, pressure in enumerate(pushed.tolist()):
            if abs(pressure - at_rest) > slug.stick_pa:
                at_rest = pressure
            rest[i] = at_rest
        total[there] += slug.offset_pa + slug.share * rest
    return total


def _there(slug: Water, times: Array) -> Array:
    return np.asarray((times >= slug.from_s) & (times < slug.to_s))


def _lagged(values: Array, constants: Array, step_s: float) -> Array:
    felt = np.empty_like(values)
    for constant in np.unique(constants):
        where = constants == constant
        felt[where] = first_order(values, step_s, constant)[where]
    return felt

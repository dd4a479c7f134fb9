"""From counts to quantities, as the board's header says."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pullcurve.stream.header import Channel

Array = NDArray[np.float64]


def linear(counts: ArrayLike, channel: Channel) -> Array:
    """The straight line through the rated ends of the channel's range."""
    return channel.value_low + (np.asarray(counts, float) - channel.count_low) * scale(channel)


def scale(channel: Channel) -> float:
    """Units of the quantity for one count."""
    return (channel.value_high - channel.value_low) / (channel.count_high - channel.count_low)


def bosch_temperature(counts: ArrayLike, trim: tuple[int, ...]) -> tuple[Array, Array]:
    """Temperature in degrees Celsius, and t_fine, from raw counts of a BME280 or BMP280.

    counts: adc_T, 20 bits. trim: the words in the order T1..T3, P1..P9 (, H1..H6).
    Source: data sheets BST-BMP280-DS001-23 (8.1) and BST-BME280-DS002-15, formulas in double
    precision. Check value of the sheet (3.12): 519888 gives 25.08 C, t_fine 128422.
    """
    t1, t2, t3 = trim[:3]
    raw = np.asarray(counts, float)
    first = (raw / 16384 - t1 / 1024) * t2
    second = (raw / 131072 - t1 / 8192) ** 2 * t3
    fine = first + second
    return fine / 5120, fine


def bosch_pressure(counts: ArrayLike, fine: ArrayLike, trim: tuple[int, ...]) -> Array:
    """Absolute pressure in Pa from raw counts (adc_P, 20 bits) and t_fine; NaN where the
    formula has no value. Source and order of `trim` as in `bosch_temperature`; the sheet's
    415148 gives 100653.27 Pa."""
    p1, p2, p3, p4, p5, p6, p7, p8, p9 = trim[3:12]
    half = np.asarray(fine, float) / 2 - 64000
    offset = half * half * p6 / 32768
    offset = (offset + half * p5 * 2) / 4 + p4 * 65536
    gain = (p3 * half * half / 524288 + p2 * half) / 524288
    gain = (1 + gain / 32768) * p1
    with np.errstate(divide="ignore", invalid="ignore"):
        pressure = (1048576 - np.asarray(counts, float) - offset / 4096) * 6250 / gain
    pressure = np.where(gain == 0, np.nan, pressure)
    correction = p9 * pressure * pressure / 2147483648 + pressure * p8 / 32768 + p7
    return np.asarray(pressure + correction / 16)


def bosch_humidity(counts: ArrayLike, fine: ArrayLike, trim: tuple[int, ...]) -> Array:
    """Relative humidity, 0 to 1, from raw counts (adc_H, 16 bits) and t_fine.

    Source: BST-BME280-DS002-15, formula in double precision; no check value is published.
    """
    h1, h2, h3, h4, h5, h6 = trim[12:18]
    x = np.asarray(fine, float) - 76800
    x = (np.asarray(counts, float) - (h4 * 64 + h5 / 16384 * x)) * (
        h2 / 65536 * (1 + h6 / 67108864 * x * (1 + h3 / 67108864 * x))
    )
    x = x * (1 - h1 * x / 524288)
    return np.clip(x, 0, 100) / 100

"""A block's integer statistics as counts, spread and pressure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.stream import transfer
from pullcurve.stream.header import Channel

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Block:
    """Statistics of the good counts of one block, or of many in arrays of one shape.

    Attributes
    ----------
    n
        Number of good readings.
    pivot, sum, sumsq
        Counts: sum and sum of squares of the readings' differences from the pivot.
    least, greatest
        Extreme counts.
    stale, faulty, clipped
        Readings that were not renewed, that failed, and good ones at an end of the range.
    """

    n: Array
    pivot: Array
    sum: Array
    sumsq: Array
    least: Array
    greatest: Array
    stale: Array
    faulty: Array
    clipped: Array

    @classmethod
    def of(cls, records: pd.DataFrame | Iterable[Mapping[str, Any]]) -> Self:
        """The blocks of a table of `dp` records, or of records by the names of their fields."""
        names = [field.name for field in fields(cls)]
        if isinstance(records, pd.DataFrame):
            return cls(*(records[name].to_numpy(float) for name in names))
        rows = [[record[name] for name in names] for record in records]
        return cls(*np.array(rows, dtype=float).reshape(-1, len(names)).T)

    @property
    def mean(self) -> Array:
        """Mean count; NaN without a reading."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.pivot + np.where(self.n > 0, self.sum / self.n, np.nan))

    @property
    def variance(self) -> Array:
        """Variance of the counts about the block's mean, by n - 1; NaN below two readings.

        Notes
        -----
        Sums of squares of 24-bit counts pass 2^53 only where the spread is most of the range.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            squares = self.sumsq - self.sum**2 / self.n
            return np.where(self.n > 1, np.maximum(squares, 0) / (self.n - 1), np.nan)

    def pressure(self, channel: Channel) -> Array:
        """Mean differential pressure, Pa."""
        return transfer.linear(self.mean, channel)

    def spread(self, channel: Channel) -> Array:
        """Standard deviation of the differential pressure within the block, Pa."""
        return np.asarray(np.sqrt(self.variance) * abs(transfer.scale(channel)))

    def pooled_pressure(self, channel: Channel) -> float:
        """Mean differential pressure of all readings of all blocks, Pa; NaN without one."""
        count = self.n.sum()
        if not count:
            return np.nan
        return float(transfer.linear((self.pivot * self.n + self.sum).sum() / count, channel))

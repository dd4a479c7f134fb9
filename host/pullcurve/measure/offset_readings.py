"""A sweep in parts of some seconds each, of its holds and of the zeros before and after."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.stream.records import rows_of

PART_S = 4.0
MOST_PARTS = 60  # of the holds, beyond which a hold counts as one
LEAST_BLOCKS = 5
CLIPPED = 0.2  # of the pressure, by which a hold that touches an end of the range may be off

Array = NDArray[np.float64]
Places = NDArray[np.int64]


@dataclass(frozen=True)
class Readings:
    """Parts in the order of time.

    `hold` is the place of a part's point among the sweep's, -1 in a zero; `zero` its stretch's
    among the zeros, -1 in a hold. `pressure_pa`: mean differential pressure as the sensor gave
    it, `u_pa` its standard uncertainty; `speed_rpm` of the blower.
    """

    time_s: Array
    hold: Places
    zero: Places
    pressure_pa: Array
    u_pa: Array
    speed_rpm: Array

    @property
    def turning(self) -> NDArray[np.bool_]:
        """Which parts lie in holds."""
        return self.hold >= 0

    def over_points(self, points: int, middle_s: Array) -> Array:
        """A matrix of shape (points, parts): what an offset of each part does to each point,
        whose zero has been taken off on the straight line between the zeros."""
        effect = np.zeros((points, len(self.time_s)))
        for hold in range(points):
            own = self.hold == hold
            effect[hold, own] = 1 / max(own.sum(), 1)
        zeros = np.unique(self.zero[self.zero >= 0])
        if len(zeros):
            means = np.array(
                [np.where(self.zero == z, 1 / (self.zero == z).sum(), 0) for z in zeros]
            )
            at = np.array([self.time_s[self.zero == z].mean() for z in zeros])
            for hold in range(points):
                share = np.interp(middle_s[hold], at, np.arange(len(zeros)))
                low, part = int(share), share % 1
                effect[hold] -= (1 - part) * means[low]
                if part:
                    effect[hold] -= part * means[low + 1]
        return effect


def readings(points: pd.DataFrame, zeros: pd.DataFrame, table: pd.DataFrame) -> Readings:
    """The parts of a sweep's points, and of the last zero before and the first one after.

    points: of one sweep, with their `scatter_pa` and `clipped_share`; zeros: the engine-off
    stretches of the run; table: the channels.
    """
    seconds = (points["end_s"] - points["start_s"]).to_numpy()
    fine = (seconds / PART_S).sum() <= MOST_PARTS
    rows: list[tuple[float, int, int, float, float, float]] = []
    for hold, point in enumerate(rows_of(points)):
        parts = max(1, int(seconds[hold] / PART_S)) if fine else 1
        doubt_pa = CLIPPED * abs(point.differential_pressure_pa) if point.clipped_share else 0.0
        u_pa = float(np.hypot(point.scatter_pa * np.sqrt(parts), doubt_pa))
        inside = table[table["time_s"].between(point.start_s, point.end_s)]
        level = point.speed_rpm / inside["speed_rpm"].mean()
        for part in _parts(inside, parts):
            mean_pa = part["sensor_dp_pa"].mean()
            speed = level * part["speed_rpm"].mean()
            rows.append((part["time_s"].mean(), hold, -1, mean_pa, u_pa, speed))
    near = (
        zeros.index[zeros["end_s"] <= points["start_s"].iloc[0]][-1:],
        zeros.index[zeros["start_s"] >= points["end_s"].iloc[-1]][:1],
    )
    for stretch in rows_of(zeros.loc[near[0].union(near[1])].reset_index(names="number")):
        inside = table[table["time_s"].between(stretch.start_s, stretch.end_s)]
        for part in _parts(inside, max(1, int((stretch.end_s - stretch.start_s) / PART_S))):
            values = part["sensor_dp_pa"].dropna()
            u_pa = values.std() / np.sqrt(len(values))
            rows.append((part["time_s"].mean(), -1, stretch.number, values.mean(), u_pa, 0.0))
    rows = sorted(row for row in rows if np.isfinite(row).all())
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    return Readings(*columns)


def _parts(inside: pd.DataFrame, count: int) -> list[pd.DataFrame]:
    cuts = np.linspace(0, len(inside), count + 1).astype(int)
    found = [inside.iloc[low:high] for low, high in pairwise(cuts)]
    return [part for part in found if len(part) >= LEAST_BLOCKS]

"""The differential-pressure sensor's zero, from stretches with the engine off."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

RUN_DOWN_S = 4.0  # after the last edge: rotors coast and the tank fills
RUN_UP_S = 1.0  # before the first edge
SHORTEST_S = 3.0
PARTS = 6
# t for PARTS - 1 degrees of freedom over the normal's, both of 95 %
STUDENT = float(special.stdtrit(PARTS - 1, 0.975) / special.ndtri(0.975))
QUIET = 0.4  # counts of noise
ALONE_SPANS = 0.0005  # of the span: what a zero may wander until a second one is taken; judgement

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Zeros:
    """The zero over a run.

    `table` has a row an engine-off stretch: `start_s`, `end_s`, `zero_pa`, `zero_u_pa`
    (standard uncertainty of its mean). `noise_pa` is the sensor's own standard deviation of
    one sample, NaN without a stretch.
    """

    table: pd.DataFrame
    noise_pa: float
    _none_half_width_pa: float
    _alone_half_width_pa: float

    def at(self, times_s: Array) -> Array:
        """The zero at each time: on the straight lines between stretches, 0 without any."""
        if self.table.empty:
            return np.zeros(len(times_s))
        middle = (self.table["start_s"] + self.table["end_s"]) / 2
        return np.asarray(np.interp(times_s, middle, self.table["zero_pa"]))

    def half_width_pa(self, offset_pa: Mapping[int, float] | None = None) -> float:
        """Half-width of the rectangular distribution of the zero's error.

        offset_pa: what is known of an offset in a stretch, by its place; a zero that moved by
        that has not moved itself.
        """
        if self.table.empty:
            return self._none_half_width_pa
        scatter = float(np.sqrt(3) * self.table["zero_u_pa"].max())
        if len(self.table) == 1:
            return float(np.hypot(self._alone_half_width_pa, scatter))
        offset = np.array([(offset_pa or {}).get(place, 0.0) for place in self.table.index])
        moved = float(np.ptp(self.table["zero_pa"] - offset))
        return float(np.hypot(moved / 2, scatter))


def find_zeros(table: pd.DataFrame, span_pa: float, count_pa: float, zero_bound: float) -> Zeros:
    """Engine-off stretches and the zero in each.

    table: the channels. span_pa, count_pa: the sensor's whole range and one count. zero_bound:
    how far its zero may lie off before any zeroing, as a fraction of the span (data sheet). A
    stretch in which air evidently moves although no edge comes (a dead pickup) gives no zero.
    """
    limit_pa = 2 * zero_bound * span_pa
    rows = []
    noises = []
    for start, end in _stretches(table):
        inside = table[(table["time_s"] >= start) & (table["time_s"] <= end)]
        values = inside["sensor_dp_pa"].dropna()
        noise = float(inside["differential_pressure_sd_pa"].median())
        if len(values) < 2 or abs(values.mean()) > limit_pa:
            continue
        rows.append((start, end, values.mean(), _uncertainty(values.to_numpy(), noise, count_pa)))
        noises.append(noise)
    found = pd.DataFrame(rows, columns=["start_s", "end_s", "zero_pa", "zero_u_pa"])
    return Zeros(
        found,
        float(np.median(noises)) if noises else np.nan,
        zero_bound * span_pa,
        ALONE_SPANS * span_pa,
    )


def _uncertainty(values: Array, noise_pa: float, count_pa: float) -> float:
    """Standard uncertainty of the mean of a zero: of the means of its parts, which a slow drift
    sets apart as well, and of counting where no noise blurs the steps."""
    parts = [part.mean() for part in np.array_split(values, min(PARTS, len(values)))]
    counting = count_pa / np.sqrt(12) if noise_pa < QUIET * count_pa else 0.0
    # Student's factor for so few parts, so that twice this is the half-width of 95 %.
    return float(np.hypot(STUDENT * np.std(parts, ddof=1) / np.sqrt(len(parts)), counting))


def _stretches(table: pd.DataFrame) -> list[tuple[float, float]]:
    """Times between which no shaft turned, without run-down and run-up."""
    stands = (table["speed_rpm"] == 0).to_numpy()
    if "engine_speed_rpm" in table:
        stands = stands & ~(table["engine_speed_rpm"] > 0).to_numpy()
    boots = table["boot"].to_numpy()
    times = table["time_s"].to_numpy()
    change = np.flatnonzero((stands[1:] != stands[:-1]) | (boots[1:] != boots[:-1])) + 1
    edges = [0, *change, len(stands)]
    found = []
    for low, high in pairwise(edges):
        if not stands[low]:
            continue
        start = times[low] + (RUN_DOWN_S if low and not stands[low - 1] else 0.0)
        end = times[high - 1] - (RUN_UP_S if high < len(stands) and not stands[high] else 0.0)
        if end - start >= SHORTEST_S:
            found.append((float(start), float(end)))
    return found

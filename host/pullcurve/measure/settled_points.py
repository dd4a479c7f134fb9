"""Settled points: stretches in which speed and flow hold still.

A stretch is steady where, in every window of WINDOW_S, the straight line through half-second
means of speed rises or falls by less than DRIFT over the window and the means scatter about
it by less than SCATTER. This is the slope test of steady-state detection (Kelly, Hedengren,
J. Process Control 23 (2013) 326, from memory) with a bound on the size of the slope in place
of its significance: a long hold makes a harmless drift significant. From a steady stretch the
ends are cut back to where speed, without its wander, lies within BAND of one level, and the
beginning by AIR_S, in which the hand makes its last touch and tank and hose fill (three time
constants, a second or two: common practice, no source), and on while flow over speed still moves
to its later value; the end by LEAVE_S.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.measure.true_runs import true_runs

STEP_S = 0.5
WINDOW_S = 4.0
DRIFT = 0.006
SCATTER = 0.004
BAND = 0.0048  # of the speed as a mean over CALM half seconds
CALM = 7
WANDER = 0.011  # of the speed as means over half seconds
SHIFT = 0.0015  # of the mean speed, from one part of a level stretch to the other
CERTAIN = 4.5  # standard deviations of that which wander alone would shift
WANDER_STEPS = 6  # half seconds over which wander hangs together, both ways
LEAST_SIDE = 12  # half seconds on either side of a shift
AIR_S = 3.6
LONGEST_FILL_S = 10.0
FLOW_BAND = 0.004  # of flow over speed, against that of the stretch's later part
LEAVE_S = 1.4  # the speed shown at an instant is a mean over half a second on either side
SHORTEST_S = 2.5
LONGEST_S = 60.0
SLOWEST_RPM = 300.0
UNQUIET = 0.05  # relative standard deviation of one-second means of flow within a point

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stretch:
    """One settled stretch, or one that was looked at and why it does not count."""

    start_s: float
    end_s: float
    speed_rpm: float
    rejected: str = ""


def find_settled(table: pd.DataFrame) -> list[Stretch]:
    """The settled stretches of a run, in the order of time, with those that do not count.

    table: the channels, with `time_s`, `length_s`, `speed_rpm` and `zeroed_dp_pa`.
    """
    time_s, speed, pressure = _half_seconds(table)
    steady = _steady(speed)
    found: list[Stretch] = []
    for run in true_runs(steady):
        low, high = run.start, run.stop
        for start, end in _level(speed, low, high):
            found.extend(_trimmed(time_s, speed, pressure, start, end))
    return found


def _half_seconds(table: pd.DataFrame) -> tuple[Array, Array, Array]:
    """Speed and signed-root pressure (which goes as flow) as means on an even grid."""
    length_s = table["length_s"].to_numpy()
    copies = int(np.ceil(length_s.max() / STEP_S))  # of a block that is longer than a step
    if copies > 1:
        table = table.loc[table.index.repeat(copies)]
        place = np.tile((np.arange(copies) + 0.5) / copies - 0.5, len(length_s))
        table = table.assign(time_s=table["time_s"] + place * table["length_s"])
    time_s = table["time_s"].to_numpy()
    bins = np.floor((time_s - time_s[0]) / STEP_S).astype(int)
    grid = np.arange(bins.max() + 1)
    values = table["zeroed_dp_pa"].to_numpy()
    flow = np.sign(values) * np.sqrt(np.abs(values))
    means = (
        pd.DataFrame({"speed": table["speed_rpm"].to_numpy(), "flow": flow})
        .groupby(bins)
        .mean()
        .reindex(grid)
    )
    centres = time_s[0] + (grid + 0.5) * STEP_S
    return centres, means["speed"].to_numpy(), means["flow"].to_numpy()


def _steady(speed: Array) -> NDArray[np.bool_]:
    """Whether each half second lies in a window that passes the slope test."""
    count = round(WINDOW_S / STEP_S)
    steady = np.zeros(len(speed), dtype=bool)
    if len(speed) < count:
        return steady
    windows = np.lib.stride_tricks.sliding_window_view(speed, count)
    x = np.arange(count) - (count - 1) / 2
    mean = windows.mean(axis=1)
    slope = windows @ x / (x @ x)
    left = windows - mean[:, None] - slope[:, None] * x
    with np.errstate(invalid="ignore", divide="ignore"):
        drift = np.abs(slope) * count / mean
        scatter = np.sqrt((left**2).sum(axis=1) / (count - 2)) / mean
        passed = (mean >= SLOWEST_RPM) & (drift < DRIFT) & (scatter < SCATTER)
    for i in np.flatnonzero(passed):
        steady[i : i + count] = True
    return steady


def _level(speed: Array, low: int, high: int) -> list[tuple[int, int]]:
    """The parts of a steady stretch within BAND of their own median: the longest, then what
    is left on either side of it."""
    least = round(SHORTEST_S / STEP_S)
    if high - low < least:
        return []
    part = speed[low:high]
    calm = np.convolve(np.pad(part, CALM // 2, mode="edge"), np.ones(CALM) / CALM, mode="valid")
    best = (0, 0)
    step = BAND * np.nanmedian(part) / 2
    for level in step * np.unique(np.round(part / step)):
        near = (np.abs(calm / level - 1) <= BAND) & (np.abs(part / level - 1) <= WANDER)
        for run in true_runs(near):
            a, b = run.start, run.stop
            if b - a > best[1] - best[0]:
                best = (a, b)
    a, b = low + best[0], low + best[1]
    if b - a < least:
        return []
    return [*_level(speed, low, a), *_split(speed, a, b), *_level(speed, b, high)]


def _split(speed: Array, low: int, high: int) -> list[tuple[int, int]]:
    """A level stretch, cut where speed goes from one hold to another that is hardly faster."""
    part = speed[low:high]
    if len(part) < 2 * LEAST_SIDE:
        return [(low, high)]
    sums = np.concatenate(([0.0], np.cumsum(part)))
    places = np.arange(LEAST_SIDE, len(part) - LEAST_SIDE + 1)
    before = sums[places] / places
    after = (sums[-1] - sums[places]) / (len(part) - places)
    shifts = np.abs(after / before - 1)
    place = int(shifts.argmax())
    cut = int(places[place])
    spread = np.hypot(part[:cut].std(), part[cut:].std()) / np.sqrt(2) / part.mean()
    chance = spread * np.sqrt(WANDER_STEPS * (1 / cut + 1 / (len(part) - cut)))
    if not shifts[place] > max(SHIFT, CERTAIN * chance):
        return [(low, high)]
    middle = low + cut
    return [*_split(speed, low, middle), *_split(speed, middle, high)]


def _filled(speed: Array, flow: Array, low: int, high: int) -> int:
    """Where flow over speed, as means over three half seconds, has come to its later value."""
    ratio = flow[low:high] / speed[low:high]
    later = ratio[len(ratio) // 2 :]
    late = np.nanmedian(later)
    smooth = np.convolve(ratio, np.ones(3) / 3, mode="valid")
    scatter = 1.48 * np.nanmedian(np.abs(later - late)) / np.sqrt(3)
    away = np.abs(smooth - late) > np.maximum(FLOW_BAND * abs(late), 3 * scatter)
    settled = np.flatnonzero(~away)
    if not len(settled) or settled[0] * STEP_S > LONGEST_FILL_S:
        return low
    # By then AIR_S has begun to pass: what is left of the departure is what it takes off.
    return low + max(int(settled[0]) - round(AIR_S / STEP_S) + 1, 0)


def _trimmed(time_s: Array, speed: Array, flow: Array, low: int, high: int) -> list[Stretch]:
    """A level stretch without its settling time, in parts of LONGEST_S at most."""
    low = _filled(speed, flow, low, high)
    # Of a short hold less is cut, so that it still counts.
    generous = np.clip(((high - low) * STEP_S - 6) / 4, 0, 1)
    start = float(time_s[low]) - STEP_S / 2 + AIR_S - 1.2 * (1 - generous)
    end = float(time_s[high - 1]) + STEP_S / 2 - LEAVE_S + 0.4 * (1 - generous)
    mean = float(np.nanmean(speed[low:high]))
    if end - start < SHORTEST_S:
        if high - low < WINDOW_S / STEP_S:
            return []
        return [
            Stretch(
                start,
                end,
                mean,
                f"held for {(high - low) * STEP_S:.0f} s, "
                f"{AIR_S + SHORTEST_S + LEAVE_S:.0f} s are needed",
            )
        ]
    parts = int(np.ceil((end - start) / LONGEST_S))
    cuts = np.linspace(start, end, parts + 1)
    found = []
    for a, b in pairwise(cuts):
        inside = flow[(time_s >= a) & (time_s <= b)]
        pairs = inside[: len(inside) // 2 * 2].reshape(-1, 2).mean(axis=1)
        reason = ""
        if not np.isfinite(pairs).all():
            reason = "readings of the differential pressure are missing"
        elif pairs.std() > UNQUIET * abs(pairs.mean()):
            reason = "the flow did not hold still, although the speed did"
        found.append(Stretch(float(a), float(b), mean, reason))
    return found

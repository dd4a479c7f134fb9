"""When an offset may come and go: every course that is weighed, with its prior."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.measure.offset_readings import PART_S, Readings

Array = NDArray[np.float64]
Places = NDArray[np.int64]

# Judgements. It comes with the engine's start or at any time; it goes with the engine's stop,
# at any time, or not at all.
AT_START, AT_STOP, STAYS = 0.4, 0.35, 0.4
RUNNING, SLOWLY, DYING = 0.1, 0.08, 0.08  # of the whole prior
EARLY = 0.25  # of the sweep's time, in which an offset dies away


@dataclass(frozen=True)
class Courses:
    """What each course makes of an offset of 1 at each part, and its prior.

    `shape` is a matrix of (parts, courses). A course begins at the part `start`, and ends
    before the part `stop`.
    """

    shape: Array
    prior: Array
    start: Places
    stop: Places


def courses(readings: Readings) -> Courses:
    """All courses for a sweep's readings: boxes, slow rises, and early deaths."""
    time_s, turning = readings.time_s, readings.turning
    count = len(time_s)
    gaps = np.diff(time_s, prepend=time_s[0] - PART_S, append=time_s[-1] + PART_S)
    before = np.concatenate(([False], turning, [False]))
    zero_there = not turning.all()
    starts = np.flatnonzero(~before[:-1] & before[1:] & (np.arange(count + 1) > 0))
    stops = np.flatnonzero(before[:-1] & ~before[1:] & (np.arange(count + 1) < count))
    coming = gaps[:count] / gaps[:count].sum()
    if len(starts):
        coming = (1 - AT_START) * coming
        coming[starts] += AT_START / len(starts)
    shapes, priors, ends = [], [], []
    parts = np.arange(count)
    for start in range(count):
        going = gaps.copy()
        going[: start + 1] = going[count] = 0
        going *= (1 - AT_STOP - STAYS) / max(going.sum(), 1e-9)
        later = stops[stops > start]
        going[later[0] if len(later) else count] += AT_STOP
        going[count] += STAYS
        for stop in range(start + 1, count + 1):
            if zero_there and start == 0 and stop == count:
                continue  # the zero takes it off
            shapes.append(((parts >= start) & (parts < stop)).astype(np.float64))
            priors.append((1 - RUNNING - SLOWLY - DYING) * coming[start] * going[stop])
            ends.append((start, stop))
    if zero_there:
        shapes.append(turning.astype(np.float64))
        priors.append(RUNNING)
        ends.append((int(turning.argmax()), count - int(turning[::-1].argmax())))
    span_s = max(float(np.ptp(time_s)), PART_S)
    for start in range(count - 1):
        since_s = np.maximum(time_s - time_s[start], 0)
        shapes.append(since_s / since_s[-1])
        shapes.append(np.where(parts >= start, np.exp(-since_s / (EARLY * span_s)), 0))
        priors += [SLOWLY * coming[start], DYING * coming[start]]
        ends += [(start, count), (start, count)]
    prior = np.array(priors)
    start_stop = np.array(ends)
    return Courses(np.column_stack(shapes), prior / prior.sum(), start_stop[:, 0], start_stop[:, 1])

"""An offset of the differential pressure that no zero took off, such as water in a line makes.

Three readings of a sweep are weighed against each other by their likelihood:

    none      the differential pressure follows one curve of the speed (`sweep_curve`) and the
              sensor's zero
    offset    so it does, but for an offset that comes and goes (`offset_times`): in a zero,
              between two holds or within one, or whenever the engine turns
    path      so it does, but for a change of the path (a clog, a hose that moved), which
              changes the differential pressure in proportion; within one hold it looks like an
              offset

Everything is normal: the readings have the mean and covariance of the curve, of the sensor's
zero and its drift, of its linearity, and of scatter, whose size is itself weighed. An offset is
one further column with a prior size, so its likelihood, size and uncertainty are those of
Bayesian linear regression (closed form), and their mean over all courses and sizes is taken
(model averaging; Hoeting and others, Statistical Science 14 (1999) 382, from memory). So the
interval of the flow bears an offset that the readings do not exclude, named or not.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular
from scipy.special import expit, logsumexp

from pullcurve.measure.offset_readings import Readings
from pullcurve.measure.offset_times import Courses, courses
from pullcurve.measure.sweep_curve import Known, log_curve

Array = NDArray[np.float64]

LEAST_SPEEDS, APART = 3, 0.03  # that differ by so much of the greatest
# Priors, all of them judgements. Sizes are standard deviations.
SIZES_PA = np.array([20.0, 45.0, 100.0, 220.0])  # of an offset, each as likely
CHANGES = np.array([0.01, 0.04, 0.15])  # of a path, each as likely
CHANGED = {True: 1.0, False: 0.1}  # chance of that over none's, with spoil and without
WRECKED = 0.05  # chance of a blower near its end
LIKENESS = {3e-4: 0.3, 1e-3: 0.3, 3e-3: 0.25, 8e-3: 0.15}  # of a hold to its curve
WITHIN = 0.5  # of that, from part to part of a hold
PATH_DRIFT = 0.005  # over the sweep: filter, warmth of the machine
LEVEL = 0.3  # of the curve at its top, about what was read there
ZERO_WANDER, WANDER_S = 5e-4, 100.0  # of the span
ZERO_DRIFT = 1e-3  # of the span, over the sweep
COUNTING = 0.1  # of a count
CAUTIOUS = 0.5  # chance of an offset, for the interval: it must be true where there is one
NAMED_RATIO = 2.0  # of the likelihoods, offset to the others, from which on it is named
LEAST_PA = 10.0  # about a millimetre of water
OF_ITSELF = 0.2  # of what is taken off: water moves with the pressure upon it


@dataclass(frozen=True)
class Sensor:
    """The differential-pressure sensor: ends of its range, one count, and the half-widths of
    its zero and its linearity, Pa."""

    low_pa: float
    high_pa: float
    count_pa: float
    zero_pa: float
    linearity_pa: float


@dataclass(frozen=True)
class Offset:
    """What a sweep's readings say of an offset.

    `taken_off_pa`: at each point, 0 unless the offset is named; `u_pa` is what stays uncertain
    then. `at_zeros_pa`: the estimate in each zero that was looked at. Of one that is named,
    `from_s` and `to_s` are the likeliest times of coming and going, None where it is there from
    the first reading, or to the last; and `turning_only` says that it is there in all holds and
    in no zero.
    """

    named: bool
    taken_off_pa: Array
    u_pa: Array
    at_zeros_pa: dict[int, float] = field(default_factory=dict)
    from_s: float | None = None
    to_s: float | None = None
    turning_only: bool = False

    @property
    def greatest_pa(self) -> float:
        """The estimate of the greatest size, with its sign."""
        every = np.array([*self.taken_off_pa, *self.at_zeros_pa.values()])
        return float(every[np.abs(every).argmax()])


def distinct_speeds(speed_rpm: Array) -> int:
    """How many speeds there are that lie apart."""
    if not len(speed_rpm):
        return 0
    return 1 + int((np.diff(np.sort(speed_rpm)) > APART * speed_rpm.max()).sum())


def find_offset(
    points: pd.DataFrame, readings: Readings, known: Known, sensor: Sensor
) -> Offset | None:
    """What one sweep says of an offset; None where its speeds are too few to say anything.

    points: the sweep's settled points; readings: their parts and the zeros beside them; known:
    of each point.
    """
    speed = points["speed_rpm"].to_numpy()
    top_pa = float(points["differential_pressure_pa"].iloc[known.top])
    if distinct_speeds(speed) < LEAST_SPEEDS or top_pa <= 0:
        return None
    every = courses(readings)
    middle_s = ((points["start_s"] + points["end_s"]) / 2).to_numpy()
    effect = readings.over_points(len(points), middle_s)

    def weighed(*, wrecked: bool) -> list[Weighed]:
        log_mean, log_covariance = log_curve(known, wrecked=wrecked)
        hold = np.maximum(readings.hold, 0)
        curve = top_pa * np.exp(log_mean)[hold] * (readings.speed_rpm / speed[hold]) ** 2
        curve = np.where(readings.turning, curve, 0.0)
        scale = np.outer(curve, curve)
        steady = scale * (log_covariance[np.ix_(hold, hold)] + LEVEL**2)
        steady += _slow(readings, curve, sensor)
        likeness = scale * (readings.hold[:, None] == readings.hold)
        likeness += np.diag((WITHIN * curve) ** 2)
        columns = np.hstack((every.shape, every.shape * curve[:, None]))
        chance = WRECKED if wrecked else 1 - WRECKED
        left = readings.pressure_pa - curve
        return [
            weigh(left, steady + size**2 * likeness, columns, chance * share)
            for size, share in LIKENESS.items()
        ]

    usual = weighed(wrecked=False)
    found = _averaged(usual, every, readings, effect, CHANGED[known.spoil])
    if found.named:
        # Slip that takes most of a blower's flow bends the curve as an offset does.
        both = usual + weighed(wrecked=True)
        found = _averaged(both, every, readings, effect, CHANGED[known.spoil])
    return found


def _slow(readings: Readings, curve: Array, sensor: Sensor) -> Array:
    """Covariance of what moves the readings slowly, whatever the curve, and of their scatter."""
    time_s = readings.time_s
    span_pa = sensor.high_pa - sensor.low_pa
    place = (time_s - time_s.mean()) / max(float(np.ptp(time_s)), 1.0)
    apart_s = np.abs(time_s[:, None] - time_s)
    zero = np.full_like(apart_s, sensor.zero_pa**2 / 3)
    zero += (ZERO_WANDER * span_pa) ** 2 * np.exp(-apart_s / WANDER_S)
    zero += (ZERO_DRIFT * span_pa) ** 2 * np.outer(place, place)
    # Deviations from the straight line that fits best: Chebyshev polynomials, half the
    # variance each.
    x = 2 * (readings.pressure_pa - sensor.low_pa) / span_pa - 1
    bow = [np.outer(each, each) for each in (2 * x**2 - 1, 4 * x**3 - 3 * x)]
    drift = PATH_DRIFT * curve * place
    scatter = readings.u_pa**2 + (COUNTING * sensor.count_pa) ** 2
    linearity = sensor.linearity_pa**2 / 6 * (bow[0] + bow[1])
    return np.asarray(zero + linearity + np.outer(drift, drift) + np.diag(scatter))


@dataclass(frozen=True)
class Weighed:
    """Of one size of likeness: logarithm of prior times likelihood without a column; and of
    each column the information about its size, and its score."""

    log: float
    information: Array
    score: Array

    def log_with(self, size: Array) -> Array:
        """Logarithm for each prior size and column, of shape (sizes, columns)."""
        prior = size[:, None] ** 2
        spread = 1 + prior * self.information
        return np.asarray(self.log + (prior * self.score**2 / spread - np.log(spread)) / 2)

    def size(self, size: Array) -> tuple[Array, Array]:
        """Mean and variance of each column's size afterwards, of shape (sizes, columns)."""
        variance = 1 / (1 / size[:, None] ** 2 + self.information)
        return variance * self.score, variance


def weigh(left: Array, covariance: Array, columns: Array, share: float) -> Weighed:
    """Readings of a covariance, less their mean, with each of some columns beside them.

    share: prior of the covariance. Without a constant that is common to all.
    """
    root = cholesky(covariance, lower=True)
    white = solve_triangular(root, np.column_stack((left, columns)), lower=True)
    residual, columns = white[:, 0], white[:, 1:]
    log = np.log(share) - residual @ residual / 2 - np.log(np.diag(root)).sum()
    return Weighed(float(log), (columns**2).sum(axis=0), columns.T @ residual)


def _averaged(
    weighed: list[Weighed], every: Courses, readings: Readings, effect: Array, changed: float
) -> Offset:
    """The mean over all likenesses, sizes and courses."""
    count = len(every.prior)
    log_prior = np.log(every.prior) - np.log(len(SIZES_PA))
    logs = np.array([each.log_with(SIZES_PA)[:, :count] for each in weighed]) + log_prior
    moved = np.array([each.log_with(CHANGES)[:, count:] for each in weighed])
    none = logsumexp([each.log for each in weighed])
    path = logsumexp(moved + np.log(every.prior) - np.log(len(CHANGES)))
    other = np.logaddexp(none, np.log(changed) + path)
    log_ratio = float(logsumexp(logs) - other)
    chance = float(expit(log_ratio + np.log(CAUTIOUS) - np.log1p(-CAUTIOUS)))

    share = np.exp(logs - logsumexp(logs))
    sizes = [each.size(SIZES_PA) for each in weighed]
    mean = np.array([size[0][:, :count] for size in sizes])
    square = mean**2 + np.array([size[1][:, :count] for size in sizes])
    of_course = share.sum(axis=(0, 1))
    first, second = (share * mean).sum(axis=(0, 1)), (share * square).sum(axis=(0, 1))

    reach = effect @ every.shape  # (points, courses)
    estimate = chance * reach @ first
    at_zeros = {
        int(zero): float(chance * (every.shape[readings.zero == zero].mean(axis=0) @ first))
        for zero in np.unique(readings.zero[readings.zero >= 0])
    }
    greatest = max(np.abs(estimate).max(), *map(abs, at_zeros.values()), 0.0)
    named = log_ratio > np.log(NAMED_RATIO) and greatest > LEAST_PA
    taken = estimate if named else np.zeros_like(estimate)
    variance = chance * reach**2 @ second - 2 * taken * estimate + taken**2
    u_pa = np.sqrt(np.maximum(variance, 0) + (OF_ITSELF * taken) ** 2)
    if not named:
        return Offset(False, taken, u_pa, at_zeros)
    likeliest = int(of_course.argmax())
    start, stop = int(every.start[likeliest]), int(every.stop[likeliest])
    time_s, turning = readings.time_s, readings.turning
    return Offset(
        True,
        taken,
        u_pa,
        at_zeros,
        float(time_s[start - 1 : start + 1].mean()) if start else None,
        float(time_s[stop - 1 : stop + 1].mean()) if stop < len(time_s) else None,
        bool((every.shape[:, likeliest] == turning).all() and not turning.all()),
    )

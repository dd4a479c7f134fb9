"""What spoils a speed: wrong marks, missed ones, and a pickup that falls silent.

Marks put on by hand are uneven by a part of a per cent or more, and what is uneven comes again
after a whole turn. So the intervals between neighbouring marks, each in pitches of the speed there,
repeat with the true number of marks: how much of their variance a pattern of M marks explains finds
it.

Speeds and thresholds are judgements: a rotary-lobe blower of a suction machine turns with 2000 to
4500 rev/min at full throttle (common practice, no source).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.checks.catalogue import Finding, Kind, found
from pullcurve.measure.measurement import Measurement
from pullcurve.measure.shaft_speed import Marks
from pullcurve.stream.records import rows_of

MISSED_SHARE = 0.015  # of the marks: more than dirt and chance
DOUBTFUL = 0.001  # of a speed: its uncertainty where two numbers of marks compete
FLOWING = 0.5  # of the differential pressure beside a gap in the edges
LEAST_GAP_S, MISSED_GAP_S = 0.6, 2.0  # the latter where single marks are missed anyway
RUN_DOWN_S, LONG_S = 8.0, 4.0  # of a shaft, and of pressure without edges after it
STEADY_SHARE = 0.8  # of the speed two seconds on: the shaft neither starts nor stops
FAST = 0.012  # above its rated speed: more than a sound governor is off

SLOW_RPM, FAST_RPM = 1800.0, 5000.0  # a top speed outside which marks are doubted
LOWEST_TOP_RPM, USUAL_TOP_RPM = 1300.0, 2800.0  # of the speeds that are possible

MOST_MARKS = 12
CHUNK = 60  # intervals, within which no mark is miscounted
ROUNDS = 6
USUAL = 0.1  # intervals farther from 1 than this are faults, not spacing
# Standard deviations, in intervals. Judgements: marks put on by hand are uneven by more.
TELLING = 0.0013  # wander of the speed makes patterns of less
ALIKE, EVEN = 0.0009, 0.0005
RESOLVED = 0.001
# Parts: speed between uneven marks is not known as well as between even ones.
MORE_TELLING, MORE_ALIKE = 0.33, 0.2  # of the pattern that is there anyway
WORTH = 0.1  # of the variance that is left
BY_CHANCE = 3.0  # times what so many means explain by chance
ABOUT_EVEN = 4.0  # variances of a mean, by which a pattern may seem to be there

Array = NDArray[np.float64]


def pickups(run: Measurement) -> Iterator[Finding]:
    """Those of each shaft's pickup in turn."""
    for shaft, marks in run.channels.marks.items():
        name = shaft.replace("_", " ")
        yield from _wrong_marks(run, shaft, name)
        missed = list(_marks_missed(run, name, marks))
        yield from missed
        yield from _dropouts(run, name, marks, MISSED_GAP_S if missed else LEAST_GAP_S)


def rated_speed(run: Measurement) -> Iterator[Finding]:
    """A blower that turns faster than it is rated."""
    rated = run.rig.machine.rated_speed_rpm
    fastest = run.points["speed_rpm"].max()
    if rated is not None and fastest > (1 + FAST) * rated:
        beyond = 100 * (fastest / rated - 1)
        yield found(
            Kind.ABOVE_RATED_SPEED, fastest=float(fastest), beyond=float(beyond), rated=rated
        )


def _wrong_marks(run: Measurement, shaft: str, name: str) -> Iterator[Finding]:
    """A number of marks in the rig that the shaft does not seem to carry."""
    marks = run.channels.marks[shaft]
    typed = marks.marks_per_turn
    seen = pattern(marks.interval, marks.interval_mark)
    top = np.nan
    if shaft == run.channels.blower_shaft_from:  # else the speed tells nothing of these marks
        turning = run.channels.table["speed_rpm"]
        top = float(turning[turning > 0].quantile(0.98))
    repeats = seen.repeats_after if seen else 1
    part = seen.part_of(typed) if seen and top < SLOW_RPM else None
    if seen and seen.contradicts(typed) and repeats != typed:
        case, seems, possible = "repeats", repeats, _possible(repeats, typed, top)
    elif part is not None:
        case, possible = "even" if part == 1 else "part", _possible(part, typed, top)
        repeats = part
        seems = part if part > 1 else _likeliest(possible, typed, top)
    elif top > FAST_RPM:
        case, possible = "too_fast", _possible(repeats, typed, top)
        seems = _likeliest(possible, typed, top)
    else:
        return
    yield found(
        Kind.WRONG_MARKS,
        name,
        case=case,
        typed=typed,
        number=typed,
        repeats=repeats,
        seems=seems,
        top=top,
        top_then=top * typed / seems,
        # Wide enough for every number of marks that fits.
        off=max(abs(typed / number - 1) for number in possible),
    )


def _possible(seems: int, typed: int, top_rpm: float) -> tuple[int, ...]:
    """The numbers of marks that repeat so and give the blower a speed that blowers have."""
    fit = [
        number
        for number in range(seems, MOST_MARKS + 1, seems)
        if number != typed and LOWEST_TOP_RPM <= top_rpm * typed / number <= FAST_RPM
    ]
    return tuple(fit) or (seems,)


def _likeliest(possible: tuple[int, ...], typed: int, top_rpm: float) -> int:
    """The number with which the top speed is nearest to the usual one."""
    return min(possible, key=lambda number: abs(np.log(top_rpm * typed / number / USUAL_TOP_RPM)))


def _marks_missed(run: Measurement, name: str, marks: Marks) -> Iterator[Finding]:
    share = marks.missed / max(marks.passed, 1)
    if share > MISSED_SHARE:
        speeds = [marks.between(row.start_s, row.end_s) for row in rows_of(run.points)]
        doubtful = any(u > DOUBTFUL * rpm for rpm, u in speeds)
        yield found(
            Kind.MARK_MISSED,
            name,
            case="doubtful" if doubtful else "sure",
            spoils="widened" if doubtful else "none",
            missed=marks.missed,
            passed=marks.passed,
            share=100 * share,
        )


def _dropouts(run: Measurement, name: str, marks: Marks, least_s: float) -> Iterator[Finding]:
    """Times without edges in which air moved as before."""
    table = run.channels.table
    time_s = table["time_s"].to_numpy()
    zeroed = table["zeroed_dp_pa"].to_numpy()
    floor = 3 * run.zeros.half_width_pa() + 0.002 * run.channels.span_pa
    edges = [(s, e) for s, e in marks.gaps() if e - s > RUN_DOWN_S or _turns_on(marks, s, e)]
    if len(marks.time_s):
        first, last = float(marks.time_s[0]), float(marks.time_s[-1])
        near, far = marks.at(np.array([first + 0.4, first + 2.5]), 0.8)
        if near > STEADY_SHARE * far:
            edges.append((float(time_s[0]), first))
        near, far = marks.at(np.array([last - 0.4, last - 2.5]), 0.8)
        if near > STEADY_SHARE * far:
            edges.append((last, float(time_s[-1])))
    # A second pickup's last record ends before the run does.
    silent = [
        (s, e) for s, e in edges if e - s >= least_s and _flows_through(time_s, zeroed, s, e, floor)
    ]
    if silent:
        seconds = sum(end - start for start, end in silent)
        yield found(
            Kind.PICKUP_DROPOUT,
            name,
            case="gaps",
            start_s=silent[0][0],
            end_s=silent[-1][1],
            seconds=seconds,
            first=silent[0][0],
        )
    elif not len(marks.time_s) and float(zeroed.max()) > floor:
        yield found(Kind.PICKUP_DROPOUT, name, case="never", spoils="withheld")


def _turns_on(marks: Marks, start: float, end: float) -> bool:
    """Whether the shaft turns as fast after a gap as before it: it did not stop in between."""
    before, after = marks.at(np.array([start - 0.3, end + 0.3]), 0.8)
    return bool(min(before, after) > 0.6 * max(before, after) > 0)


def _flows_through(time_s: Array, zeroed: Array, start: float, end: float, floor: float) -> bool:
    """Whether the differential pressure stays up between two times as it is beside them."""
    inside = zeroed[(time_s > start + 0.1) & (time_s < end - 0.1)]
    block_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    if len(inside) * block_s < 0.7 * (end - start - 0.2):
        return False  # the records are missing, not the edges
    sides = (
        zeroed[(time_s > start - 2) & (time_s < start)],
        zeroed[(time_s > end) & (time_s < end + 2)],
    )
    usual = max((float(np.nanmedian(side)) for side in sides if len(side) > 3), default=0.0)
    if not len(inside) or usual <= floor:
        return False
    if float(np.nanmin(inside)) > FLOWING * usual:
        return True
    # Or for long after the shaft would have run down, whatever comes then.
    later = zeroed[(time_s > start + RUN_DOWN_S) & (time_s < end)]
    return float((later > max(0.1 * usual, 2 * floor)).sum()) * block_s > LONG_S


@dataclass(frozen=True)
class Pattern:
    """`explained`: variance of the intervals that a pattern of so many marks explains, from 1 mark
    (none) to MOST_MARKS; `total`: their variance; `number`: of intervals."""

    explained: dict[int, float]
    total: float
    number: int

    @property
    def repeats_after(self) -> int:
        """The least number of marks that explains nearly as much as any."""
        most = max(self.explained.values())
        alike = max(ALIKE, MORE_ALIKE * np.sqrt(most)) ** 2
        return min(marks for marks, part in self.explained.items() if most - part <= alike)

    def contradicts(self, typed: int) -> bool:
        """Whether the intervals repeat, and not with the number of marks that is believed."""
        if typed not in self.explained:
            return False
        best = max(self.explained, key=lambda marks: self.explained[marks])
        own, most = self.explained[typed], self.explained[best]
        left = self.total - most
        telling = max(TELLING, MORE_TELLING * np.sqrt(own)) ** 2
        by_chance = BY_CHANCE * best * left / self.number
        return most - own > telling + by_chance and most - own > WORTH * left

    def part_of(self, typed: int) -> int | None:
        """The least part of a believed turn after which the intervals repeat as evenly as no marks
        put on by hand do, if the intervals resolve that."""
        if typed not in self.explained:
            return None
        own = self.explained[typed]
        of_mean = (self.total - own) / self.number
        if 8 * of_mean > RESOLVED**2:
            return None
        for part in range(1, typed):
            more = own - self.explained[part]
            if typed % part == 0 and more < EVEN**2 + ABOUT_EVEN * of_mean:
                return part
        return None


def pattern(interval: Array, mark: Array) -> Pattern | None:
    """The pattern of a shaft's intervals, None where they are too few.

    interval: in pitches of the speed there, in the order of time; mark: the count of the mark that
    begins each. The count may slip where speed changes fast, so it is believed within chunks of
    CHUNK intervals only, and each chunk is turned until it fits the others best: a pattern that
    wander feigns in one of them is none in the next.
    """
    usual = np.abs(interval - 1) < USUAL
    chunks = int(usual.sum()) // CHUNK
    if not chunks:
        return None
    value = interval[usual][: chunks * CHUNK]
    index = np.round(mark[usual][: chunks * CHUNK]).astype(np.int64)
    # Winsorised, against the few intervals that a fault has bent.
    value = np.clip(value, *np.quantile(value, (0.005, 0.995))).reshape(chunks, CHUNK)
    value = (value - value.mean(axis=1)[:, None]).ravel()
    explained = {marks: _explained(value, index, marks) for marks in range(2, MOST_MARKS + 1)}
    return Pattern({1: 0.0, **explained}, float(np.mean(value**2)), len(value))


def _explained(value: Array, index: NDArray[np.int64], marks: int) -> float:
    """The variance that one pattern of so many marks explains, every chunk turned to fit it."""
    chunks = len(value) // CHUNK
    group = np.repeat(np.arange(chunks), CHUNK) * marks + index % marks
    number = np.bincount(group, minlength=chunks * marks).reshape(chunks, marks)
    total = np.bincount(group, value, minlength=chunks * marks).reshape(chunks, marks)
    turned = (np.arange(marks)[:, None] + np.arange(marks)) % marks
    numbers, totals = number[:, turned], total[:, turned]  # chunk, turn, mark
    own = total**2 / np.maximum(number, 1)
    first = int(own.sum(axis=1).argmax())
    means = total[first] / np.maximum(number[first], 1)
    for _ in range(ROUNDS):
        turn = (2 * totals @ means - numbers @ means**2).argmax(axis=1)
        at = np.arange(chunks)
        summed, counted = totals[at, turn].sum(axis=0), numbers[at, turn].sum(axis=0)
        means = summed / np.maximum(counted, 1)
    return float(np.sum(summed**2 / np.maximum(counted, 1)) / len(value))

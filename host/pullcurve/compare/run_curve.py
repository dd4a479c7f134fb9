"""Flow against speed of one run, as weights on its settled points: what comparing needs.

Weights let every covariance between points be carried over to any speed.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.diagnosis.evidence import fittings
from pullcurve.errors import LogError
from pullcurve.examine import Run
from pullcurve.measure.sweep_curve import BELT_SLIP

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

ALIKE: Final = 0.01  # of a speed: points within this are one
# Of the flow in the middle between two points whose speeds are a quarter of the upper one apart:
# standard uncertainty of a straight line there (judgement, from healthy and worn machines).
BENDS: Final = 0.001
# How much the exponent of flow against speed may differ from 1, where one point alone does not
# tell it (standard uncertainty, judgement).
STEEPER: Final = 0.4
SWEEPS_ALIKE: Final = 0.03  # of the flow: a later sweep that differs by more is of something else

# What makes a tube the same one; its place and the loss of its open end may change.
OF_THE_TUBE: Final = (
    *("kind", "taps", "pipe_bore", "throat_bore"),
    *("discharge_coefficient", "discharge_coefficient_source"),
)


class RunCurve:
    """The points of a run that are compared, those at one speed together.

    Only points with a flow, with hose and plate as at the fastest hold of the first sweep; and
    later sweeps only where they give the first one's flow. `left_out` says what is not.
    """

    def __init__(self, run: Run) -> None:
        self.run = run
        self.left_out: list[str] = []
        self.from_engine = run.channels.blower_shaft_from == "engine_shaft"
        nothing = (
            f"{run.log.path}: it has no settled point with a flow to compare; its report says why"
        )
        if run.flows is None or run.points.empty:
            raise LogError(nothing)
        stated = (run.points["withheld"] == "").to_numpy()
        good = np.flatnonzero(stated & (run.flows.mass.value > 0))
        if not len(good):
            raise LogError(nothing)
        self._speeds = run.points["speed_rpm"].to_numpy(float)
        self._mass = run.flows.mass.value
        self._set(self._alike(good))

    def _set(self, rows: Integers) -> None:
        order = rows[np.argsort(self._speeds[rows], kind="stable")]
        self.rows = order
        self._groups = [order[group] for group in clusters(self._speeds[order])]
        self.speed = np.array([self._speeds[group].mean() for group in self._groups])

    def _alike(self, rows: Integers) -> Integers:
        """The rows whose air took the same way."""
        name, sweep = self.run.log.path.name, self.run.points["sweep"].to_numpy()
        hose_on, plate = fittings(self.run, rows)
        first = np.flatnonzero(sweep[rows] == sweep[rows[0]])
        top = first[np.argmax(self._speeds[rows[first]])]
        like = (hose_on == hose_on[top]) & np.array([each == plate[top] for each in plate])
        if not like.all():
            self.left_out.append(
                f"{name}: {np.sum(~like)} of {len(rows)} settled points, which had another hose "
                "or plate on than the fastest hold of the first sweep"
            )
        rows = rows[like]
        kept = rows[sweep[rows] == sweep[rows[0]]]
        self._set(kept)
        for number in np.unique(sweep[rows])[1:]:
            more = rows[sweep[rows] == number]
            inside = more[
                (self._speeds[more] >= (1 - ALIKE) * self.speed[0])
                & (self._speeds[more] <= (1 + ALIKE) * self.speed[-1])
            ]
            if len(inside):
                there = self.weights(self._speeds[inside]) @ self._mass
                apart = float(np.mean(self._mass[inside] / there)) - 1
                if abs(apart) > SWEEPS_ALIKE:
                    self.left_out.append(
                        f"{name}: sweep {number}, whose flow at equal speed differs by "
                        f"{100 * apart:+.0f} % from that of the first one; a plate or another "
                        "hose would do this".replace("-", "−")
                    )
                    continue
            kept = np.concatenate([kept, more])
        return np.asarray(kept)

    def weights(self, speeds: Array) -> Array:
        """What each settled point counts for the flow at each speed: (speeds, points)."""
        below, share = self._between(speeds)
        found = np.zeros((len(speeds), len(self._speeds)))
        for row, speed in enumerate(speeds):
            for number, part in ((below[row], 1 - share[row]), (below[row] + 1, share[row])):
                if part > 0:
                    group = self._groups[number]
                    found[row, group] += part / len(group) * speed / self._speeds[group]
        return found

    def _between(self, speeds: Array) -> tuple[Integers, Array]:
        """The group below each speed, and how far on the way to the next one it lies, in the
        square of the speed."""
        at = np.interp(speeds**2, self.speed**2, np.arange(len(self.speed)))
        below = np.minimum(at.astype(np.int64), max(len(self.speed) - 2, 0))
        return below, at - below

    def doubt(self, speeds: Array) -> Array:
        """Relative covariance of the flow at each speed that the points' own does not hold: of
        the straight line between them, and of their speeds."""
        below, share = self._between(speeds)
        beyond = np.maximum(below + 1, 0) * (len(self.speed) > 1)
        gap = 1 - self.speed[below] / self.speed[beyond]
        bend = BENDS * 4 * share * (1 - share) * np.abs(gap) / 0.25
        outside = speeds - np.clip(speeds, self.speed[0], self.speed[-1])
        found = np.outer(bend, bend) * (below[:, None] == below)
        found += np.outer(STEEPER * outside / speeds, STEEPER * outside / speeds)
        return np.asarray(found + self._speed_doubt(speeds))

    def _speed_doubt(self, speeds: Array) -> Array:
        """Of the speeds, as if flow went with speed: each point's own, and what is common to
        all, such as a doubtful number of marks. A belt's slip is not in it."""
        points = self.run.points
        whole = points["speed_u95_rpm"].to_numpy(float) / 2 / self._speeds
        known = points["speed_u_rpm"].to_numpy(float) / self._speeds
        belt = BELT_SLIP**2 / 3 if self.from_engine else 0.0
        own = np.maximum(known**2 - belt, 0.0)
        common = np.sqrt(np.maximum(whole**2 - known**2, 0.0))
        shares = self.weights(speeds) * self._speeds / speeds[:, None]
        level = shares @ common
        return np.asarray(shares @ np.diag(own) @ shares.T + np.outer(level, level))

    def at(self, column: str, speeds: Array) -> Array:
        """A pressure of `points` at these speeds, as it goes with the square of the speed
        between points; NaN where a point has none."""
        values = self.run.points[column].to_numpy(float) / self._speeds**2
        groups = [float(values[group].mean()) for group in self._groups]
        return np.asarray(np.interp(speeds**2, self.speed**2, groups) * speeds**2)


def clusters(ordered: Array) -> list[Integers]:
    """Indices of values in rising order, those within ALIKE of the first of them together."""
    found: list[Integers] = []
    start = 0
    for i in range(1, len(ordered) + 1):
        if i == len(ordered) or ordered[i] > (1 + ALIKE) * ordered[start]:
            found.append(np.arange(start, i))
            start = i
    return found


def same_meter(first: Run, later: Run) -> tuple[bool, str]:
    """Whether one and the same meter was used, and what that is taken from."""
    for field in OF_THE_TUBE:
        if getattr(first.rig.meter, field) != getattr(later.rig.meter, field):
            return False, f"the rigs give the meter another {field.replace('_', ' ')}"
    headers = [run.records.header for run in (first, later)]
    sensors = [header.sensor("meter_dp") for header in headers]
    if sensors[0] is None or sensors[1] is None:
        return False, "a log names no differential-pressure sensor"
    if sensors[0].part != sensors[1].part or sensors[0].channels != sensors[1].channels:
        return False, "the logs name another differential-pressure sensor"
    if headers[0].board_id != headers[1].board_id:
        return False, "the logs come from two boards, so the pressure sensor was another one"
    return True, "the rigs describe one tube, and both logs come from one board with one sensor"

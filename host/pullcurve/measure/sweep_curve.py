"""How the differential pressure of a sweep may go with the blower's speed, before it is read.

On one path the blower takes in its displacement times the speed it does not lose to slip, at
the density of its inlet; the meter's differential pressure goes with that mass squared over the
density at the tap. What is not known of the machine is drawn: slip, losses ahead of the blower,
pulsation, the fall of the meter's coefficient. The draws' mean and covariance say which curves
a machine without an offset may have.
"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DRAWS, SEED = 400, 1
# Judgement: what suction machines have, new and worn. At the top speed of the sweep:
SLIP = (0.02, 0.3)  # of the speed, leaks behind the meter with it; even in the logarithm
WRECKED_SLIP = (0.3, 0.7)  # of a blower near its end
LAMINAR = 0.3  # of the slip, at most, in narrow gaps
OUTLET = (0.003, 0.04)  # pressure over the ambient's at the blower's outlet
LOST = {  # of the ambient pressure, ahead of the blower's inlet; even in the logarithm
    "nothing": None,
    "filter": (0.003, 0.15),
    "path": (0.01, 0.3),
}
LINEAR = 0.8  # of the loss, at most, that goes with the flow and not with its square
PIPE_OVER_DP = 0.17  # standard deviation of a short pipe's loss, over the differential pressure
FALL = (-0.002, 0.012)  # of C for each halving of the flow
PULSATION = 0.15  # relative amplitude of the flow, at most
RESONANCE, QUALITY = (0.3, 3.0), (0.8, 3.0)  # over the top lobe-pass frequency; in every other case
BELT_SLIP = 0.02  # of the blower's speed, at most, where only the engine's is known (judgement)

Unread = Literal["nothing", "pipe", "filter", "path"]


@dataclass(frozen=True)
class Known:
    """What is known of a sweep's points, each array of shape (points,).

    `pressure_ratio`: absolute pressure at the place nearest to the blower that was measured,
    over the ambient's (ones where none was); `unread`: what lies between it and the blower.
    `differential_ratio`: differential pressure over the ambient's. `meter`: the logarithm of
    density at the tap times expansibility squared. `belt`: whether the blower's speed is
    taken from the engine's. `spoil`: whether spoil may come through the path, as it never does
    through a meter in the open.
    """

    speed_rpm: Array
    pressure_ratio: Array
    unread: Unread
    differential_ratio: Array
    meter: Array
    belt: bool
    spoil: bool

    def of(self, at: NDArray[np.int64]) -> "Known":
        """Of some of the points."""
        arrays = ("speed_rpm", "pressure_ratio", "differential_ratio", "meter")
        return replace(self, **{name: getattr(self, name)[at] for name in arrays})

    @property
    def top(self) -> int:
        """The fastest point."""
        return int(np.argmax(self.speed_rpm))


def log_curve(known: Known, *, wrecked: bool = False) -> tuple[Array, Array]:
    """Mean and covariance of ln(dp) less its value at the fastest point.

    wrecked: of a blower that has lost a third of its flow and more.

    Slip: N_s = S [(1 - a) sqrt(r - 1) + a (r - 1)(r + 1)/2] with the pressure ratio r, an
    orifice's form with a laminar share (common practice, no source). Loss ahead of the blower:
    lambda m + (1 - lambda) m^2, with m taken as the speed, relative to the top. Flow that pulsates
    with relative amplitude A raises the mean differential pressure by A^2/2 (ISO/TR 3313, from
    memory).
    """
    dice = np.random.default_rng(SEED)

    def even(low: float, high: float) -> Array:
        return dice.uniform(low, high, (DRAWS, 1))

    def even_log(ends: tuple[float, float]) -> Array:
        return np.exp(even(*np.log(ends)))

    def every_other() -> NDArray[np.bool_]:
        return dice.random((DRAWS, 1)) < 0.5

    speed = (known.speed_rpm / known.speed_rpm.max())[None, :]
    slip, outlet = even_log(WRECKED_SLIP if wrecked else SLIP), even(*OUTLET)
    laminar = even(0, LAMINAR) * every_other()
    linear, pipe = even(0, LINEAR), PIPE_OVER_DP * dice.standard_normal((DRAWS, 1))
    fall, amplitude, belt = even(*FALL), even(0, PULSATION), even(0, BELT_SLIP) * known.belt
    resonance, quality, resonant = even_log(RESONANCE), even(*QUALITY), every_other()

    inlet = np.broadcast_to(known.pressure_ratio, (DRAWS, speed.size))
    if known.unread == "pipe":
        inlet = inlet + pipe * known.differential_ratio
    elif (ends := LOST[known.unread]) is not None:
        inlet = inlet - even_log(ends) * (linear * speed + (1 - linear) * speed**2)
    rise = np.maximum((1 + outlet * speed**2) / inlet - 1, 5e-4)
    slipping = (1 - laminar) * _from_top(np.sqrt(rise), known.top)
    slipping = slipping + laminar * _from_top(rise * (2 + rise), known.top)
    taken = 1 - np.minimum(slip * slipping / speed, 0.8)
    ratio = speed / resonance
    answer = 1 / ((1 - ratio**2) ** 2 + (ratio / quality) ** 2)
    answer = np.where(resonant, answer / np.maximum(answer.max(axis=1, keepdims=True), 1), 1.0)
    curve = (
        2 * np.log(speed * inlet * taken * (1 - belt * speed**2))
        - 2 * fall * np.log2(speed)
        + np.log1p(amplitude**2 / 2 * answer)
    )
    curve = curve - curve[:, [known.top]]
    meter = known.meter - known.meter[known.top]
    return curve.mean(axis=0) - meter, np.atleast_2d(np.cov(curve.T, bias=True))


def _from_top(values: Array, top: int) -> Array:
    return np.asarray(values / values[:, [top]])

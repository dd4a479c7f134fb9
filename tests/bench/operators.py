"""The operator's hand on the throttle: sweeps, ragged as sweeps are."""

from collections.abc import Sequence
from dataclasses import dataclass

from dice import Dice
from machines import IDLE

ZEROS = ("both",) * 7 + ("before", "after") * 2 + ("none",)  # when the engine stands


@dataclass(frozen=True)
class Stay:
    """The hand leaves the throttle alone, or lets it creep, between two times."""

    start_s: float
    end_s: float
    level: float  # of the speed at full throttle
    sweep: int = 0


@dataclass(frozen=True)
class Hand:
    """Points of the throttle [s, rev/min] up to the run's end, and the stays."""

    throttle: list[list[float]]
    stays: tuple[Stay, ...]

    @property
    def end_s(self) -> float:
        return self.throttle[-1][0]


def draw_levels(dice: Dice) -> list[float]:
    """Five to eight holds, upwards or up and down."""
    levels = sorted(dice.between(0.5, 1.0) for _ in range(dice.whole(5, 8)))
    return [*levels[::2], *levels[1::2][::-1]] if dice.chance(0.5) else levels


def sweep(
    dice: Dice, top_rpm: float, sweeps: Sequence[Sequence[float]], zeros: str = "both"
) -> Hand:
    """Holds of 12 to 30 s at these levels, the engine off between sweeps.

    The hand goes past its aim or falls short, mends that in up to three touches, and in one hold
    of ten touches the throttle again halfway, which makes two stays of it.
    """
    points: list[list[float]] = []
    stays: list[Stay] = []
    at = 0.0

    def go(seconds: float, level: float) -> None:
        nonlocal at
        at += seconds
        points.append([at, level * top_rpm])

    def stay(seconds: float, level: float, number: int) -> None:
        start = at
        creep = dice.normal(0.0015) if dice.chance(0.3) else 0.0
        go(seconds, level * (1 + creep))
        stays.append(Stay(start, at, level, number))

    stands = zeros in ("both", "before")
    last = 0.0 if stands else sweeps[0][0]
    go(0.0, last)
    if stands:
        go(dice.between(8, 25), 0.0)
    for number, levels in enumerate(sweeps):
        for level in levels:
            go(dice.between(0.8, 2.5), level + (level - last) * dice.between(-0.15, 0.2))
            for _ in range(dice.whole(0, 3)):
                go(dice.between(0.4, 1.5), level * (1 + dice.normal(0.01)))
            go(dice.between(0.4, 1.5), level)
            hold, last = dice.between(12, 30), level
            if hold > 20 and dice.chance(0.2):
                stay(hold / 2, level, number)
                last = level * (1 + dice.sign() * dice.between(0.012, 0.03))
                go(dice.between(0.5, 1.5), last)
                hold /= 2
            stay(hold, last, number)
        if zeros in ("both", "after") or number + 1 < len(sweeps):
            go(dice.between(1, 2.5), IDLE)
            go(dice.between(1, 2), 0.0)
            go(dice.between(12, 28), 0.0)
            last = 0.0
    go(0.5, points[-1][1] / top_rpm)
    return Hand(points, tuple(stays))

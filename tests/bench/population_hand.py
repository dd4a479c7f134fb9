"""The operator's hand on the throttle: a sweep, ragged as sweeps are."""

from dataclasses import dataclass

from population_dice import Dice

IDLE = 0.3  # of the top speed
ZEROS = ("both",) * 7 + ("before", "after") * 2 + ("none",)  # when the engine stands


@dataclass(frozen=True)
class Stay:
    """The hand leaves the throttle alone, or lets it creep, between two times."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Sweep:
    """Points of the throttle [s, rev/min], the stays, and the run's end."""

    throttle: list[list[float]]
    stays: tuple[Stay, ...]
    end_s: float


def sweep(dice: Dice, top_rpm: float) -> Sweep:
    """Five to eight holds of 12 to 30 s, upwards or up and down.

    The hand goes past its aim or falls short, mends that in up to three touches, and in one hold
    of ten touches the throttle again halfway, which makes two stays of it.
    """
    zeros = dice.one_of(ZEROS)
    levels = sorted(dice.between(0.5, 1.0) for _ in range(dice.whole(5, 8)))
    if dice.chance(0.5):
        levels = [*levels[::2], *levels[1::2][::-1]]
    points: list[list[float]] = []
    stays: list[Stay] = []
    at = 0.0

    def go(seconds: float, level: float) -> None:
        nonlocal at
        at += seconds
        points.append([at, level * top_rpm])

    def stay(seconds: float, level: float) -> None:
        start = at
        creep = dice.normal(0.0015) if dice.chance(0.3) else 0.0
        go(seconds, level * (1 + creep))
        stays.append(Stay(start, at))

    if zeros in ("both", "before"):
        go(0.0, 0.0)
        go(dice.between(8, 25), 0.0)
        last = 0.0
    else:
        go(0.0, levels[0])
        last = levels[0]
    for level in levels:
        go(dice.between(0.8, 2.5), level + (level - last) * dice.between(-0.15, 0.2))
        for _ in range(dice.whole(0, 3)):
            go(dice.between(0.4, 1.5), level * (1 + dice.normal(0.01)))
        go(dice.between(0.4, 1.5), level)
        hold = dice.between(12, 30)
        if hold > 20 and dice.chance(0.2):
            stay(hold / 2, level)
            last = level * (1 + dice.sign() * dice.between(0.012, 0.03))
            go(dice.between(0.5, 1.5), last)
            stay(hold / 2, last)
        else:
            stay(hold, level)
            last = level
    if zeros in ("both", "after"):
        go(dice.between(1, 2.5), IDLE)
        go(dice.between(1, 2), 0.0)
        go(dice.between(12, 28), 0.0)
    end_s = at
    go(0.5, points[-1][1] / top_rpm)
    return Sweep(points, tuple(stays), end_s)

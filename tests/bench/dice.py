"""Draws from one generator, for all studies."""

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

T = TypeVar("T")


class Dice:
    """Everything random in one run."""

    def __init__(self, *seed: int) -> None:
        self._generator = np.random.default_rng(seed)

    def between(self, low: float, high: float) -> float:
        return float(self._generator.uniform(low, high))

    def ratio(self, low: float, high: float) -> float:
        """Uniform in the logarithm."""
        return float(np.exp(self._generator.uniform(np.log(low), np.log(high))))

    def normal(self, sd: float) -> float:
        return float(self._generator.normal(0.0, sd))

    def within(self, bound: float) -> float:
        """An error within a sheet's bound: uniform, or normal with the bound at two sd."""
        if self.chance(0.5):
            return self.between(-bound, bound)
        while abs(error := self.normal(bound / 2)) > bound:
            pass
        return error

    def chance(self, share: float) -> bool:
        return bool(self._generator.random() < share)

    def whole(self, low: int, high: int) -> int:
        """low to high, both included."""
        return int(self._generator.integers(low, high + 1))

    def one_of(self, things: Sequence[T]) -> T:
        return things[int(self._generator.integers(len(things)))]

    def sign(self) -> float:
        return self.one_of((-1.0, 1.0))

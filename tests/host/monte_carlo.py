"""Propagation of distributions, JCGM 101:2008: an oracle for the first order of `uncertainty`."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.uncertainty import Input, Reach

Array = NDArray[np.float64]
Model = Callable[[Mapping[str, Array]], Array]


@dataclass(frozen=True, eq=False)
class Sample:
    """Draws of a model's value: shape (draws, points)."""

    draws: Array

    @property
    def value(self) -> Array:
        """Mean of the draws (JCGM 101:2008, 7.6)."""
        mean: Array = np.mean(self.draws, axis=0)
        return mean

    @property
    def standard_uncertainty(self) -> Array:
        """Standard deviation of the draws (JCGM 101:2008, 7.6)."""
        deviation: Array = np.std(self.draws, axis=0, ddof=1)
        return deviation

    def interval(self, level: float = 0.95) -> tuple[Array, Array]:
        """Ends of the probabilistically symmetric coverage interval (JCGM 101:2008, 7.7)."""
        low, high = np.quantile(self.draws, [(1 - level) / 2, (1 + level) / 2], axis=0)
        return low, high


def monte_carlo(
    model: Model,
    inputs: Sequence[Input],
    draws: int,
    seed: int,
    rectangular: Collection[str] = (),
) -> Sample:
    """Draws of model(inputs); a shared input has one error per draw, for all points.

    rectangular: names of the inputs that are drawn so; of the others those with finite degrees of
    freedom are drawn from a t distribution (6.4.9). Source: JCGM 101:2008, clause 7.
    """
    generator = np.random.default_rng(seed)
    points = max(np.size(each.value) for each in inputs)
    named = {}
    for entry in inputs:
        shape = (draws, points if entry.shared == Reach.POINT else 1)
        errors = _errors(generator, entry, shape, entry.name in rectangular)
        named[entry.name] = entry.value + entry.standard_uncertainty * errors * np.ones(points)
    return Sample(np.asarray(model(named), dtype=np.float64))


def _errors(
    generator: np.random.Generator, entry: Input, shape: tuple[int, int], even: bool
) -> Array:
    """Errors in units of the standard uncertainty."""
    if even:
        return generator.uniform(-np.sqrt(3), np.sqrt(3), shape)
    if np.isfinite(entry.degrees_of_freedom):
        return generator.standard_t(entry.degrees_of_freedom, shape)
    return generator.standard_normal(shape)

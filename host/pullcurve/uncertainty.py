"""Uncertainty of a computed quantity, by the GUM; knows no meter.

A model is a function of named inputs that broadcasts. `propagate` is the law of propagation
of uncertainty (JCGM 100:2008, 5.1.2) with central differences. It is not meant for a model that
bends within its inputs' spread, such as a root near zero.

Each input says how far one error of it reaches:

    point   an error of its own at every point (scatter)
    run     one error for all points of a run (a zero offset)
    meter   one error for all runs of a meter (its discharge coefficient)

Inputs are independent of each other. Correlated ones are written as functions of
independent ones inside the model (JCGM 100:2008, F.1.2.4).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Generic, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array: TypeAlias = NDArray[np.float64]
Name = TypeVar("Name", bound=str)  # of an input: an enumeration, so that a typo is seen
Model: TypeAlias = Callable[[Mapping[Name, Array]], Array]

_STEP: Final = 1e-3  # of a standard uncertainty: far below its size, far above rounding


class Reach(StrEnum):
    """How far one error of an input reaches."""

    POINT = "point"
    RUN = "run"
    METER = "meter"


@dataclass(frozen=True, eq=False)
class Input(Generic[Name]):
    """An estimate with its standard uncertainty; each a number, or one for every point."""

    name: Name
    value: float | Array
    standard_uncertainty: float | Array
    shared: Reach = Reach.POINT
    degrees_of_freedom: float = np.inf

    def __post_init__(self) -> None:
        """Refuse what is no uncertainty."""
        u = np.asarray(self.standard_uncertainty)
        if not np.all(np.isfinite(u) & (u >= 0)) or not self.degrees_of_freedom > 0:
            raise ValueError(
                f"{self.name}: a standard uncertainty must be a finite number, not negative, "
                f"with degrees of freedom above 0"
            )


def rectangular(
    name: Name, value: float | Array, half_width: float | Array, shared: Reach = Reach.POINT
) -> Input[Name]:
    """An input known to lie within a half-width of its value.

    Parameters
    ----------
    name
        A member of an enumeration, so that a misspelt one is seen before it runs.
    value, half_width
        In one unit, each a number or one for every point, shape (points,).
    shared
        How far one error of it reaches.

    Notes
    -----
    u = a / sqrt(3). Source: JCGM 100:2008, 4.3.7.
    """
    u = half_width / np.sqrt(3)
    return Input(name, value, u, shared)


def expanded(
    name: Name,
    value: float | Array,
    uncertainty: float | Array,
    shared: Reach = Reach.POINT,
    coverage_factor: float = 2.0,
) -> Input[Name]:
    """An input stated with an expanded uncertainty.

    Parameters
    ----------
    name
        As of `rectangular`.
    value, uncertainty
        In one unit, each a number or one for every point, shape (points,).
    shared
        How far one error of it reaches.
    coverage_factor
        k of the stated uncertainty.

    Notes
    -----
    U = k u. Source: JCGM 100:2008, 4.3.3.
    """
    return Input(name, value, uncertainty / coverage_factor, shared)


@dataclass(frozen=True, eq=False)
class Result(Generic[Name]):
    """A model's value at every point, and what each input contributes to its uncertainty.

    contributions[i] is sensitivity times standard uncertainty of inputs[i], with its sign,
    so that shared errors can be followed from point to point.
    """

    inputs: tuple[Input[Name], ...]
    value: Array  # (points,)
    contributions: Array  # (inputs, points)

    def contribution(self, name: Name) -> Array:
        """Sensitivity times standard uncertainty of one input, at every point."""
        row: Array = self.contributions[[entry.name for entry in self.inputs].index(name)]
        return row

    def shared_contributions(self, *reaches: Reach) -> Array:
        """The rows of contributions whose inputs have one of these reaches."""
        return self.contributions[[entry.shared in reaches for entry in self.inputs]]

    @property
    def standard_uncertainty(self) -> Array:
        """Combined standard uncertainty u_c (GUM 5.1.2)."""
        combined: Array = np.sqrt(np.sum(self.contributions**2, axis=0))
        return combined

    @property
    def effective_degrees_of_freedom(self) -> Array:
        """Welch-Satterthwaite degrees of freedom, rounded down (GUM G.4.1)."""
        dof = np.array([[entry.degrees_of_freedom] for entry in self.inputs])
        weight = np.sum(self.contributions**4 / dof, axis=0)
        fourth = self.standard_uncertainty**4
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio: Array = np.where(weight > 0, fourth / weight, np.inf)
        return np.maximum(np.floor(ratio), 1.0)

    def expanded_uncertainty(self, level: float = 0.95) -> Array:
        """U = t(level, effective degrees of freedom) * u_c (GUM G.3)."""
        # At 1e9 degrees of freedom t is normal to ten digits.
        dof = np.minimum(self.effective_degrees_of_freedom, 1e9)
        factor: Array = special.stdtrit(dof, (1 + level) / 2)
        return factor * self.standard_uncertainty

    def covariance(self) -> Array:
        """Covariance between the points: shared inputs as outer products, own ones diagonal."""
        common = self.shared_contributions(Reach.RUN, Reach.METER)
        own = self.shared_contributions(Reach.POINT)
        return common.T @ common + np.diag(np.sum(own**2, axis=0))


def covariance_between_runs(first: Result[Name], second: Result[Name]) -> Array:
    """Covariance of the points of one run with those of another run of the same meter.

    Only what the meter shares counts; inputs are matched by name.

    Returns
    -------
    Array
        Shape (points of first, points of second), in the product of both results' units.
    """
    common = np.zeros((len(first.value), len(second.value)))
    of_second = {entry.name for entry in second.inputs if entry.shared == Reach.METER}
    for entry in first.inputs:
        if entry.shared == Reach.METER and entry.name in of_second:
            common += np.outer(first.contribution(entry.name), second.contribution(entry.name))
    return common


def propagate(model: Model[Name], inputs: Sequence[Input[Name]]) -> Result[Name]:
    """Value and uncertainty of model(inputs) at every point, to first order.

    Parameters
    ----------
    model
        Takes a mapping from the inputs' names to arrays of shape (rows, points) and returns one
        such array. It is called once, with the estimates in the first row and each input moved
        up and down in two further rows. An input with its own error per point may act on its
        own point only.
    inputs
        Each under a name of its own.

    Raises
    ------
    ValueError
        Where two inputs share a name, or the model returns another shape.

    Notes
    -----
    Source: JCGM 100:2008, 5.1.2, equation 10; central differences as in 5.1.3, note 2.
    """
    values, u = _arrays(inputs)
    moved = np.repeat(values[:, None, :], 2 * len(inputs) + 1, axis=1)
    for i in range(len(inputs)):
        moved[i, 1 + 2 * i] += _STEP * u[i]
        moved[i, 2 + 2 * i] -= _STEP * u[i]
    y = np.asarray(model(_named(inputs, moved)), dtype=np.float64)
    if y.ndim != 2 or len(y) != moved.shape[1]:
        raise ValueError(f"the model made {y.shape} of arrays of shape {moved.shape[1:]}")
    return Result(tuple(inputs), y[0], (y[1::2] - y[2::2]) / (2 * _STEP))


def _arrays(inputs: Sequence[Input[Name]]) -> tuple[Array, Array]:
    """Values and standard uncertainties, each of shape (inputs, points)."""
    names = [entry.name for entry in inputs]
    if not names or len(set(names)) < len(names):
        raise ValueError(f"inputs need a name of their own each, not {names}")
    columns = [(entry.value, entry.standard_uncertainty) for entry in inputs]
    flat = np.broadcast_arrays(np.zeros(1), *(np.asarray(x) for pair in columns for x in pair))[1:]
    return np.array(flat[0::2], dtype=np.float64), np.array(flat[1::2], dtype=np.float64)


def _named(inputs: Sequence[Input[Name]], stacked: Array) -> dict[Name, Array]:
    return {entry.name: array for entry, array in zip(inputs, stacked, strict=True)}

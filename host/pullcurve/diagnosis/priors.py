"""What is believed of a machine before its run is looked at; the numbers stand in priors.toml.

Every scatter and every fault's size is drawn from one standard normal variable through its
quantile function. So the fit knows one kind of prior only, and its rows are the variables
themselves.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import combinations
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

CAUSE_OF: Final = {  # what a report calls a fault
    "low_speed": "low_speed",
    "slipping_belt": "slipping_belt",
    "worn_clearances": "worn_clearances",
    "leak_a": "leak",
    "leak_b": "leak",
    "leak_c": "leak",
    "restriction_intake": "restriction",
    "restriction_filter": "restriction",
    "restriction_pipe": "restriction",
}
CAUSES: Final = tuple(dict.fromkeys(CAUSE_OF.values()))


@dataclass(frozen=True)
class Law:
    """A distribution by its quantiles."""

    law: str
    first: float  # median or low
    second: float  # factor of one sd below, or high
    third: float  # factor of one sd above
    tail: float = 0.0  # above the median, times the cube of the sds, in the logarithm

    @classmethod
    def of(cls, table: Mapping[str, Any]) -> "Law":
        if table["law"] == "lognormal":
            own = (table["median"], table["below"], table["above"], table.get("tail", 0.0))
            return cls("lognormal", *own)
        return cls(table["law"], table["low"], table["high"], 0.0)

    def value(self, z: Array) -> Array:
        """The value whose probability of not being exceeded is that of `z`, standard normal."""
        if self.law == "lognormal":
            factor = np.where(z < 0, np.log(self.second), np.log(self.third))
            return np.asarray(self.first * np.exp(factor * z + self.tail * np.maximum(z, 0) ** 3))
        share = special.ndtr(z)
        if self.law == "uniform":
            return np.asarray(self.first + (self.second - self.first) * share)
        return np.asarray(self.first * (self.second / self.first) ** share)

    def density(self, value: Array) -> Array:
        """Probability density; of bounded laws only."""
        inside = (value >= self.first) & (value <= self.second)
        if self.law == "uniform":
            return np.where(inside, 1 / (self.second - self.first), 0.0)
        spread = np.log(self.second / self.first)
        return np.where(inside, 1 / (np.where(inside, value, 1.0) * spread), 0.0)


@dataclass(frozen=True)
class Fault:
    """A fault: the scatter it replaces or adds to, its size once it is there, its share of
    the faults that are met."""

    name: str
    on: str
    size: Law
    share: float


@dataclass(frozen=True)
class Hypothesis:
    """What is wrong with the machine: no fault, one, or two."""

    faults: tuple[str, ...]
    prior: float

    @property
    def causes(self) -> frozenset[str]:
        return frozenset(CAUSE_OF[fault] for fault in self.faults)


@dataclass(frozen=True)
class Priors:
    scatter: Mapping[str, Law]
    faults: Mapping[str, Fault]
    odds: Mapping[str, float]

    def hypotheses(self, faults: tuple[str, ...]) -> list[Hypothesis]:
        """No fault, each of `faults`, and their pairs of different cause."""
        share = {name: self.faults[name].share for name in faults}
        total = sum(share.values())
        pairs = [pair for pair in combinations(faults, 2) if CAUSE_OF[pair[0]] != CAUSE_OF[pair[1]]]
        of_pairs = sum(share[a] * share[b] for a, b in pairs)
        return [
            Hypothesis((), self.odds["healthy"]),
            *(Hypothesis((name,), self.odds["one"] * share[name] / total) for name in faults),
            *(
                Hypothesis(pair, self.odds["two"] * share[pair[0]] * share[pair[1]] / of_pairs)
                for pair in pairs
            ),
        ]


@cache
def priors() -> Priors:
    """The table of priors.toml."""
    text = (files("pullcurve.diagnosis") / "priors.toml").read_text("utf-8")
    table = tomllib.loads(text)
    return Priors(
        {name: Law.of(entry) for name, entry in table["scatter"].items()},
        {
            name: Fault(name, entry["on"], Law.of(entry), entry["share"])
            for name, entry in table["faults"].items()
        },
        table["odds"],
    )

"""A reduced run of the population against the truth of its plant."""

from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from population_case import Case
from pullcurve.bench.grid import STEP_S
from pullcurve.bench.sensing import zero_error
from pullcurve.examine import Run

SLACK_S = 0.1  # a block's length

FLOWS = {
    "tap": "flow_tap_{}m3_s",
    "inlet": "flow_inlet_{}m3_s",
    "standard": "standard_flow_{}m3_s",
    "mass": "mass_flow_{}kg_s",
    "port": "flow_port_{}m3_s",
}
QUANTITIES = (*FLOWS, "speed", "zero")


@dataclass
class Outcome:
    """What came of one run."""

    number: int
    position: str
    trouble: str | None
    plastic: bool
    path: str
    refused: str = ""
    named: frozenset[str] = frozenset()
    # By quantity, a row a point (zero: a stretch with the engine off): error and U95, relative
    # to the truth, or for the zero in Pa.
    errors: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    holds: int = 0  # that count
    found: int = 0  # of these
    points: int = 0
    withheld: int = 0
    in_hold: int = 0
    in_settled: int = 0

    @property
    def worst(self) -> float:
        """The greatest error over its U95."""
        ratios = [abs(e) / u for rows in self.errors.values() for e, u in rows if u > 0]
        return max(ratios, default=0.0)


def compare(case: Case, run: Run, outcome: Outcome) -> None:
    """Fill in `outcome` from a reduced run."""
    truth = pd.DataFrame(case.plant.truth(STEP_S))
    settled = case.settled
    outcome.named = frozenset(trouble.kind for trouble in run.troubles)
    outcome.points = len(run.points)
    outcome.holds = sum(part.counts for part in settled)
    met = set()
    for point in run.points.to_dict("records"):
        start, end = point["start_s"], point["end_s"]
        around = [
            number
            for number, part in enumerate(settled)
            if part.stay.start_s <= (start + end) / 2 <= part.stay.end_s
        ]
        met.update(around)
        outcome.in_hold += bool(around)
        outcome.in_settled += any(
            settled[number].start_s - SLACK_S <= start and end <= settled[number].end_s + SLACK_S
            for number in around
        )
        _compare_point(truth[truth["time_s"].between(start, end)].mean(), point, outcome)
    outcome.found = sum(settled[number].counts for number in met)
    _compare_zeros(case, truth, run, outcome)


def _compare_point(truth: "pd.Series[float]", point: dict[Hashable, Any], outcome: Outcome) -> None:
    def add(name: str, column: str, u95: str) -> None:
        if np.isfinite(point[column]):
            true = truth[column]
            row = (point[column] / true - 1, point[u95] / true)
            if not np.isfinite(true):  # a point where there was no run
                row = (np.inf, 0.0)
            outcome.errors.setdefault(name, []).append(row)

    add("speed", "speed_rpm", "speed_u95_rpm")
    if point["withheld"]:
        outcome.withheld += 1
        return
    for name, column in FLOWS.items():
        add(name, column.format(""), column.format("u95_"))


def _compare_zeros(case: Case, truth: pd.DataFrame, run: Run, outcome: Outcome) -> None:
    """What the sensor made of no difference, water in its lines included."""
    times = truth["time_s"].to_numpy()
    ambient_k = truth["ambient_temperature_k"].to_numpy()
    offset = truth["line_offset_pa"].to_numpy()
    zero = zero_error(case.scenario.sensors[0], times, ambient_k, offset)
    for row in run.zeros.table.to_dict("records"):
        inside = zero[(times >= row["start_s"]) & (times <= row["end_s"])]
        error = row["zero_pa"] - inside.mean() if inside.size else np.inf
        outcome.errors.setdefault("zero", []).append((error, 2 * row["zero_u_pa"]))

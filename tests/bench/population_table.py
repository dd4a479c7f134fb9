"""The population study's table: what came out beside what is wanted."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from instruments import TROUBLES
from machines import POSITIONS
from population_truth import QUANTITIES, Outcome

WIDTH = 46
# A one-sided sensor with its tubes reversed stands at its lower end.
ALSO_TRUE = {("sensor_clipped", "tubes_reversed")}


def print_table(outcomes: list[Outcome]) -> None:
    _coverage_table(outcomes)
    _figures(outcomes)
    _trouble_table(outcomes)


def _coverage_table(outcomes: list[Outcome]) -> None:
    """Share of points whose 95 % interval holds the truth, averaged over runs."""
    groups = {"all runs": outcomes}
    groups |= {place: [o for o in outcomes if o.position == place] for place in POSITIONS}
    groups["C stated"] = [o for o in outcomes if not o.plastic]
    groups["plastic"] = [o for o in outcomes if o.plastic]
    groups["no trouble"] = [o for o in outcomes if o.trouble is None]
    groups["any trouble"] = [o for o in outcomes if o.trouble is not None]
    there = dict.fromkeys(o.trouble for o in outcomes if o.trouble)
    groups |= {trouble: [o for o in outcomes if o.trouble == trouble] for trouble in there}
    head = "".join(f"{name:>9}" for name in QUANTITIES)
    print(f"{'true intervals, % (wanted: 93 to 98)':<{WIDTH}}{head}{'withheld':>9}")
    for label, group in groups.items():
        if group:
            values = "".join(f"{_coverage(group, name):>9.1f}" for name in QUANTITIES)
            withheld = _share(sum(o.withheld for o in group), sum(o.points for o in group))
            print(f"{f'  {label} ({len(group)} runs)':<{WIDTH}}{values}{withheld:>9.1f}")


def _figures(outcomes: list[Outcome]) -> None:
    print(f"\n{'figure, %':<{WIDTH}}{'ours':>9}  wanted")
    for label, plastic, u95, error in (
        ("C stated", False, "2.2 at most", "less than 2.1"),
        ("plastic", True, "4.6 at most", "none said"),
    ):
        flow = _rows((o for o in outcomes if o.plastic == plastic), "standard")
        _line(f"median U95 of standard flow, {label}", _median(flow[:, 1]), u95)
        _line(f"95th percentile of its |error|, {label}", _percentile(flow[:, 0]), error)
    speed = _rows((o for o in outcomes if o.trouble != "wrong_marks"), "speed")[:, 0]
    _line("95th percentile of |speed error|, marks right", _percentile(speed), "less than 0.05")
    total = {
        name: sum(getattr(o, name) for o in outcomes)
        for name in ("holds", "found", "points", "in_hold", "in_settled")
    }
    _line("holds that count, found", _share(total["found"], total["holds"]), "97 at least")
    _line("points in a true hold", _share(total["in_hold"], total["points"]), "99 at least")
    _line(
        "points wholly in its settled part",
        _share(total["in_settled"], total["points"]),
        "95 at least",
    )
    _line(
        "runs refused", _share(sum(bool(o.refused) for o in outcomes), len(outcomes)), "none said"
    )


def _trouble_table(outcomes: list[Outcome]) -> None:
    print(f"\n{'trouble, %':<{WIDTH}}{'found':>9}{'falsely':>9}  wanted")
    named = {kind for o in outcomes for kind in o.named}
    for kind in (*TROUBLES, *sorted(named - set(TROUBLES))):
        there = [kind in o.named for o in outcomes if o.trouble == kind]
        absent = [
            kind in o.named
            for o in outcomes
            if o.trouble != kind and (kind, o.trouble) not in ALSO_TRUE
        ]
        found, falsely = _share(sum(there), len(there)), _share(sum(absent), len(absent))
        least = "80" if kind == "water_in_line" else "95"
        wanted = f"{least} at least, 1 at most" if kind in TROUBLES else "not judged"
        print(f"{f'  {kind} ({len(there)} runs)':<{WIDTH}}{found:>9.1f}{falsely:>9.1f}  {wanted}")


def _line(label: str, percent: float, wanted: str) -> None:
    print(f"  {label:<{WIDTH - 2}}{percent:>9.3g}  {wanted}")


def _coverage(outcomes: Iterable[Outcome], name: str) -> float:
    shares = [
        np.mean([abs(error) <= u95 for error, u95 in o.errors[name]])
        for o in outcomes
        if name in o.errors
    ]
    return 100 * float(np.mean(shares)) if shares else np.nan


def _rows(outcomes: Iterable[Outcome], name: str) -> NDArray[np.float64]:
    rows = [row for o in outcomes for row in o.errors.get(name, ())]
    return np.array(rows, dtype=np.float64).reshape(-1, 2)


def _median(values: NDArray[np.float64]) -> float:
    return 100 * float(np.median(values)) if values.size else np.nan


def _percentile(errors: NDArray[np.float64]) -> float:
    return 100 * float(np.percentile(np.abs(errors), 95)) if errors.size else np.nan


def _share(part: int, whole: int) -> float:
    return 100 * part / whole if whole else np.nan

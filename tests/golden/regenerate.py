"""Write the golden file anew: `.venv/bin/python tests/golden/regenerate.py`, some three minutes.

To be done on purpose only, after a change that is meant to move a figure. What moved, and why,
shows in the file's difference and belongs into the commit.

What stands on random samples is computed with SEEDS sets of dice, the product's own among them;
the file holds mean and standard deviation over them.
"""

import json
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from typing import Any, Final
from unittest import mock

import numpy as np

from golden_figures import (
    COMPARED,
    CUTS,
    DECIDING,
    GOLDEN,
    ROOT,
    SAMPLES,
    Figures,
    compare_figures,
    cut_figures,
    figures_of,
)
from pullcurve.examine import read_run

SEEDS: Final = 16
ABOUT: Final = (
    "What the project computes of its sample logs: its own output, pinned, no outside reference. "
    "Regenerated on purpose only, by tests/golden/regenerate.py. At 'sampled' each figure is the "
    f"mean over {SEEDS} sets of random samples and the standard deviation of one; 'verdict' is all "
    "that they said. "
    "tests/golden/test_golden.py states the tolerances."
)
WIDTH: Final = 160


def main() -> None:
    """Write the golden file."""
    runs = {path.stem: read_run(path) for path in sorted(SAMPLES.glob("*.runlog"))}
    logs = {name: _over_the_dice(lambda run=run: figures_of(run)) for name, run in runs.items()}
    for name in CUTS:
        logs[name] |= cut_figures(name)
    compared = _over_the_dice(lambda: compare_figures([runs[name] for name in COMPARED]))
    golden = {"about": ABOUT, "logs": logs, "compare": compared}
    GOLDEN.write_text(_laid_out(_short(golden)) + "\n", encoding="utf-8")
    print(f"wrote {GOLDEN.relative_to(ROOT)}")


@contextmanager
def other_dice(number: int) -> Iterator[None]:
    """Every random generator seeded otherwise; number 0: as the product does."""
    seeded = np.random.default_rng

    def other(seed: int) -> np.random.Generator:
        return seeded((seed, number))

    with mock.patch.object(np.random, "default_rng", other) if number else nullcontext():
        yield


def _over_the_dice(figures: Callable[[], Figures]) -> Figures:
    made = []
    for number in range(SEEDS):
        with other_dice(number):
            made.append(figures())
    first = made[0]
    for section in first.keys() - {"verdict", "sampled"}:
        if any(each[section] != first[section] for each in made):
            raise SystemExit(f"{section} is not the same with other dice")
    found = first | {"sampled": _spread([each["sampled"] for each in made])}
    if "verdict" in found:
        verdicts = [each["verdict"] for each in made]
        found["verdict"] = [each for n, each in enumerate(verdicts) if each not in verdicts[:n]]
    return found


def _spread(made: list[Figures]) -> Figures:
    """Mean and standard deviation of every figure that each of the dice gave, or of a deciding
    reading most of them."""
    found: Figures = {}
    for name in made[0]:
        rows = [each[name] for each in made if name in each]
        if len(rows) < len(made) and not name.startswith(DECIDING):
            raise SystemExit(f"{name} is not there with all dice")
        if len(rows) > len(made) / 2:
            values = {part: [row[part] for row in rows] for part in rows[0]}
            found[name] = {
                part: [_digits(float(np.mean(each)), 6), _digits(float(np.std(each, ddof=1)), 2)]
                for part, each in values.items()
                if None not in each
            }
    return {name: parts for name, parts in found.items() if parts}


def _digits(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}") if math.isfinite(value) else value


def _short(tree: Any) -> Any:
    """Every number to nine digits, a thousandth of what is compared."""
    if isinstance(tree, dict):
        return {name: _short(value) for name, value in tree.items()}
    if isinstance(tree, list | tuple):
        return [_short(value) for value in tree]
    return _digits(tree, 9) if isinstance(tree, float) else tree


def _laid_out(tree: Any, indent: str = "") -> str:
    """JSON with a row of numbers on one line, however long, and all else as it fits."""
    line = json.dumps(tree, ensure_ascii=False, allow_nan=False)
    branches = tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ()
    row = isinstance(tree, list) and not any(isinstance(each, dict | list) for each in branches)
    if row or not branches or len(indent) + len(line) <= WIDTH:
        return line
    inner = indent + " "
    if isinstance(tree, dict):
        lines = [f"{json.dumps(name)}: {_laid_out(each, inner)}" for name, each in tree.items()]
        return "{\n" + ",\n".join(inner + each for each in lines) + f"\n{indent}}}"
    return "[\n" + ",\n".join(inner + _laid_out(each, inner) for each in tree) + f"\n{indent}]"


if __name__ == "__main__":
    main()

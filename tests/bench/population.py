"""How often the stated intervals are true: python tests/bench/population.py

Random machines with random instruments and operators are simulated, the real firmware watches
them, the host reduces the logs, and what it says is compared with the truth. Prints one table.
"""

import argparse
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import pandas as pd

from instruments import MORE_TROUBLES, TROUBLES
from machines import POSITIONS
from population_case import Case, draw_case
from population_table import print_table
from population_truth import Outcome, compare
from pullcurve.errors import PullcurveError
from pullcurve.examine import read_run
from pullcurve.recording import record
from pullcurve.run_log.writing import LogWriter

WORKERS = 2
NO_TROUBLE = "none"


def one_case(number: int, seed: int, only: str | None) -> Case:
    """Positions take turns; of every three runs at one position one has a trouble, in turn."""
    turn = number // len(POSITIONS)
    trouble = TROUBLES[turn // 3 % len(TROUBLES)] if turn % 3 == 0 else None
    if only is not None:
        trouble = None if only == NO_TROUBLE else only
    return draw_case(seed, number, POSITIONS[number % len(POSITIONS)], trouble)


def one_run(number: int, seed: int, only: str | None, folder: Path) -> Outcome:
    """Draw, simulate, record and reduce one run."""
    case = one_case(number, seed, only)
    path = folder / f"run_{number:04d}.runlog"
    position = case.scenario.meter.position
    outcome = Outcome(number, position, case.trouble, case.plastic, str(path))
    with case.link() as link, LogWriter(path, now=case.scenario.start) as writer:
        writer.rig(case.scenario.start, case.rig)
        record(link, writer)
    try:
        compare(case, read_run(path), outcome)
    except PullcurveError as refusal:
        outcome.refused = str(refusal)
    return outcome


def keep_worst(outcomes: list[Outcome], options: argparse.Namespace) -> None:
    """Leave the logs of the worst runs, each with its truth and its scenario beside it."""
    worst = sorted(outcomes, key=lambda o: (bool(o.refused), o.worst), reverse=True)
    for outcome in worst[: options.dump]:
        case = one_case(outcome.number, options.seed, options.only)
        path = Path(outcome.path)
        pd.DataFrame(case.plant.truth()).to_csv(path.with_suffix(".truth.csv"), index=False)
        path.with_suffix(".json").write_text(case.scenario.model_dump_json(indent=1), "utf-8")
        said = outcome.refused or f"worst error {outcome.worst:.2f} of its U95"
        print(f"{path}: {outcome.position}, {outcome.trouble}, {said}")
    for outcome in worst[options.dump :]:
        Path(outcome.path).unlink()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=(*TROUBLES, *MORE_TROUBLES, NO_TROUBLE))
    parser.add_argument("--dump", type=int, default=0, metavar="N", help="keep the worst N runs")
    options = parser.parse_args()
    began_s = time.monotonic()
    folder = Path(tempfile.mkdtemp(prefix="population-"))
    work = partial(one_run, seed=options.seed, only=options.only, folder=folder)
    with ProcessPoolExecutor(WORKERS) as pool:
        outcomes = list(pool.map(work, range(options.runs)))
    print(f"{options.runs} runs of seed {options.seed} in {time.monotonic() - began_s:.0f} s\n")
    print_table(outcomes)
    keep_worst(outcomes, options)
    if not options.dump:
        folder.rmdir()


if __name__ == "__main__":
    main()

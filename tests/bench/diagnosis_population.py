"""How often the diagnosis is right: python tests/bench/diagnosis_population.py --quick

Random machines, sound and faulty, of which only readings and a rig are known. `--quick`
solves the plant's path at steady points and draws the readings' errors; without it every
machine is simulated, watched by the real firmware, logged, reduced and diagnosed.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import pickle
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from diagnosis_machines import Subject, draw_subject
from diagnosis_outcome import Outcome, fill, groups_of, left_open, now_s
from diagnosis_points import draw_evidence
from diagnosis_runs import TROUBLED, Watched, watch
from diagnosis_table import name, print_table
from diagnosis_truth import truth_at
from dice import Dice
from machines import toml
from pullcurve.diagnosis.diagnose import diagnose, diagnosis_of
from pullcurve.diagnosis.facts import MachineFacts, machine_facts
from pullcurve.errors import ScenarioError
from pullcurve.rig.loading import parse_rig

WORKERS = 2


def quick(number: int, seed: int, wide: bool) -> Outcome | None:
    """One machine from its steady points. None where the drawn one has no flow."""
    subject = draw_subject(seed, number, wide=wide)
    rig = parse_rig(toml(subject.rig), "rig")
    facts = machine_facts(rig)
    assert isinstance(facts, MachineFacts), facts
    dice = Dice(seed, number, 7)
    try:
        exact = draw_evidence(subject, facts, rig, dice, errors=False)
        evidence = draw_evidence(subject, facts, rig, dice)
        truth = truth_at(subject, subject.engine_rpm, facts.rated_rpm, facts.rated_flow_m3_s)
    except ScenarioError:
        return None
    open_too = left_open(exact, subject)
    outcome = Outcome(number, subject.causes, subject.faults, groups_of(subject), open_too, truth)
    began = now_s()
    found = diagnosis_of(evidence, frozenset())
    outcome.seconds = now_s() - began
    fill(outcome, found.verdict, found.posterior, found.ledger, found.deciding)
    return outcome


def whole(number: int, seed: int, wide: bool) -> Outcome | None:
    """One machine the whole way. None where the drawn one has no flow."""
    found = whole_run(draw_subject(seed, number, wide=wide), number, seed)
    return found and found[0]


def whole_run(
    subject: Subject, number: int, seed: int, *, troubled: float = TROUBLED
) -> tuple[Outcome, Watched] | None:
    """What was said of a machine, and the run that it was said of."""
    facts = machine_facts(rig := parse_rig(toml(subject.rig), "rig"))
    assert isinstance(facts, MachineFacts), facts
    try:
        exact = draw_evidence(subject, facts, rig, Dice(seed, number, 7), errors=False)
        with tempfile.TemporaryDirectory(prefix="diagnosis-") as folder:
            watched = watch(subject, Dice(seed, number, 8), Path(folder), troubled=troubled)
        truth = truth_at(subject, watched.engine_rpm, facts.rated_rpm, facts.rated_flow_m3_s)
    except ScenarioError:
        return None
    open_too = left_open(exact, subject)
    outcome = Outcome(number, subject.causes, subject.faults, groups_of(subject), open_too, truth)
    outcome.trouble = watched.trouble or ""
    began = now_s()
    found = diagnose(watched.run, watched.earlier)
    outcome.seconds = now_s() - began
    if isinstance(found, str):
        outcome.refused = found
    else:
        fill(outcome, found.verdict, found.posterior, found.ledger, found.deciding)
    return outcome, watched


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--wide", action="store_true", help="the wide population")
    parser.add_argument("--quick", action="store_true", help="steady points with drawn errors")
    parser.add_argument("--show", action="store_true", help="a line for every machine")
    parser.add_argument("--keep", type=Path, metavar="FILE", help="pickle the outcomes")
    options = parser.parse_args()
    began_s = time.monotonic()
    way = quick if options.quick else whole
    work = partial(way, seed=options.seed, wide=options.wide)
    with ProcessPoolExecutor(WORKERS) as pool:
        drawn = list(pool.map(work, range(options.runs), chunksize=4))
    outcomes = [outcome for outcome in drawn if outcome is not None]
    if options.keep:
        options.keep.write_bytes(pickle.dumps(outcomes))
    for o in outcomes:
        if options.show or o.false_cause or o.notes or "missed" in o.result:
            answers = [f"{name(c)} {p:.2f}" for c, p in list(o.probabilities.items())[:4]]
            print(
                f"{o.number}: {' '.join(o.groups)} | {'+'.join(o.faults) or 'healthy'} "
                f"{ {k: round(v, 3) for k, v in o.truth.sizes.items()} } -> {o.result} "
                f"{answers} misfit {o.misfit:.2f} {o.trouble} open {o.told_from} {o.notes}"
            )
    print_table(outcomes, wide=options.wide)
    print(f"\nseed {options.seed}, {time.monotonic() - began_s:.0f} s")


if __name__ == "__main__":
    main()

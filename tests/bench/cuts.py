"""How often the cut watch is right, and how soon: python tests/bench/cuts.py

Random cuts on random machines; the watch hears what the board would have sent, record by
record, and its alarms are compared with the truth. Prints one table. `--kind mishaps` draws cuts
with all that may happen but leaks.
"""

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

import numpy as np

import cut_mishaps_table
from cut_case import LEAST_CLOG, Case, Crew, draw_case
from cut_mishaps import MishapCase, draw_mishaps
from cut_mishaps_table import MishapOutcome
from cut_records import received
from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.watch import Watch
from pullcurve.rig.loading import parse_rig

WORKERS = 2
EARLY_S = 2.0  # an alarm may say that it began so long before the clog
LATE_S = 3.0  # it may come so long after the clog's end
FILTER_GROWN = 0.6
FLOW_GONE = 0.1


@dataclass
class Outcome:
    number: int
    hours: float
    has_tank: bool
    leak: str
    clogs: list[tuple[float, float]] = field(default_factory=list)  # loss, delay (nan: missed)
    false: list[str] = field(default_factory=list)
    load_alarm: bool = False
    filter_growth: float = float("nan")  # of its loss, when the alarm came
    filter_grown: float = 0.0  # at the end
    leak_gone: float = float("nan")  # of the nozzle's flow, when the alarm came
    leak_gone_end: float = 0.0
    leak_live: bool = False
    leak_whole: bool = False
    leak_false: bool = False
    seconds: float = 0.0


def one_cut(number: int, seed: int, duration_s: float, crew: Crew) -> Outcome:
    case = draw_case(seed, number, duration_s, crew)
    events, seconds = watched(case, [seed, number, 1])
    out = compare(case, events)
    out.seconds = seconds
    return out


def one_cut_with_mishaps(number: int, seed: int, duration_s: float) -> MishapOutcome:
    case = draw_mishaps(seed, number, duration_s)
    return cut_mishaps_table.compare(case, watched(case, [seed, number, 1])[0])


def watched(case: Case | MishapCase, seed: list[int]) -> tuple[list[CutAlarm], float]:
    """All alarms, and the processor's seconds that it took."""
    heard = list(received(case.plant, case.tools, np.random.default_rng(seed)))
    watch = Watch(parse_rig(case.rig, "a rig"))
    began_s = time.process_time()
    for each in heard:
        watch.add(each)
    watch.finish()
    return watch.events, time.process_time() - began_s


def compare(case: Case, events: list[CutAlarm]) -> Outcome:
    duration_s = case.plant.scenario.duration_s
    leak = case.leak[0] if case.leak else ""
    out = Outcome(case.number, duration_s / 3600, case.has_tank, leak)
    sudden = [event for event in events if event.kind == "clog"]
    used: set[int] = set()
    for clog in case.clogs:
        hits = [
            event
            for event in sudden
            if clog.start_s - EARLY_S <= event.spoken_s <= clog.end_s + LATE_S
        ]
        used |= {event.number for event in hits}
        if clog.lost >= LEAST_CLOG:
            delay = hits[0].spoken_s - clog.start_s if hits else float("nan")
            out.clogs.append((clog.lost, delay))
    for event in events:
        if event.kind in ("filter_loading", "leak"):
            continue
        if event.kind == "clog" and event.number in used:
            continue
        if event.kind == "clog" and abs(event.spoken_s - case.work_s) < 15:
            out.load_alarm = True
        out.false.append(f"{event.kind}@{event.spoken_s:.0f}")
    loading = case.plant.scenario.machine.filter
    for event in events:
        if event.kind == "filter_loading":
            grown = loading.loading_pa_s_m3_per_s * event.spoken_s / loading.linear_pa_s_m3
            out.filter_growth = min(grown, np.nan_to_num(out.filter_growth, nan=np.inf))
    out.filter_grown = loading.loading_pa_s_m3_per_s * duration_s / loading.linear_pa_s_m3
    leaks = [event for event in events if event.kind == "leak"]
    if case.leak is None:
        out.leak_false = bool(leaks)
        return out
    _, from_s, _ = case.leak
    right = [event for event in leaks if event.spoken_s > from_s]
    out.false += [f"leak@{e.spoken_s:.0f}" for e in leaks if e.spoken_s <= from_s]
    gone, time_s = case.leak_gone, np.arange(len(case.leak_gone))
    out.leak_gone_end = float(np.median(gone[-20:]))
    live = [event for event in right if not event.seen_afterwards]
    if live:
        out.leak_gone = float(np.interp(live[0].spoken_s, time_s, gone))
        out.leak_live = out.leak_gone < FLOW_GONE
    out.leak_whole = bool(right)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cuts", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=25.0)
    parser.add_argument("--kind", choices=("clogs", "mishaps"), default="clogs")
    parser.add_argument("--no-lifts", action="store_true", help="the nozzle stays in the spoil")
    parser.add_argument("--wandering", action="store_true", help="the load changes slowly")
    parser.add_argument("--sound-filter", action="store_true", help="no filter loads")
    parser.add_argument("--list", action="store_true", help="a line for each cut with clogs")
    options = parser.parse_args()
    began_s = time.monotonic()
    mishaps = options.kind == "mishaps"
    crew = Crew(not options.no_lifts, not options.sound_filter, options.wandering)
    one = one_cut_with_mishaps if mishaps else partial(one_cut, crew=crew)
    work = partial(one, seed=options.seed, duration_s=60 * options.minutes)
    with ProcessPoolExecutor(WORKERS) as pool:
        outcomes = list(pool.map(work, range(options.cuts)))
    hours = sum(each.hours for each in outcomes)
    print(
        f"{options.cuts} cuts of seed {options.seed}, {hours:.1f} h, in "
        f"{time.monotonic() - began_s:.0f} s\n"
    )
    if mishaps:
        cut_mishaps_table.print_table(outcomes)
        return
    if options.list:
        for each in outcomes:
            late = [f"{lost:.2f}:{delay:.1f}" for lost, delay in each.clogs if not delay < 8]
            print(
                f"{each.number:4d} tank {each.has_tank:d} leak {each.leak or '-'} "
                f"{each.leak_gone:.3f}/{each.leak_gone_end:.3f} {each.leak_whole:d} "
                f"falsely {each.leak_false:d} filter {each.filter_growth:.2f}/"
                f"{each.filter_grown:.2f} late {' '.join(late)} false {' '.join(each.false)}"
            )
    _print_table(outcomes, hours)


def _print_table(outcomes: list[Outcome], hours: float) -> None:
    clogs = np.array([clog for each in outcomes for clog in each.clogs])
    delay = np.nan_to_num(clogs[:, 1], nan=np.inf)
    heavy = clogs[:, 0] >= 2 * LEAST_CLOG
    grown = [each for each in outcomes if each.filter_grown >= FILTER_GROWN]
    leaks = [each for each in outcomes if each.leak and each.leak_gone_end >= FLOW_GONE]
    sound = [each for each in outcomes if not each.leak]
    clean = [each for each in outcomes if not each.filter_grown and not each.leak]

    def share(hits: list[bool]) -> str:
        return f"{100 * np.mean(hits):.0f} of 100 ({len(hits)})" if hits else "none"

    false = sum(len(each.false) for each in outcomes)
    rows = [
        ("clogs of 5 % and more found", share(list(np.isfinite(delay))), "98 of 100"),
        ("  of 10 % and more", share(list(np.isfinite(delay[heavy]))), "none said"),
        ("delay from the onset, median", f"{np.median(delay):.1f} s", "4 s"),
        ("delay of 8 s at most", share(list(delay <= 8)), "97 of 100"),
        ("  of 10 % and more", share(list(delay[heavy] <= 8)), "none said"),
        ("false alarms in three hours", f"{3 * false / hours:.2f}", "1 at most"),
        ("  of them where work begins", f"{sum(e.load_alarm for e in outcomes)}", "none said"),
        ("filter found before its loss grew by 60 %",
         share([each.filter_growth < FILTER_GROWN for each in grown]), "85 of 100"),
        ("  with a sensor in the tank",
         share([e.filter_growth < FILTER_GROWN for e in grown if e.has_tank]), "none said"),
        ("filter claimed that does not load, no leak",
         share([np.isfinite(each.filter_growth) for each in clean]), "none said"),
        ("  without a sensor in the tank",
         share([np.isfinite(e.filter_growth) for e in clean if not e.has_tank]), "none said"),
        ("leak found live before a tenth is lost",
         share([each.leak_live for each in leaks]), "60 of 100"),
        ("leak found from the whole log", share([each.leak_whole for each in leaks]), "80 of 100"),
        ("leak claimed where there is none",
         share([each.leak_false for each in sound]), "5 of 100 at most"),
        ("times as fast as the cut", f"{3600 * hours / sum(e.seconds for e in outcomes):.0f}",
         "200 at least"),
    ]  # fmt: skip
    print(f"{'':44}{'ours':>20}  wanted")
    for name, ours, wanted in rows:
        print(f"{name:44}{ours:>20}  {wanted}")


if __name__ == "__main__":
    main()

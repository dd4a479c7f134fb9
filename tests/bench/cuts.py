"""How often the cut watch is right, and how soon: python tests/bench/cuts.py

Random cuts on random machines; the watch hears what the board would have sent, record by
record, and its alarms are compared with the truth. Prints one table. `--kind mishaps` draws cuts
with all that may happen but leaks.
"""

import argparse
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import Final

import numpy as np

from cut_case import EVERYTHING, LEAST_CLOG, USUAL, Case, Crew, Mishap, draw_case
from cut_records import received
from fed import Fed
from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.watch import Watch
from pullcurve.rig.loading import parse_rig

WORKERS = 2
EARLY_S = 2.0  # an alarm may say that it began so long before the mishap
LATE_S = 3.0  # it may come so long after the mishap's end
AFTER_S: Final = 30.0  # until then a wrong alarm is the mishap's doing
FILTER_GROWN = 0.6
FLOW_GONE = 0.1
ALARMS: Final = {"clog": "clog", "hose_off": "hose_off", "sag": "speed_sag", "heavy": "slow_nozzle"}
LESS_SURE: Final = 0.03  # the watch's own doubt of the velocity
SAG: Final = 0.04  # of the speed: a sag that is not to be missed
QUICK: Final = 0.01  # of the speed, each second
ROWS: Final = {
    "clog, heavy": "clog of 10 to 50 %",
    "clog": "  of 5 to 10 %",
    "clog, slight": "  of less than 5 %",
    "hose_off": "hose off",
    "sag, 4 % and more": "engine sags by 4 to 10 %",
    "sag, quick": "  by more than 1 % in a second",
    "sag": "  by 2 to 4 %",
    "heavy": "spoil too heavy for the air",
    "heavy, not quite": "  not quite too heavy",
    "moved": "throttle moved, and back",
    "turned_down": "throttle turned down for good",
    "lift": "nozzle lifted out of the spoil",
    "work": "work begins",
    "": "in between",
}
NOT_ASKED: Final = ("clog, slight", "heavy, not quite", "moved", "turned_down", "lift", "work", "")


@dataclass
class Said:
    """What came of one mishap; `kind` is a key of ROWS."""

    kind: str
    found: bool = False
    named: bool = False
    delay_s: float = np.inf  # of the alarm by the right name
    false: list[str] = field(default_factory=list)


@dataclass
class Outcome:
    number: int
    hours: float
    has_tank: bool
    has_leak: bool
    said: list[Said] = field(default_factory=list)
    filter_growth: float = np.inf  # of its loss, when the alarm came
    filter_grown: float = 0.0  # at the end
    leak_gone: float = np.inf  # of the nozzle's flow, when the alarm came
    leak_gone_end: float = 0.0
    leak_whole: bool = False
    leak_false: bool = False
    seconds: float = 0.0

    @property
    def false(self) -> list[str]:
        """Alarms of nothing; heavy spoil looks like a clog."""
        return [
            name
            for said in self.said
            for name in said.false
            if name != "clog" or not said.kind.startswith("heavy")
        ]


def one_cut(number: int, seed: int, duration_s: float, crew: Crew) -> Outcome:
    case = draw_case(seed, number, duration_s, crew)
    heard = list(received(case.plant, case.tools, np.random.default_rng([seed, number, 1])))
    watch = Fed(Watch(parse_rig(case.rig, "a rig")))
    began_s = time.process_time()
    for each in heard:
        watch.add(each)
    watch.finish()
    seconds = time.process_time() - began_s
    out = Outcome(number, duration_s / 3600, case.has_tank, case.leak_from_s is not None)
    out.seconds = seconds
    out.said = _said(case, [e for e in watch.events if e.kind not in ("leak", "filter_loading")])
    _compare_filter(case, [e.spoken_s for e in watch.events if e.kind == "filter_loading"], out)
    _compare_leak(case, [e for e in watch.events if e.kind == "leak"], out)
    return out


def _said(case: Case, alarms: list[CutAlarm]) -> list[Said]:
    judged = {mishap: Said(_row(mishap)) for mishap in case.mishaps}
    work, between = Said("work"), Said("")
    for alarm in alarms:
        at = alarm.spoken_s
        near = [m for m in judged if -EARLY_S <= at - m.start_s <= m.end_s + AFTER_S - m.start_s]
        right = alarm.kind == "slow_nozzle" and _too_slow(case, at)
        right |= any(alarm.kind == ALARMS.get(mishap.kind) for mishap in near)
        if not right:
            begins = work if abs(at - case.work_s) < 15 else between
            (judged[near[0]] if near else begins).false.append(alarm.kind)
    for mishap, said in judged.items():
        onset_s = _onset(case, mishap)
        if not np.isfinite(onset_s):
            said.kind = "heavy, not quite"
            continue
        early, late = mishap.start_s - EARLY_S, mishap.end_s + LATE_S
        hits = [alarm for alarm in alarms if early <= alarm.spoken_s <= late]
        named = [alarm for alarm in hits if alarm.kind == ALARMS.get(mishap.kind)]
        said.found, said.named = bool(hits), bool(named)
        if named:
            said.delay_s = named[0].spoken_s - onset_s
    return [*judged.values(), work, between]


def _row(mishap: Mishap) -> str:
    if mishap.kind == "clog":
        if mishap.size < LEAST_CLOG:
            return "clog, slight"
        return "clog" if mishap.size < 2 * LEAST_CLOG else "clog, heavy"
    if mishap.kind != "sag" or mishap.size < SAG:
        return mishap.kind
    return "sag, quick" if mishap.rate > QUICK else "sag, 4 % and more"


def _too_slow(case: Case, at_s: float) -> bool:
    return bool(case.velocity[int(at_s)] < (1 + LESS_SURE) * case.needed)


def _onset(case: Case, mishap: Mishap) -> float:
    """Of heavy spoil, when the air has become too slow; NaN where it hardly did."""
    if mishap.kind != "heavy":
        return mishap.start_s
    velocity = case.velocity[int(mishap.start_s) : int(mishap.end_s)]
    below = np.flatnonzero(velocity < (1 - LESS_SURE) * case.needed)
    if len(below) < 20:
        return float("nan")
    return mishap.start_s + float(np.flatnonzero(velocity < case.needed)[0])


def _compare_filter(case: Case, alarms_s: list[float], out: Outcome) -> None:
    filter_ = case.plant.scenario.machine.filter
    growth = filter_.loading_pa_s_m3_per_s / filter_.linear_pa_s_m3
    out.filter_growth = growth * min(alarms_s, default=np.inf) if growth or alarms_s else np.inf
    out.filter_grown = growth * case.plant.scenario.duration_s


def _compare_leak(case: Case, leaks: list[CutAlarm], out: Outcome) -> None:
    from_s = np.inf if case.leak_from_s is None else case.leak_from_s
    right = [leak for leak in leaks if leak.spoken_s > from_s]
    out.leak_false = len(right) < len(leaks)
    out.leak_whole = bool(right)
    out.leak_gone_end = float(np.median(case.leak_gone[-20:]))
    live = [leak.spoken_s for leak in right if not leak.seen_afterwards]
    if live:
        out.leak_gone = float(case.leak_gone[int(live[0])])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cuts", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=25.0)
    parser.add_argument("--kind", choices=("clogs", "mishaps"), default="clogs")
    parser.add_argument("--no-lifts", action="store_true", help="the nozzle stays in the spoil")
    parser.add_argument("--wandering", action="store_true", help="the load changes slowly")
    parser.add_argument("--sound-filter", action="store_true", help="no filter loads")
    options = parser.parse_args()
    began_s = time.monotonic()
    kinds = EVERYTHING if options.kind == "mishaps" else USUAL
    if options.no_lifts:
        kinds = tuple(kind for kind in kinds if kind != "lift")
    crew = Crew(kinds, not options.sound_filter, options.wandering)
    work = partial(one_cut, seed=options.seed, duration_s=60 * options.minutes, crew=crew)
    with ProcessPoolExecutor(WORKERS) as pool:
        outcomes = list(pool.map(work, range(options.cuts)))
    hours = sum(each.hours for each in outcomes)
    print(
        f"{options.cuts} cuts of seed {options.seed}, {hours:.1f} h, in "
        f"{time.monotonic() - began_s:.0f} s\n"
    )
    _print_mishaps([said for each in outcomes for said in each.said])
    _print_figures(outcomes, hours)


def _print_mishaps(everything: list[Said]) -> None:
    print(f"{'':32}{'n':>5}{'found':>7}{'by name':>9}{'median':>8}{'9 of 10':>9}  claimed besides")
    for kind, title in ROWS.items():
        said = [each for each in everything if each.kind == kind]
        if not said:
            continue
        wrong = Counter(name for each in said for name in each.false)
        claims = ", ".join(f"{name} {count}" for name, count in wrong.most_common()) or "none"
        found, named, median, late = 4 * [""]
        if kind not in NOT_ASKED:
            found = f"{100 * np.mean([each.found for each in said]):.0f} %"
            named = f"{100 * np.mean([each.named for each in said]):.0f} %"
            median, late = (
                f"{value:.1f} s" if np.isfinite(value) else "never"
                for value in np.percentile([e.delay_s for e in said], (50, 90), method="higher")
            )
        print(f"{title:32}{len(said):>5}{found:>7}{named:>9}{median:>8}{late:>9}  {claims}")


def _print_figures(outcomes: list[Outcome], hours: float) -> None:
    delay = [s.delay_s for each in outcomes for s in each.said if s.kind in ("clog", "clog, heavy")]
    grown = [each for each in outcomes if each.filter_grown >= FILTER_GROWN]
    leaks = [each for each in outcomes if each.has_leak and each.leak_gone_end >= FLOW_GONE]
    sound = [each for each in outcomes if not each.has_leak]
    clean = [each for each in sound if not each.filter_grown]

    def share(hits: list[bool]) -> str:
        return f"{100 * np.mean(hits):.0f} of 100 ({len(hits)})" if hits else "none"

    rows = [
        ("clogs of 5 % and more found", share(list(np.isfinite(delay))), "98 of 100"),
        ("  within 8 s", share([each <= 8 for each in delay]), "97 of 100"),
        ("false alarms in three hours", f"{3 * sum(len(e.false) for e in outcomes) / hours:.2f}",
         "1 at most"),
        ("filter found before its loss grew by 60 %",
         share([each.filter_growth < FILTER_GROWN for each in grown]), "85 of 100"),
        ("  with a sensor in the tank",
         share([e.filter_growth < FILTER_GROWN for e in grown if e.has_tank]), "none said"),
        ("filter claimed that does not load, no leak",
         share([np.isfinite(each.filter_growth) for each in clean]), "none said"),
        ("leak found live before a tenth is lost",
         share([each.leak_gone < FLOW_GONE for each in leaks]), "60 of 100"),
        ("leak found from the whole log", share([each.leak_whole for each in leaks]), "80 of 100"),
        ("leak claimed where there is none",
         share([each.leak_false for each in sound]), "5 of 100 at most"),
        ("times as fast as the cut", f"{3600 * hours / sum(e.seconds for e in outcomes):.0f}",
         "200 at least"),
    ]  # fmt: skip
    print(f"\n{'':44}{'ours':>20}  wanted")
    for name, ours, wanted in rows:
        print(f"{name:44}{ours:>20}  {wanted}")


if __name__ == "__main__":
    main()

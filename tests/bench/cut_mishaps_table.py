"""What the watch said of each mishap, against the truth; and the table of it."""

from collections import Counter
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from cut_mishaps import Mishap, MishapCase
from pullcurve.cut.alarm import CutAlarm

EARLY_S, LATE_S = 2.0, 3.0  # as for clogs
AFTER_S: Final = 30.0  # until then an alarm is the mishap's doing
NAMES: Final = {"clog": "clog", "hose_off": "hose_off", "sag": "speed_sag", "heavy": "slow_nozzle"}
LESS_SURE: Final = 0.03  # the watch's own doubt of the velocity
SAG: Final = 0.04  # of the speed: a sag that is not to be missed
QUICK: Final = 0.01  # of the speed, each second
SAGS: Final = ("sag, 4 % and more", "sag, quick", "sag")
ROWS: Final = {
    "clog": "clog of 5 to 50 %",
    "hose_off": "hose off",
    "sag, 4 % and more": "engine sags by 4 to 10 %",
    "sag, quick": "  by more than 1 % in a second",
    "sag": "  by 2 to 4 %",
    "heavy": "spoil too heavy for the air",
    "heavy, not quite": "  not quite too heavy",
    "moved": "throttle moved, and back",
    "turned_down": "throttle turned down for good",
    "lift": "nozzle lifted out of the spoil",
    "": "in between",
}


@dataclass
class Said:
    """What came of one mishap; `kind` is a key of ROWS."""

    kind: str
    found: bool = False
    named: bool = False
    delay_s: float = float("nan")  # of the alarm by the right name
    false: list[str] = field(default_factory=list)


@dataclass
class MishapOutcome:
    number: int
    hours: float
    said: list[Said] = field(default_factory=list)
    leaks: int = 0
    seconds: float = 0.0


def compare(case: MishapCase, events: list[CutAlarm]) -> MishapOutcome:
    out = MishapOutcome(case.number, case.plant.scenario.duration_s / 3600)
    out.leaks = sum(event.kind == "leak" for event in events)
    sudden = [event for event in events if event.kind not in ("leak", "filter_loading")]
    between = Said("")
    judged = {mishap: Said(_row(mishap)) for mishap in case.mishaps}
    for event in sudden:
        near = [m for m in judged if event.spoken_s - m.start_s >= -EARLY_S and _near(m, event)]
        right = event.kind == "slow_nozzle" and _too_slow(case, event.spoken_s)
        right |= any(event.kind == NAMES.get(mishap.kind) for mishap in near)
        if not right:
            (judged[near[0]] if near else between).false.append(event.kind)
    for mishap, said in judged.items():
        onset_s = _onset(case, mishap)
        if not np.isfinite(onset_s):
            said.kind = "heavy, not quite"
            continue
        hits = [
            e for e in sudden if mishap.start_s - EARLY_S <= e.spoken_s <= mishap.end_s + LATE_S
        ]
        named = [e for e in hits if e.kind == NAMES.get(mishap.kind)]
        said.found, said.named = bool(hits), bool(named)
        if named:
            said.delay_s = named[0].spoken_s - onset_s
    out.said = [*judged.values(), between]
    return out


def _near(mishap: Mishap, event: CutAlarm) -> bool:
    return event.spoken_s <= mishap.end_s + AFTER_S


def _row(mishap: Mishap) -> str:
    if mishap.kind != "sag" or mishap.size < SAG:
        return mishap.kind
    return "sag, quick" if mishap.rate > QUICK else "sag, 4 % and more"


def _too_slow(case: MishapCase, at_s: float) -> bool:
    return bool(case.velocity[int(at_s)] < (1 + LESS_SURE) * case.needed)


def _onset(case: MishapCase, mishap: Mishap) -> float:
    """Of heavy spoil, when the air has become too slow; NaN where it hardly did."""
    if mishap.kind != "heavy":
        return mishap.start_s
    velocity = case.velocity[int(mishap.start_s) : int(mishap.end_s)]
    below = np.flatnonzero(velocity < (1 - LESS_SURE) * case.needed)
    if len(below) < 20:
        return float("nan")
    return mishap.start_s + float(np.flatnonzero(velocity < case.needed)[0])


def print_table(outcomes: list[MishapOutcome]) -> None:
    everything = [said for each in outcomes for said in each.said]
    print(f"{'':32}{'n':>5}{'found':>7}{'by name':>9}{'median':>8}{'9 of 10':>9}  claimed besides")
    for kind, title in ROWS.items():
        said = [each for each in everything if each.kind == kind]
        wrong = Counter(name for each in said for name in each.false)
        claims = ", ".join(f"{name} {count}" for name, count in wrong.most_common()) or "none"
        count = f"{len(said)}" if kind else ""
        found, named, median, late = 4 * [""]
        if kind in (*SAGS, *NAMES) and said:
            found = f"{100 * np.mean([each.found for each in said]):.0f} %"
            named = f"{100 * np.mean([each.named for each in said]):.0f} %"
            delays = np.nan_to_num([each.delay_s for each in said], nan=np.inf)
            median, late = (
                f"{value:.1f} s" if np.isfinite(value) else "never"
                for value in np.percentile(delays, (50, 90), method="higher")
            )
        print(f"{title:32}{count:>5}{found:>7}{named:>9}{median:>8}{late:>9}  {claims}")
    hours = sum(each.hours for each in outcomes)
    false = sum(
        name != "clog" or not said.kind.startswith("heavy")
        for said in everything
        for name in said.false
    )
    leaks = sum(each.leaks > 0 for each in outcomes)
    print(f"\nfalse alarms in three hours, without clogs in heavy spoil: {3 * false / hours:.2f}")
    print(f"leak claimed, where there is none: {leaks} of {len(outcomes)} cuts")

"""Leads through a throttle sweep: what to do next, what to ask, what to warn of.

Knows no clock, file or page: it is told how things stand, and says the next card. It follows the
machine, and never waits for a person: whoever holds longer, or starts again, is right.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

from pullcurve.checks.catalogue import Finding
from pullcurve.live.estimator import State
from pullcurve.live.questions import Button, Hold, Noted, Question, Questions, texts
from pullcurve.quantities import UNIT_SYSTEMS
from pullcurve.report.finding_words import action_words, evidence_words
from pullcurve.rig.models import Rig

ZERO_S: Final = 10.0  # of a zero
STOP_S: Final = 14.0  # of standing, of which the run-down gives no zero
HOLD_S: Final = 20.0  # settled
HOLDS: Final = 5  # at clearly different speeds
FEW: Final = 3
APART: Final = 0.04  # of the speed: two holds nearer than this are at one speed
STEP: Final = (1.1, 1.25)  # times the last speed, for the next one up
# Of the rated speed, for the holds of a sweep (judgement).
SHARES: Final = (0.6, 0.7, 0.8, 0.9, 1.0)
Step = tuple[str, dict[str, Any], tuple[str, ...]]  # its name, what fills its words, its buttons


@dataclass(frozen=True)
class Card:
    """What stands on the page. `urgent`: what was done so far is being spoilt. `trouble`: the kind
    of that which it is about."""

    step: str
    trouble: str
    title: str
    do: str
    why: str
    caution: str = ""
    urgent: bool = False
    holds: int = 0
    wanted: int = HOLDS
    questions: tuple[Question, ...] = ()
    buttons: tuple[Button, ...] = ()


@dataclass(frozen=True)
class Facts:
    """How things stand. `time_s`: the run's, by the board; `for_s`: of the state; `there`:
    readings come; `ended`: no more will; `recorded`: they are in the log."""

    time_s: float
    state: State
    for_s: float
    speed_rpm: float = 0.0
    zero_s: float = 0.0
    fault: str = ""
    findings: tuple[Finding, ...] = ()
    there: bool = True
    ended: bool = False
    recorded: bool = True


class Guide:
    def __init__(self, rig: Rig, units: str) -> None:
        self._facts = Facts(0.0, "no flow", 0.0)
        self._unrecorded_s = 0.0  # when something last came that is not in the log
        self._holds: list[Hold] = []
        self._held = False  # the present hold is among them
        self._stood = False  # the engine has not been seen to turn since it stood
        self._top_said = False
        self._finished = False
        self._left = False  # for a further log
        self._accepted: set[str] = set()
        self._questions = Questions(rig, units)
        self._units = UNIT_SYSTEMS[units]
        self._rated_rpm = _rated_rpm(rig)

    def update(self, facts: Facts) -> None:
        """How things stand now."""
        facts = replace(facts, time_s=max(facts.time_s, self._facts.time_s))
        if not facts.recorded:
            self._unrecorded_s = facts.time_s
        if self._unrecorded_s:
            for_s = min(facts.for_s, facts.time_s - self._unrecorded_s)
            zero_s = min(facts.zero_s, for_s) if facts.state == "engine off" else facts.zero_s
            facts = replace(facts, for_s=for_s, zero_s=zero_s)
        self._facts = facts
        if facts.there:
            self._follow(facts)
        self._finished |= facts.ended

    def _follow(self, facts: Facts) -> None:
        if facts.state == "engine off":
            self._stood, self._held = True, False
            self._finished |= bool(self._holds) and facts.for_s >= STOP_S
        elif facts.state != "no flow":
            if self._finished and self._stood:
                self._next_sweep()
            self._stood = False
            if facts.state == "settled":
                self._hold(facts)
            else:
                self._held = False

    def _hold(self, facts: Facts) -> None:
        if facts.for_s < HOLD_S or self._spoiler() is not None:
            return
        start_s = max(facts.time_s - facts.for_s, 0.0)
        last = self._holds[-1] if self._holds else None
        near = last is not None and abs(facts.speed_rpm / last.speed_rpm - 1) < APART
        if last is not None and near:
            if start_s > last.end_s:  # held anew: what lay between is no part of it
                last.start_s = start_s
            last.end_s = facts.time_s
        elif last is None or start_s > last.end_s:  # else the throttle has just been moved
            self._holds.append(Hold(facts.speed_rpm, start_s, facts.time_s))
        self._held = True

    def _next_sweep(self) -> None:
        self._finished = self._top_said = False
        self._holds.clear()
        self._accepted.clear()
        self._questions.next_sweep()

    # What people say

    def press(self, button: str, step: str, trouble: str) -> bool:
        """A button of the card that was of this step and trouble: whether a further log is wanted.

        One that the present card does not have does nothing, as of a page that is behind or of a
        second viewer.
        """
        now, filled, buttons = self._step()
        if (step, trouble) != (now, filled["trouble"]) or button not in buttons:
            return False
        if button == "top":
            self._top_said = True
        elif button == "finish":
            self._finished = True
        elif button == "go_on":
            self._accepted.add(trouble or step)
        elif button == "again" and not self._left:
            self._left = True
            return True
        return False

    def answer(
        self, question: str, button: str, said: Mapping[str, str], hold: str
    ) -> Noted | None:
        noted = self._questions.answer(question, button, said, hold, self._holds)
        if noted is None or noted.at:
            return noted
        return noted._replace(at=f"{self._facts.time_s:.0f} s")

    def answered(self, question: str, button: str, hold: str) -> None:
        self._questions.answered(question, button, hold, self._holds)

    # What the page says

    def card(self) -> Card:
        step, filled, buttons = self._step()
        words = {"caution": "", **texts()[step]}
        if filled["target"]:
            words |= {n.removesuffix("_at"): text for n, text in words.items() if n.endswith("_at")}
        return Card(
            step=step,
            trouble=filled["trouble"],
            **{name: words[name].format(**filled) for name in ("title", "do", "why", "caution")},
            urgent=step.startswith("mend") or step in ("no_zero", "not_recorded"),
            holds=self._distinct(),
            questions=self._asked(step),
            buttons=tuple(Button(name, texts()["buttons"][name]) for name in buttons),
        )

    def _step(self) -> Step:
        facts, done = self._facts, len(self._holds)
        filled: dict[str, Any] = {
            "number": done,
            "done": done,
            "wanted": HOLDS,
            "are": "is" if done == 1 else "are",
            "holds": "hold" if done == 1 else "holds",
            "fault": facts.fault,
            "target": self._target(),
            "trouble": "",
            "rated": f"{self._rated_rpm or 0:.0f}",
        }
        if self._finished:
            return ("done" if self._distinct() >= FEW else "done_few"), filled, ("report",)
        if not facts.there:
            return "wait", filled, ()
        if not facts.recorded:
            return "not_recorded", filled, ()
        if facts.state == "no flow":
            return "no_flow", filled, ()
        spoiler = self._spoiler()
        if spoiler is not None:
            return self._mend(spoiler, filled)
        return self._standing(filled) if facts.state == "engine off" else self._running(filled)

    def _mend(self, spoiler: Finding, filled: dict[str, Any]) -> Step:
        filled |= {
            "trouble": spoiler.kind.value,
            "evidence": evidence_words(spoiler, self._units),
            "action": action_words(spoiler),
        }
        if spoiler.row.guide == "mend":
            return "mend_without_hands", filled, ("go_on",)
        if self._facts.state == "engine off":
            return "mend_standing", filled, ("again", "go_on")
        return "mend_running", filled, ("go_on",)

    def _standing(self, filled: dict[str, Any]) -> Step:
        facts = self._facts
        if self._holds:
            return "end_zero", filled | {"seconds": _left(STOP_S, facts.for_s)}, ("finish",)
        if facts.zero_s < ZERO_S:
            return "zero", filled | {"seconds": _left(ZERO_S, facts.zero_s)}, ()
        return "start", filled, ()

    def _running(self, filled: dict[str, Any]) -> Step:
        facts = self._facts
        if not facts.zero_s and not self._holds and "no_zero" not in self._accepted:
            return "no_zero", filled | {"seconds": f"{STOP_S:.0f}"}, ("go_on",)
        if self._held or self._is_enough():
            return self._next(filled)
        filled |= {"number": len(self._holds) + 1}
        if facts.state == "settled":
            return "hold", filled | {"seconds": _left(HOLD_S, facts.for_s)}, ()
        return "set", filled, ()

    def _next(self, filled: dict[str, Any]) -> Step:
        speeds = [hold.speed_rpm for hold in self._holds]
        if self._is_enough():
            return "next_stop", filled, ("finish",)
        if self._is_top() or (len(speeds) > HOLDS and self._rated_rpm is None):
            return "next_between", filled, ("finish",)
        low, high = (round(speeds[-1] * times, -2) for times in STEP)
        filled |= {"low": f"{low:.0f}", "high": f"{high:.0f}"}
        return "next_higher", filled, ("top",)

    def _is_enough(self) -> bool:
        return self._came_down() or (self._is_top() and len(self._holds) >= HOLDS + 1)

    def _came_down(self) -> bool:
        speeds = [hold.speed_rpm for hold in self._holds]
        return bool(speeds) and speeds[-1] < (1 - APART) * max(speeds)

    def _is_top(self) -> bool:
        """Whether no higher hold is to come: somebody has said so, or the rated speed is held."""
        top_rpm = (1 - APART) * (self._rated_rpm or float("inf"))
        return self._top_said or any(hold.speed_rpm > top_rpm for hold in self._holds)

    def _target(self) -> str:
        """The blower's speed for the next hold, never above the rated one; empty where the rig
        says none, or where none is left."""
        speeds = sorted(hold.speed_rpm for hold in self._holds)
        if self._rated_rpm is None or self._came_down():
            return ""
        if not self._is_top():
            higher = (round(share * self._rated_rpm, -1) for share in SHARES[:-1])
            lowest = speeds[-1] * (1 + 2 * APART) if speeds else 0.0
            return f"{next((rpm for rpm in higher if rpm > lowest), self._rated_rpm):.0f}"
        held = [min(speed, self._rated_rpm) for speed in speeds]
        if not held:
            return ""
        # The middle of the widest gap, of which one may lie under the only speed that was held.
        gaps = pairwise(sorted([SHARES[0] * held[-1], *held]))
        low, high = max(gaps, key=lambda gap: gap[1] - gap[0])
        return f"{round((low + high) / 2, -1):.0f}"

    def _distinct(self) -> int:
        """Holds at clearly different speeds."""
        count, last = 0, 0.0
        for speed in sorted(hold.speed_rpm for hold in self._holds):
            if speed > last * (1 + APART):
                count, last = count + 1, speed
        return count

    def _spoiler(self) -> Finding | None:
        """What spoils the run and a person at the machine can mend."""
        return next(
            (
                finding
                for finding in self._facts.findings
                if finding.row.guide
                and finding.kind not in self._accepted
                and finding.consequence != "none"
            ),
            None,
        )

    def _asked(self, step: str) -> tuple[Question, ...]:
        asked: tuple[Question, ...] = ()
        if step in ("zero", "start", "end_zero", "done", "done_few"):
            asked += self._questions.of_sweep()
        if step not in ("wait", "no_flow", "not_recorded") and not step.startswith("mend"):
            asked += self._questions.of_hold(self._holds)
        return asked


def _rated_rpm(rig: Rig) -> float | None:
    """Of the blower: as the rig says, or else the data sheet's highest; None without either."""
    machine = rig.machine
    if machine.rated_speed_rpm is not None or machine.blower.rating is None:
        return machine.rated_speed_rpm
    return float(machine.blower.rating.speed_rpm.max())


def _left(wanted_s: float, there_s: float) -> str:
    return f"{max(wanted_s - there_s, 1):.0f}"

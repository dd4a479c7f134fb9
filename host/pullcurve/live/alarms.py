"""Alarms of the page: what stands, what is over and nobody has seen yet, what was seen."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from pullcurve.cut.alarm import CutAlarm
from pullcurve.live.words import Check
from pullcurve.report.cut_words import said


@dataclass(frozen=True)
class Alarm:
    """`key` tells it from all others. What has ended waits only to be seen: it is over, or it
    stays and is taken as the new level."""

    key: str
    title: str
    what: str
    since: str = ""
    actions: tuple[str, ...] = ()
    caution: str = ""
    seen: bool = False
    ended: Literal["", "over", "stays"] = ""


def of_cut(event: CutAlarm) -> Alarm:
    """An alarm of the cut watch in the words of its report."""
    words = said(event)
    return Alarm(
        f"cut {event.number}",
        words.short,
        f"{words.what} {words.forecast}".rstrip(),
        f"{words.since}; {words.certainty}",
        words.try_this,
        words.caution,
        ended="stays" if event.stays else "" if event.end_s is None else "over",
    )


class Alarms:
    """What is wrong with the measuring comes and goes by itself; an alarm of the cut stays until
    somebody has seen it."""

    def __init__(self) -> None:
        self._seen: set[str] = set()
        self._of_cut: dict[str, Alarm] = {}

    def tell(self, alarm: Alarm) -> None:
        """An alarm of the cut was spoken, or has ended."""
        self._of_cut[alarm.key] = alarm

    def see(self, key: str) -> Alarm | None:
        """Somebody has seen it. The alarm, where it is one that stands and was not seen before."""
        if key in self._seen:
            return None
        self._seen.add(key)
        return self._of_cut.get(key)

    def standing(self, checks: Iterable[Check]) -> Sequence[Alarm]:
        """All alarms: of the cut first, the newest first."""
        for key in [key for key, alarm in self._of_cut.items() if alarm.ended]:
            if key in self._seen:
                del self._of_cut[key]
        spoilt = [check for check in checks if check.grade == "spoilt"]
        of_checks = [
            Alarm(
                f"check {check.name} {check.action}",
                check.name,
                check.words,
                actions=(check.action,) if check.action else (),
            )
            for check in spoilt
        ]
        keys = {alarm.key for alarm in of_checks}
        self._seen = {key for key in self._seen if key in keys or key in self._of_cut}
        found = [*reversed(self._of_cut.values()), *of_checks]
        return [replace(alarm, seen=alarm.key in self._seen) for alarm in found]

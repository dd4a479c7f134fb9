"""What is wrong with the measuring goes by itself; an alarm of the cut waits to be seen."""

from dataclasses import replace

from pullcurve.live.alarms import Alarm, Alarms
from pullcurve.live.words import Check

FINE = Check("Board", "fine", "Answers.")
GONE = Check("Board", "spoilt", "The board is gone.", "Check its plug.")
CLOG = Alarm("cut 1", "CLOG", "The flow is down.", "since 3:05")


def told(alarms: Alarms, *checks: Check) -> list[tuple[str, bool, bool]]:
    return [(alarm.title, alarm.seen, bool(alarm.ended)) for alarm in alarms.standing(checks)]


def test_a_spoilt_check_is_an_alarm_while_it_lasts_and_anew_when_it_comes_again() -> None:
    alarms = Alarms()
    assert told(alarms, FINE) == []
    (alarm,) = alarms.standing([GONE])
    assert alarms.see(alarm.key) is None  # nothing to note in the log
    assert told(alarms, GONE) == [("Board", True, False)]
    assert told(alarms, FINE) == []
    assert told(alarms, GONE) == [("Board", False, False)]


def test_an_alarm_of_the_cut_that_is_over_waits_until_it_was_seen() -> None:
    alarms = Alarms()
    alarms.tell(CLOG)
    assert told(alarms) == [("CLOG", False, False)]
    alarms.tell(replace(CLOG, ended="over"))
    assert told(alarms) == [("CLOG", False, True)]
    seen = alarms.see("cut 1")
    assert seen is not None
    assert seen.title == "CLOG"
    assert alarms.see("cut 1") is None  # by a second viewer
    assert told(alarms) == []


def test_one_that_was_seen_stays_until_it_is_over() -> None:
    alarms = Alarms()
    alarms.tell(CLOG)
    alarms.see("cut 1")
    assert told(alarms, GONE) == [("CLOG", True, False), ("Board", False, False)]
    alarms.tell(replace(CLOG, ended="over"))
    assert told(alarms) == []
    assert alarms.see("never heard of") is None

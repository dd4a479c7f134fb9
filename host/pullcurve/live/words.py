"""What the page says: readings, state, curve and checks, in the viewer's units and in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from pullcurve.checks.catalogue import Finding, Kind
from pullcurve.live.estimator import Now, Reading
from pullcurve.live.receiving import FREE_SPACE
from pullcurve.live.reducing import Reduced
from pullcurve.physics.air import STANDARD_CONDITIONS
from pullcurve.quantities import UnitSystem
from pullcurve.report.finding_words import (
    action_words,
    evidence_words,
    kind_words,
    withheld_because,
)
from pullcurve.rig.models import Rig
from pullcurve.rounding import count, measured, minutes, percent, significant

Grade = Literal["fine", "doubt", "spoilt"]
_GRADES: Final[dict[str, Grade]] = {"none": "doubt", "widened": "doubt", "withheld": "spoilt"}
_WORST_FIRST: Final[tuple[Grade, ...]] = ("spoilt", "doubt", "fine")
LOST_SHARE: Final = 0.01
SILENT_S: Final = 3.0
WITHOUT_CUT: Final = (
    "Watch the gauges yourself. For alarms that can be relied on, end this watch with Ctrl-C on "
    "the laptop and start it anew: its log is whole."
)


@dataclass(frozen=True)
class Way:
    """How the board's bytes come, and where they go."""

    gone: bool = False
    ended: bool = False
    silent_s: float = 0.0
    log: str = ""
    elapsed_s: float = 0.0
    fault: str = ""  # what ended the recording, or keeps it from beginning
    unwritten: str = ""  # why what comes is not in the log
    holes: Sequence[str] = ()  # what the log lacks
    broker: str = ""  # what is wrong with the broker, where there is one
    cut: str = ""  # what is wrong with the cut watch

    @property
    def is_silent(self) -> bool:
        return self.silent_s > SILENT_S


@dataclass(frozen=True)
class Check:
    name: str
    grade: Grade
    words: str
    action: str = ""


def about(rig: Rig | None, units: UnitSystem) -> dict[str, Any]:
    return {
        "title": rig.name if rig is not None else "no rig named",
        "flow_unit": units.volume_flow.label,
        "flow_state": f"standard flow through the meter, at {STANDARD_CONDITIONS.name}",
    }


def reading_words(reading: Reading, units: UnitSystem) -> dict[str, Any]:
    flow, speed = reading.standard_flow_m3_s, reading.speed_rpm
    pressure, unit = reading.differential_pressure_pa, units.differential_pressure
    return {
        "flow": None if flow is None else flow_text(flow, units),
        "flow_value": None if flow is None else units.volume_flow.from_si(flow),
        "speed": None if speed is None else f"{speed:.0f}",
        "speed_value": speed,
        "pressure": None if pressure is None else significant(unit.from_si(pressure), 3),
        "at": reading.host_time.timestamp(),
    }


def flow_text(flow_m3_s: float, units: UnitSystem) -> str:
    return significant(units.volume_flow.from_si(flow_m3_s), 3)


def state_words(now: Now, reading: Reading | None, way: Way, units: UnitSystem) -> dict[str, Any]:
    """The one sentence under the number."""
    sentence = _sentence(now, reading, units)
    if way.fault:
        sentence = begun(way.fault)
    elif way.ended:
        sentence = f"The source has ended. Before that: {sentence[0].lower()}{sentence[1:]}"
    elif way.gone or way.is_silent:
        sentence = _silence(way)
    if way.unwritten:
        sentence = f"Not recorded. {sentence}"
    return {
        "state": now.state,
        "unwritten": bool(way.unwritten),
        "sentence": sentence,
        "for_s": now.for_s,
        "u95": (
            None
            if now.standard_flow_u95_m3_s is None
            else significant(units.volume_flow.difference_from_si(now.standard_flow_u95_m3_s), 2)
        ),
        "old": bool(way.ended or way.fault or way.gone or way.is_silent),
        "elapsed": minutes(way.elapsed_s),
    }


def begun(sentence: str) -> str:
    """With a capital, unless a name or a port stands first."""
    first, _, rest = sentence.partition(" ")
    return f"{first.capitalize()} {rest}" if first.isalpha() and first.islower() else sentence


def _sentence(now: Now, reading: Reading | None, units: UnitSystem) -> str:
    if now.state == "no flow":
        return now.fault
    if now.state == "engine off":
        return f"Engine off for {now.for_s:.0f} s: no air moves."
    if now.state == "changing":
        return "Not settled: speed or flow is changing."
    flow = None if reading is None else reading.standard_flow_m3_s
    if flow is None or now.standard_flow_u95_m3_s is None:
        return f"Settled for {now.for_s:.0f} s."
    told = measured(
        units.volume_flow.from_si(flow),
        units.volume_flow.difference_from_si(now.standard_flow_u95_m3_s),
    )
    return (
        f"Settled for {now.for_s:.0f} s: {told}\N{NO-BREAK SPACE}{units.volume_flow.label} "
        f"at {now.speed_rpm:.0f} rpm."
    )


def _silence(way: Way) -> str:
    if way.gone:
        return (
            "The board is gone. Check its plug, or come nearer; the recording waits for it and "
            "goes on."
        )
    return (
        f"Nothing has come from the board for {way.silent_s:.0f} s. Check its plug and its supply, "
        "or come nearer."
    )


def curve_words(reduced: Reduced, units: UnitSystem) -> dict[str, Any]:
    """The settled points, to be drawn and to be read as a table. Once the earliest are left out
    their numbers say nothing, and they are named by the time of day."""
    unit, points = units.volume_flow, reduced.points
    several = len({point.sweep for point in points}) > 1
    rows = []
    for point in points:
        name = f"{point.sweep}.{point.hold}" if several else f"{point.hold}"
        if not reduced.whole:
            name = f"{point.began:%H:%M:%S}"
        row: dict[str, Any] = {
            "name": name,
            "speed": point.speed_rpm,
            "speed_text": f"{point.speed_rpm:.0f}",
            "withheld": withheld_because(point.withheld) if point.withheld else "",
        }
        if point.flow_m3_s is not None and point.flow_u95_m3_s is not None:
            value = unit.from_si(point.flow_m3_s)
            u95 = unit.difference_from_si(point.flow_u95_m3_s)
            row |= {"flow": value, "u95": u95, "flow_text": str(measured(value, u95))}
        rows.append(row)
    caption = _caption(rows)
    return {"points": rows, "caption": caption if reduced.whole else f"The last hour: {caption}"}


def _caption(rows: Sequence[dict[str, Any]]) -> str:
    stated = [row for row in rows if "flow" in row]
    if not rows:
        return "No settled point yet. Each hold of the throttle adds one."
    held = f"{len(rows)} settled point{'s' * (len(rows) != 1)}"
    if not stated:
        return f"{held}, none of which has a flow to state."
    top = max(stated, key=lambda row: float(row["speed"]))
    return f"{held}. The fastest: {top['flow_text']} at {top['speed_text']} rpm."


def checks(now: Now, reduced: Reduced | None, way: Way, units: UnitSystem) -> list[Check]:
    """Each thing that a run hangs on, worst first."""
    findings = {(f.kind, f.subject): f for f in (reduced.findings if reduced else ())}
    findings |= {(f.kind, f.subject): f for f in now.findings}
    if now.zero_pa is not None:
        findings.pop((Kind.NO_ZERO, "zero"), None)
    found = [*_of_the_way(now, way), *(_told(finding, units) for finding in findings.values())]
    if not way.is_silent and not way.fault:
        found += _what_is_fine(now, {check.name for check in found}, units)
    return sorted(found, key=lambda check: _WORST_FIRST.index(check.grade))


def _told(finding: Finding, units: UnitSystem) -> Check:
    words = f"{kind_words(finding)}. {evidence_words(finding, units)}"
    grade = _GRADES[finding.consequence]
    return Check(finding.row.check, grade, words, action_words(finding))


def _of_the_way(now: Now, way: Way) -> Iterable[Check]:
    yield from _of_the_log(way)
    if way.broker:
        yield Check("Broker", "doubt", way.broker)
    if way.cut:
        yield Check("Cut watch", "spoilt", f"{way.cut} Clogs and leaks may go untold.", WITHOUT_CUT)
    if way.ended or way.fault:
        return
    if way.gone or way.is_silent:
        yield Check("Board", "spoilt", _silence(way))
    elif now.state == "no flow":
        yield Check("Measurement", "spoilt", now.fault)
    else:
        yield Check("Board", "fine", "Answers.")
    if now.received:
        share = now.lost / (now.lost + now.received)
        words = f"{count(now.received)} arrived, {count(now.lost)} are missing"
        words += f" ({percent(share)})." if now.lost else "."
        if now.memory_s is not None:
            words += (
                f" The board keeps its last {now.memory_s} s: what a longer time without a link "
                "takes is lost."
            )
        if share > LOST_SHARE:
            yield Check("Records", "doubt", words, "Use a shorter cable, away from the ignition.")
        else:
            yield Check("Records", "fine", words)


def _of_the_log(way: Way) -> Iterable[Check]:
    name, elapsed = "Recording", minutes(way.elapsed_s)
    if way.fault:
        yield Check(name, "spoilt", begun(way.fault))
    elif way.unwritten:
        yield Check(name, "spoilt", f"{way.unwritten}.", "" if way.ended else FREE_SPACE)
    elif way.ended:
        yield Check(name, "fine", f"Ended after {elapsed}; it is in {way.log}.")
    else:
        yield Check(name, "fine", f"Running, {elapsed}, into {way.log}.")
    for hole in way.holes:
        yield Check(name, "doubt", f"{begun(hole)}.")


def _what_is_fine(now: Now, told: set[str], units: UnitSystem) -> Iterable[Check]:
    if now.state == "no flow":
        return
    if "Zero" not in told:
        if now.zero_pa is None:
            yield Check(
                "Zero",
                "doubt",
                "Not taken yet.",
                "Let the logger run for 10 s with the engine off.",
            )
        else:
            unit = units.differential_pressure
            value = significant(unit.difference_from_si(now.zero_pa), 2)
            yield Check("Zero", "fine", f"Taken: {value} {unit.label} over {now.zero_s:.0f} s.")
    if "Pressure sensor" not in told:
        yield Check("Pressure sensor", "fine", "Within its range, tubes on the right ports.")
    if "Pickup" not in told:
        words = "No shaft turns." if now.state == "engine off" else "Sees the marks."
        yield Check("Pickup", "fine", words)
    if "Open air" not in told and now.ambient_pressure_pa and now.ambient_temperature_k:
        pressure, temperature = units.station_pressure, units.temperature
        yield Check(
            "Open air",
            "fine",
            f"{significant(pressure.from_si(now.ambient_pressure_pa), 3)} {pressure.label}, "
            f"{significant(temperature.from_si(now.ambient_temperature_k), 3)} "
            f"{temperature.label}.",
        )

"""A watched shift in sentences, for page and terminal."""

from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.clog import DESIGN_RUN_S, LASTING_S, LEARN_S
from pullcurve.cut.result import CutResult
from pullcurve.cut.shift import FilterState
from pullcurve.cut.trend import POINT_S
from pullcurve.quantities import UnitSystem
from pullcurve.report.cut_words import Said, forecast_words, running_time
from pullcurve.report.sentences import shown
from pullcurve.report.tables import NONE, Column, Table, measured_column
from pullcurve.rounding import counted, measured, minutes

_WHAT = {"filter": "The filter's loss", "path": "The loss of the whole path to the meter"}


def headline(result: CutResult) -> str:
    shift = result.shift
    sudden = [event for event in result.events if event.kind in ("clog", "hose_off")]
    slow = [event for event in result.events if event.kind in ("filter_loading", "leak")]
    clogs = counted(shift.clogs, "clog") if shift.clogs else "no clog"
    enough, running = running_time(shift.enough_s), running_time(shift.running_s)
    said = f"{enough} at enough flow of {running} running, {clogs}"
    if any(event.kind == "hose_off" for event in sudden):
        said += ", the hose off"
    if any(event.kind == "filter_loading" for event in slow):
        said += ", the filter loading"
    if any(event.kind == "leak" for event in slow):
        said += ", a leak growing"
    return said + "."


def summary_sentences(result: CutResult) -> list[str]:
    shift = result.shift
    said = [
        f"Running: {running_time(shift.running_s)}. At enough flow, nine tenths or more of the "
        f"working flow at that speed: {running_time(shift.enough_s)}. Short of it: "
        f"{running_time(shift.short_s)}. Not judged, since the throttle moved or the usual was not "
        f"known yet: {running_time(shift.running_s - shift.enough_s - shift.short_s)}.",
        "No clog."
        if not shift.clogs
        else f"{counted(shift.clogs, 'clog')}, {running_time(shift.clogged_s)} in all.",
    ]
    if shift.filter is not None:
        said.append(_filter(shift.filter))
    else:
        said.append("Too few quiet minutes to tell how the filter goes.")
    return said


def _filter(state: FilterState) -> str:
    number = measured(100 * state.growth, 100 * max(state.growth_u95, 1e-4))
    said = f"{_WHAT[state.measured_by]} has changed by {number.value} % ± {number.u95} %"
    said += (
        f" since {minutes(state.since_s)} min."
        if state.measured_by == "filter"
        else (
            f" since {minutes(state.since_s)} min; without a sensor in the tank, filter and leaks "
            "are one in it, and spoil where the nozzle was never in clean air."
        )
    )
    if state.forecast is not None and state.growth > state.growth_u95:
        said += " " + forecast_words(state.forecast)
    return said


def method_sentences() -> list[str]:
    return [
        "The meter stands in the clean pipe: all air that comes in ahead of it passes it, so the "
        "flow at the nozzle is at most what is shown, less what leaks in at hose, tank and lid.",
        "What is watched is the resistance of the way in, (p0² − p1²) over flow squared, which "
        f"does not care for the throttle. Its level is this machine's own, learned from the first "
        f"{LEARN_S:.0f} s at steady throttle on and followed slowly; not while something is up.",
        "Sudden change: a cumulative sum (Page 1954) on what is new in each half second, for one "
        f"standard deviation, with the limit that gives one false alarm in "
        f"{DESIGN_RUN_S / 3600:.0f} h of scatter like this cut's own. A clog that stays "
        f"{LASTING_S:.0f} s becomes the new level.",
        f"Slow change: straight lines through means of {POINT_S:.0f} s of quiet running, in "
        "windows of two minutes up to the whole shift; both halves must show it.",
        "Times of alarms are those at which a live watch would have spoken; nothing from later "
        "is used, but for what is marked as seen afterwards.",
    ]


def alarms_table(events: tuple[CutAlarm, ...], told: list[Said]) -> Table:
    columns = (
        Column("alarm", kind="number"),
        Column("what", kind="short"),
        Column("since", "min:s", "number"),
        Column("said at", "min:s", "number"),
        Column("until", "min:s", "number"),
        Column("size", "%", "measured"),
        Column("how sure"),
    )
    rows = tuple(
        (
            str(event.number),
            words.name + (" (seen afterwards)" if event.seen_afterwards else ""),
            minutes(event.start_s),
            minutes(event.spoken_s),
            "lasts" if event.end_s is None else minutes(event.end_s),
            measured(100 * abs(event.size), 100 * max(event.size_u95, 5e-4)),
            words.certainty,
        )
        for event, words in zip(events, told, strict=True)
    )
    note = (
        "Size: what it took of the flow at this speed, a clog at its worst (a leak: of the "
        "nozzle's flow; hose off: what it added; a sag: of the speed; a filter: growth of its "
        "loss). A leak's and a filter's are what was known last. ±: 95 % interval."
    )
    return Table(columns, rows, note)


def minutes_table(result: CutResult, units: UnitSystem) -> Table:
    """One point a quiet minute: the longest quiet piece of it."""
    points = result.minutes
    columns = (
        Column("from", "min:s", "number"),
        Column("to", "min:s", "number"),
        measured_column("speed", units.speed),
        measured_column("standard flow", units.volume_flow),
        measured_column("vacuum at the blower", units.vacuum),
        measured_column("vacuum in the tank", units.vacuum),
    )
    rows = [
        (
            minutes(point.start_s),
            minutes(point.end_s),
            shown(point.speed_rpm, units.speed),
            NONE
            if point.standard_flow_m3_s is None
            else shown(point.standard_flow_m3_s, units.volume_flow),
            *(
                NONE if vacuum is None else shown(vacuum, units.vacuum)
                for vacuum in (point.vacuum_blower_pa, point.vacuum_tank_pa)
            ),
        )
        for point in points
    ]
    kept = [i for i in range(len(columns)) if any(row[i] != NONE for row in rows)]
    note = (
        "Each is the longest quiet piece of its minute, 20 s at least: steady throttle, no alarm. "
        f"±: 95 % interval. Standard flow: at {result.reference_conditions}."
    )
    return Table(
        tuple(columns[i] for i in kept), tuple(tuple(row[i] for i in kept) for row in rows), note
    )


def strip_caption(result: CutResult) -> str:
    if not result.events:
        return "Nothing happened that the watch would have spoken of."
    return (
        f"{counted(len(result.events), 'alarm')}, numbered as in the table. Bars above: from "
        "beginning to end; clogs are hatched as well. Dotted: when the live watch would have "
        "spoken. Slow changes show in the vacuum before they show in the flow."
    )


def strip_alt(result: CutResult, units: UnitSystem) -> str:
    return (
        f"Two graphs against time: standard flow in {units.volume_flow.label} and vacuum in the "
        f"clean pipe in {units.vacuum.label}; {counted(len(result.events), 'alarm')}, listed in "
        "the table below."
    )

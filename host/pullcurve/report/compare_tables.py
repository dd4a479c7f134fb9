"""A comparison's tables, and the figures that its sentences tell as they do."""

from typing import Final

from pullcurve.compare.result import Compared, ComparedRun, Comparison, Pair
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.sentences import shown_temperature
from pullcurve.report.tables import NONE, Column, Table, measured_column
from pullcurve.results import Interval
from pullcurve.rig.meter import POSITION_WORDS
from pullcurve.rounding import Measured, measured, significant

_CAUSES: Final = {
    "lost_beyond_healthy": "lost beyond healthy",
    "low_speed": "engine too slow",
    "slipping_belt": "belt slips",
    "worn_clearances": "slip beyond healthy",
    "leak": "air coming in unasked",
    "restriction": "choked way",
}


def runs_table(said: Comparison, units: UnitSystem) -> Table:
    pressure, temperature = units.station_pressure, units.temperature
    rows = tuple(
        (
            str(number),
            run.log_name,
            f"{run.started:%Y-%m-%d %H:%M}" if run.started else NONE,
            POSITION_WORDS[run.position],
            f"{significant(pressure.from_si(run.ambient_pressure_pa), 4)} {pressure.label}, "
            f"{shown_temperature(run.ambient_temperature_k, temperature)} {temperature.label}, "
            f"{100 * run.ambient_humidity:.0f} %",
            f"{lowest(run):.0f} to {highest(run):.0f}",
            _verdict(run),
        )
        for number, run in enumerate(said.runs, 1)
    )
    columns = (
        Column("run", kind="number"),
        Column("log"),
        Column("begun", kind="short"),
        Column("meter"),
        Column("open air"),
        Column("speeds", units.speed.label, "short"),
        Column("verdict"),
    )
    return Table(columns, rows)


def _verdict(run: ComparedRun) -> str:
    if not run.verdict:
        return "none"
    if run.verdict == "vetoed":
        return "none: its own report says why"
    return run.verdict.replace("_", " ").replace("+", " and ")


def speeds_table(said: Comparison, pair: Pair, units: UnitSystem) -> Table:
    flow = units.volume_flow
    first, later = "run 1", f"run {pair.later}"
    holders = {"both": "both", "first": first, "later": later}
    rows = tuple(
        (
            f"{at.speed_rpm:.0f}",
            holders[at.held_by],
            _flow(at.standard_flow_m3_s.first, at.standard_flow_m3_s, flow),
            _flow(at.standard_flow_m3_s.later, at.standard_flow_m3_s, flow),
            absolute_change(at.standard_flow_m3_s, flow),
            relative_change(at.standard_flow_m3_s),
            relative_change(at.flow_open_air_m3_s),
            significant(100 * at.standard_flow_m3_s.relative_u95_apart, 2),
        )
        for at in pair.speeds
    )
    columns = (
        Column("speed", units.speed.label, "number"),
        Column("held by", kind="short"),
        Column(f"standard flow, {first}", flow.label, "number"),
        Column(f"standard flow, {later}", flow.label, "number"),
        measured_column("difference", flow),
        Column("difference", "%", "measured"),
        Column("without the day's air", "%", "measured"),
        Column("± if nothing cancelled", "%", "number"),
    )
    note = (
        f"±: 95 % interval of the difference. Standard flow: at {said.reference_conditions}. "
        "Held by: the run that has a settled point at this speed; the other one is read off "
        "between its points. Without the day's air: volume in the state of the open air."
    )
    return Table(columns, rows, note)


def _flow(value: float, compared: Compared, unit: DisplayUnit) -> str:
    width = unit.difference_from_si(compared.u95_apart)
    return measured(unit.from_si(value), width).value


def causes_table(pair: Pair) -> Table:
    """What takes the flow in both runs, and whether that changed."""
    rows = tuple(
        (
            _CAUSES[change.name],
            percent_range(change.first),
            percent_range(change.later),
            percent_range(change.difference),
            "yes" if change.certain else "no",
        )
        for change in pair.cause_changes
    )
    columns = (
        Column("what takes flow"),
        Column("run 1", "%", "short"),
        Column(f"run {pair.later}", "%", "short"),
        Column("difference", "%", "short"),
        Column("sure", kind="short"),
    )
    note = (
        "In brackets: 95 % interval. Lost beyond healthy is slip and leaks together, which a flow"
        " alone cannot tell apart, of the healthy flow. The others are shares of the engine's "
        "rated speed, of the blower's speed (belt, slip), of the blower's flow, and the flow to "
        "be gained with a clear way. Each at the fastest hold of the run's first sweep. The two "
        "diagnoses are taken as independent; what they share, as the blower's own scatter, makes "
        "these intervals wider than they need be. Sure: the interval of the difference leaves "
        "zero out. "
    )
    if pair.baseline:
        note += "The first run is called healthy, so it served the later one as its baseline."
    else:
        note += "Each run was judged by itself, without the other one as its baseline."
    return Table(columns, rows, note)


def lowest(run: ComparedRun) -> float:
    """Its slowest settled point's speed in rpm; `highest` the fastest one's."""
    return run.points[0].speed_rpm


def highest(run: ComparedRun) -> float:
    return run.points[-1].speed_rpm


def relative_change(compared: Compared) -> Measured:
    return measured(100 * compared.relative, 100 * compared.relative_u95)


def absolute_change(compared: Compared, unit: DisplayUnit) -> Measured:
    return measured(
        unit.difference_from_si(compared.difference), unit.difference_from_si(compared.u95)
    )


def percent_range(interval: Interval) -> str:
    """In per cent, with as many places as its interval earns."""
    places = 0 if interval.high - interval.low >= 0.2 else 1
    value, low, high = (
        f"{round(100 * each, places) + 0.0:.{places}f}".replace("-", "−")
        for each in (interval.value, interval.low, interval.high)
    )
    return f"{value} ({low} to {high})"

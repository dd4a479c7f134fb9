"""The tables beside the flows: stretches of time, budget, sensors, channels and notes."""

from typing import Final

from pullcurve.measure.facts import SensorFacts, SensorLimit
from pullcurve.measure.inputs import Source
from pullcurve.measure.points import Contribution, SettledPoint
from pullcurve.quantities import UnitSystem
from pullcurve.report.finding_words import withheld_because
from pullcurve.report.inputs_in_words import REACHES, input_words
from pullcurve.report.quality_words import CHANNELS
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import (
    fastest,
    letters,
    point_name,
    shown,
    slowest,
)
from pullcurve.report.tables import NONE, WITHHELD, Cell, Column, Table, measured_column
from pullcurve.rounding import minutes, percent, significant

_ROLES: Final = {
    "meter_dp": "differential pressure",
    "ambient_air": "open air",
    "meter_air": "air at the meter",
    "blower_air": "air at the blower",
    "tank_air": "air in the tank",
    "discharge_temperature": "discharge temperature",
}
_LEAST_SHARE: Final = 0.001  # of a variance: smaller parts are counted, not listed


def stretches_table(result: RunResult, units: UnitSystem) -> Table:
    """Zeros, settled stretches and those that do not count, in the order of time."""
    pressure = units.differential_pressure
    rows: list[tuple[float, tuple[Cell, ...]]] = []

    def add(name: str, start_s: float, end_s: float, *cells: Cell) -> None:
        rows.append((start_s, (name, minutes(start_s), minutes(end_s), *cells)))

    for number, zero in enumerate(result.zeros, 1):
        add(f"zero {number}", zero.start_s, zero.end_s, NONE, shown(zero.zero_pa, pressure), "")
    for point in result.points:
        add(
            f"hold {point_name(point, result.points)}",
            point.start_s,
            point.end_s,
            shown(point.speed_rpm, units.speed),
            shown(point.differential_pressure_pa, pressure),
            f"{WITHHELD}: {withheld_because(point.withheld)}" if point.withheld else "",
        )
    for number, stretch in enumerate(result.rejected):
        add(
            f"{letters(number)}, not counted",
            stretch.start_s,
            stretch.end_s,
            f"{stretch.speed_rpm:.0f}",
            NONE,
            stretch.reason,
        )
    columns = (
        Column("stretch", kind="short"),
        Column("from", "min:s", "number"),
        Column("to", "min:s", "number"),
        measured_column("speed", units.speed),
        measured_column("differential pressure", pressure),
        Column("why no flow is stated"),
    )
    width = len(columns) if any(cells[-1] for _, cells in rows) else len(columns) - 1
    ordered = sorted(rows, key=lambda row: row[0])
    return Table(
        columns[:width],
        tuple(cells[:width] for _, cells in ordered),
        "Times are from the first block. The zero is the sensor's own; holds have it taken off.",
    )


def budget_table(result: RunResult) -> Table:
    """What the uncertainty of the fastest and the slowest hold is made of."""
    points = result.stated
    holds = {point.point: point for point in (fastest(points), slowest(points))}
    largest: dict[str, Contribution] = {}
    for hold in holds.values():
        for part in hold.budget:
            known = largest.get(part.source)
            largest[part.source] = part if known is None or part.share > known.share else known
    listed = sorted(
        (part for part in largest.values() if part.share >= _LEAST_SHARE),
        key=lambda part: -part.share,
    )
    columns = [Column("input", kind="short")]
    for hold in holds.values():
        name = f"hold {point_name(hold, result.points)}"
        columns += [
            Column(name, "± % of the flow", "number"),
            Column("of the variance", "", "number"),
        ]
    rows = tuple(
        (
            input_words(part.source),
            *(cell for hold in holds.values() for cell in _part(hold, part.source)),
            REACHES[part.shared],
        )
        for part in listed
    )
    note = (
        "Standard flow of the fastest hold"
        f"{' and of the slowest' * (len(holds) > 1)}. ±: 95 % interval from this input alone."
    )
    return Table((*columns, Column("common to", kind="short")), rows, note)


def _part(hold: SettledPoint, source: Source) -> tuple[str, str]:
    for part in hold.budget:
        if part.source == source:
            relative = 100 * part.u95_m3_s / abs(hold.standard_flow.value)
            return significant(relative, 2), percent(part.share)
    return NONE, NONE


def sensors_table(result: RunResult, units: UnitSystem) -> Table:
    """Each sensor, how wrong its data sheet lets it be, and where that is written."""
    rows = tuple(
        (
            _ROLES.get(sensor.role, sensor.role),
            _part_and_range(sensor, units),
            "; ".join(_limit(limit, units) for limit in sensor.limits) or "not known",
            "; ".join(dict.fromkeys(limit.source for limit in sensor.limits)) or NONE,
        )
        for sensor in result.sensors
    )
    columns = (
        Column("sensor", kind="short"),
        Column("part"),
        Column("may be wrong by"),
        Column("source"),
    )
    return Table(columns, rows)


def _part_and_range(sensor: SensorFacts, units: UnitSystem) -> str:
    if sensor.range_pa is None:
        return sensor.part
    unit = units.differential_pressure
    low, high = (significant(unit.difference_from_si(end), 3) for end in sensor.range_pa)
    return f"{sensor.part}, {low} to {high} {unit.label}"


def _limit(limit: SensorLimit, units: UnitSystem) -> str:
    if limit.quantity in {"gain", "humidity"}:
        words = "gain" if limit.quantity == "gain" else "relative humidity"
        return f"{words} ±{percent(limit.half_width)}"
    unit, words = {
        "zero_pa": (units.differential_pressure, "zero, before it is taken,"),
        "linearity_pa": (units.differential_pressure, "linearity"),
        "pressure_pa": (units.station_pressure, "pressure"),
        "temperature_k": (units.temperature, "temperature"),
    }[limit.quantity]
    return f"{words} ±{significant(unit.difference_from_si(limit.half_width), 2)} {unit.label}"


def channels_table(result: RunResult) -> Table:
    """How much of the run each channel covers."""
    columns = (
        Column("channel", kind="short"),
        Column("time covered", kind="number"),
        Column("gaps", kind="number"),
        Column("longest gap", "s", "number"),
        Column("it begins at", "min:s", "number"),
        Column("not renewed", "of the readings", "number"),
        Column("faulty", "of the readings", "number"),
    )
    rows = tuple(
        (
            CHANNELS[channel.channel],
            percent(channel.covered, 3),
            str(channel.gaps),
            f"{channel.longest_gap_s:.1f}" if channel.gaps else NONE,
            NONE if channel.longest_gap_start_s is None else minutes(channel.longest_gap_start_s),
            NONE if channel.stale is None else percent(channel.stale),
            NONE if channel.faulty is None else percent(channel.faulty),
        )
        for channel in result.quality.channels
    )
    return Table(columns, rows)


def notes_table(result: RunResult) -> Table:
    """What people said, word for word."""
    columns = (Column("when"), Column("what"), Column("value"), Column("where"))
    rows = tuple(
        (
            note.at or (minutes(note.time_s) if note.time_s is not None else NONE),
            note.what,
            note.value,
            note.place or NONE,
        )
        for note in result.notes
    )
    return Table(columns, rows)

"""The report's tables of flows as text in cells, for page and terminal alike."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pullcurve.measure.points import Flow
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.report.result import RunResult
from pullcurve.report.sentences import (
    flow_state,
    names_explained,
    point_name,
    shown,
    shown_flow,
    shown_temperature,
)
from pullcurve.results import Quantity
from pullcurve.rounding import Measured

Cell = str | Measured
NONE: Final = "–"
WITHHELD: Final = "withheld"


@dataclass(frozen=True)
class Column:
    """`kind` says what the cells hold: words, short words, one number, or measured (with its ±)."""

    name: str
    unit: str = ""
    kind: str = "words"


@dataclass(frozen=True)
class Table:
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""


_Filled = tuple[Column, Sequence[Cell]]


def points_table(result: RunResult, units: UnitSystem) -> Table:
    """The settled points in the order of time; a column that no point fills is left out."""
    points, flow, pressure = result.points, units.volume_flow, units.differential_pressure
    ports = [point.flow_port for point in points]
    blower = [_quantity(point.vacuum_blower_pa, units.vacuum) for point in points]
    tank = [_quantity(point.vacuum_tank_pa, units.vacuum) for point in points]
    heat = [_temperature(point.discharge_temperature_k, units.temperature) for point in points]
    note = (
        "±: 95 % interval. Standard flow: the mass that passes the meter, as volume at "
        f"{result.reference_conditions}. "
    )
    if any(ports):
        note += "Flow at the port: the same mass as volume in the state of the air there. "
    note += names_explained(points)
    return _filled(
        (
            (Column("hold", kind="number"), [point_name(point, points) for point in points]),
            (
                measured_column("speed", units.speed),
                [shown(point.speed_rpm, units.speed) for point in points],
            ),
            (
                measured_column("differential pressure", pressure),
                [shown(point.differential_pressure_pa, pressure) for point in points],
            ),
            (
                measured_column("standard flow", flow),
                [
                    WITHHELD if point.withheld else shown(point.standard_flow, flow)
                    for point in points
                ],
            ),
            (
                measured_column(f"flow at the port{_one_basis(ports)}", flow),
                [_flow(each, flow) for each in ports],
            ),
            (measured_column("vacuum at the blower", units.vacuum), blower),
            (measured_column("vacuum in the tank", units.vacuum), tank),
            (Column("discharge temperature", units.temperature.label, "number"), heat),
        ),
        note.strip(),
    )


def places_table(result: RunResult, units: UnitSystem) -> Table:
    """The same air at each place, with its state there, for the points that state a flow."""
    points, unit = result.stated, units.volume_flow
    columns: list[_Filled] = [
        (Column("hold", kind="number"), [point_name(point, result.points) for point in points]),
        (
            measured_column("mass flow", units.mass_flow),
            [_quantity(point.mass_flow_kg_s, units.mass_flow) for point in points],
        ),
    ]
    for place, flows in (
        ("at the meter's tap", [point.flow_tap for point in points]),
        ("at the port", [point.flow_port for point in points]),
        ("at the blower's inlet", [point.flow_inlet for point in points]),
    ):
        basis = _one_basis(flows)
        columns += [
            (measured_column(f"{place}{basis}", unit), [_flow(flow, unit) for flow in flows]),
            (
                Column("state there", kind="short"),
                [_state(flow, units, with_basis=not basis) for flow in flows],
            ),
        ]
    return _filled(
        columns,
        "The mass is measured at the meter. The state of the air at a place is read from a sensor "
        "there where there is one, and else computed from that of the open air.",
    )


def measured_column(name: str, unit: DisplayUnit) -> Column:
    return Column(name, unit.label, "measured")


def _filled(columns: Sequence[_Filled], note: str) -> Table:
    filled = [(column, cells) for column, cells in columns if any(each != NONE for each in cells)]
    rows = tuple(zip(*(cells for _, cells in filled), strict=True))
    return Table(tuple(column for column, _ in filled), rows, note)


def _one_basis(flows: Sequence[Flow | None]) -> str:
    """`, measured` or `, modelled` where that holds for all, for the column's heading."""
    bases = {flow.basis for flow in flows if flow is not None}
    return f", {bases.pop()}" if len(bases) == 1 else ""


def _quantity(quantity: Quantity | None, unit: DisplayUnit) -> Cell:
    return NONE if quantity is None else shown(quantity, unit)


def _flow(flow: Flow | None, unit: DisplayUnit) -> Cell:
    return NONE if flow is None else shown_flow(flow, unit)


def _state(flow: Flow | None, units: UnitSystem, *, with_basis: bool) -> Cell:
    if flow is None:
        return NONE
    state = flow_state(flow, units)
    return f"{state}, {flow.basis}" if with_basis else state


def _temperature(temperature_k: float | None, unit: DisplayUnit) -> Cell:
    return NONE if temperature_k is None else shown_temperature(temperature_k, unit)

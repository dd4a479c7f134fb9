"""Settled points as they are told: speed, flow at each place, budget, or why none is stated."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
import pandas as pd

from pullcurve.measure.flow import Flows, Volume
from pullcurve.measure.inputs import FlowResult, Source
from pullcurve.measure.settled_points import Stretch
from pullcurve.results import NotNegative, Number, Quantity, Share, doc
from pullcurve.rounding import percent
from pullcurve.stream.records import rows_of
from pullcurve.uncertainty import Reach

# Kind of the finding for which no flow is stated: those with words for it in the catalogue.
Withheld = Literal["tubes_reversed", "sensor_clipped", "no_solution"]


@dataclass(frozen=True)
class SharedInputs:
    """Parts of a value's standard uncertainty that other values share, by the input's name.

    Each is sensitivity times standard uncertainty, with its sign and in the value's unit. The
    covariance of two values of one run is the sum of the products of their parts over both
    mappings; that of two runs with one meter the sum over `meter` alone. Inputs that are not
    named are 0.
    """

    run: Annotated[dict[Source, float], doc("one error for all points of the run")]
    meter: Annotated[dict[Source, float], doc("one error for all runs with the meter")]


@dataclass(frozen=True)
class MeteredQuantity(Quantity):
    """A flow that follows from the meter, with what it shares with other flows."""

    shared_inputs: SharedInputs


@dataclass(frozen=True)
class Flow:
    """Volume flow at one place and state, in cubic metres a second."""

    value_m3_s: float
    u95_m3_s: NotNegative
    basis: Annotated[
        Literal["measured", "modelled"], doc("whether the state of the air there was measured")
    ]
    pressure_pa: Annotated[float, doc("absolute pressure of the air there")]
    temperature_k: Annotated[float, doc("temperature of the air there")]
    shared_inputs: SharedInputs


@dataclass(frozen=True)
class Contribution:
    """One input's part in the uncertainty of a point's standard flow."""

    source: Source
    share: Annotated[Share, doc("of the variance, all together 1")]
    u95_m3_s: Annotated[
        NotNegative, doc("its part of the interval; the root of the sum of squares is the whole")
    ]
    shared: Annotated[
        Literal["point", "run", "meter"],
        doc("independent for each point, common to the run's points, or to the meter's runs"),
    ]


@dataclass(frozen=True, kw_only=True)
class SettledPoint:
    """A stretch in which speed and flow held still. Its flows are null where it is withheld."""

    point: Annotated[Number, doc("number in the order of time")]
    sweep: Number
    hold: Annotated[Number, doc("number within its sweep")]
    start_s: float
    end_s: float
    withheld: Annotated[
        Withheld | None,
        doc("kind of the finding for which no flow is stated, null where one is"),
    ] = None
    speed_rpm: Annotated[Quantity, doc("of the blower's shaft")]
    differential_pressure_pa: Quantity
    mass_flow_kg_s: MeteredQuantity | None
    flow_tap: Annotated[Flow | None, doc("actual flow at the meter's upstream tap")]
    flow_port: Annotated[Flow | None, doc("actual flow at the machine's port")]
    flow_inlet: Annotated[
        Flow | None, doc("the metered mass at the state of the air at the blower's inlet")
    ]
    standard_flow_m3_s: MeteredQuantity | None
    budget: Annotated[tuple[Contribution, ...], doc("of the standard flow, the largest part first")]
    vacuum_blower_pa: Quantity | None
    vacuum_tank_pa: Quantity | None
    discharge_temperature_k: float | None
    pulsation_ratio: Annotated[
        NotNegative, doc("standard deviation of the differential pressure over its mean")
    ]
    pulsation_error: Annotated[
        Quantity,
        doc(
            "what pulsation makes of the root of the mean differential pressure, relative; "
            "taken off the flows"
        ),
    ]
    reynolds_number: Annotated[float | None, doc("of the meter")]
    discharge_coefficient: Annotated[float | None, doc("as used at this Reynolds number")]
    expansibility: float | None
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a point that neither states its flows nor says why they are withheld."""
        flows = (self.mass_flow_kg_s, self.flow_tap, self.standard_flow_m3_s)
        if any((flow is None) != (self.withheld is not None) for flow in flows):
            raise ValueError("a point states its flows, or says why they are withheld")

    @property
    def standard_flow(self) -> MeteredQuantity:
        """The standard flow of a point that states one."""
        if self.standard_flow_m3_s is None:
            raise ValueError(f"the flow of point {self.point} is withheld")
        return self.standard_flow_m3_s


@dataclass(frozen=True)
class RejectedStretch:
    """A stretch that was looked at and gives no settled point."""

    start_s: float
    end_s: float
    speed_rpm: float
    reason: str


@dataclass(frozen=True)
class Zero:
    """A stretch with the engine off, from which the sensor's zero is taken."""

    start_s: float
    end_s: float
    zero_pa: Quantity


def points_of(points: pd.DataFrame, flows: Flows | None) -> tuple[SettledPoint, ...]:
    """Tell the settled points.

    Parameters
    ----------
    points
        A row each, with the columns of the glossary; `withheld` says of which no flow is stated.
    flows
        Theirs, in the same order; None where there is none.
    """
    return tuple(_point(i, row, flows) for i, row in enumerate(rows_of(points)))


def rejected_of(stretches: Iterable[Stretch]) -> tuple[RejectedStretch, ...]:
    """Tell the stretches that give no settled point."""
    return tuple(
        RejectedStretch(each.start_s, each.end_s, each.speed_rpm, each.rejected)
        for each in stretches
    )


def zeros_of(table: pd.DataFrame) -> tuple[Zero, ...]:
    """Tell the zeros.

    Parameters
    ----------
    table
        That of `Zeros`: a row an engine-off stretch, its zero and standard uncertainty in Pa.
    """
    return tuple(
        Zero(row.start_s, row.end_s, Quantity(row.zero_pa, 2 * row.zero_u_pa))
        for row in rows_of(table)
    )


def _point(i: int, row: Any, flows: Flows | None) -> SettledPoint:
    stated = None if row.withheld else flows
    return SettledPoint(
        point=row.point,
        sweep=row.sweep,
        hold=row.hold,
        start_s=row.start_s,
        end_s=row.end_s,
        withheld=row.withheld or None,
        speed_rpm=Quantity(row.speed_rpm, row.speed_u95_rpm),
        differential_pressure_pa=Quantity(
            row.differential_pressure_pa, row.differential_pressure_u95_pa
        ),
        mass_flow_kg_s=_metered(stated.mass, i) if stated else None,
        flow_tap=_volume(stated.tap, i, row.tap_temperature_k) if stated else None,
        flow_port=_volume(stated.port, i, row.ambient_temperature_k) if stated else None,
        flow_inlet=_volume(stated.inlet, i, row.ambient_temperature_k) if stated else None,
        standard_flow_m3_s=_metered(stated.standard, i) if stated else None,
        budget=_budget(stated.standard, i) if stated else (),
        vacuum_blower_pa=_known(row.vacuum_blower_pa, row.vacuum_blower_u95_pa),
        vacuum_tank_pa=_known(row.vacuum_tank_pa, row.vacuum_tank_u95_pa),
        discharge_temperature_k=(
            None if np.isnan(row.discharge_temperature_k) else row.discharge_temperature_k
        ),
        pulsation_ratio=row.pulsation_ratio,
        pulsation_error=Quantity(row.pulsation_error, row.pulsation_error_u95),
        reynolds_number=row.reynolds_number if stated else None,
        discharge_coefficient=float(stated.state.coefficient[i]) if stated else None,
        expansibility=float(stated.state.expansibility[i]) if stated else None,
        remarks=_remarks(row),
    )


def _remarks(row: Any) -> tuple[str, ...]:
    if not row.clipped_share or row.withheld:
        return ()
    return (f"{percent(row.clipped_share)} of its blocks touch the end of the sensor's range",)


def _metered(result: FlowResult, i: int) -> MeteredQuantity:
    return MeteredQuantity(
        float(result.value[i]),
        float(result.expanded_uncertainty()[i]),
        _shared_inputs(result, i),
    )


def _volume(volume: Volume, i: int, temperature_k: float) -> Flow:
    return Flow(
        value_m3_s=float(volume.result.value[i]),
        u95_m3_s=float(volume.result.expanded_uncertainty()[i]),
        basis=volume.basis,
        pressure_pa=float(volume.pressure[i]),
        temperature_k=temperature_k,
        shared_inputs=_shared_inputs(volume.result, i),
    )


def _shared_inputs(result: FlowResult, i: int) -> SharedInputs:
    def of(reach: Reach) -> dict[Source, float]:
        return {
            entry.name: float(part)
            for entry, part in zip(result.inputs, result.contributions[:, i], strict=True)
            if entry.shared == reach and part != 0
        }

    return SharedInputs(run=of(Reach.RUN), meter=of(Reach.METER))


def _budget(result: FlowResult, i: int) -> tuple[Contribution, ...]:
    parts = result.contributions[:, i]
    combined = result.standard_uncertainty[i]
    if combined == 0:
        return ()
    factor = result.expanded_uncertainty()[i] / combined
    found = [
        Contribution(
            source=entry.name,
            share=float((part / combined) ** 2),
            u95_m3_s=float(factor * abs(part)),
            shared=entry.shared.value,
        )
        for entry, part in zip(result.inputs, parts, strict=True)
        if part != 0
    ]
    return tuple(sorted(found, key=lambda part: -part.share))


def _known(value: float, u95: float) -> Quantity | None:
    return None if np.isnan(value) else Quantity(value, u95)

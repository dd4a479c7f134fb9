"""A run, measured: channels to zeros, settled points and flow; nothing yet of what spoils them."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.measure import flow, pulsation
from pullcurve.measure.air_state import Surroundings, surroundings
from pullcurve.measure.channels import Channels, to_si
from pullcurve.measure.note_placing import no_notes, place_notes
from pullcurve.measure.offset import Offset, Sensor, find_offset
from pullcurve.measure.offset_readings import readings
from pullcurve.measure.settled_points import Stretch, find_settled
from pullcurve.measure.sweep_curve import BELT_SLIP, Known, Unread
from pullcurve.measure.swirl import is_disturbed, restlessness, straightness_u95
from pullcurve.measure.zeros import Zeros, find_zeros
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import Log
from pullcurve.stream.records import RunRecords

STATES = [
    "ambient_pressure_pa",
    "ambient_temperature_k",
    "ambient_humidity",
    "meter_pressure_pa",
    "blower_pressure_pa",
    "tank_pressure_pa",
    "discharge_temperature_k",
]
MEASURED = [
    *("sweep", "hold", "start_s", "end_s", "speed_rpm", "speed_u_rpm"),
    *("differential_pressure_pa", "scatter_pa", "ripple_pa2", "ripple_u_pa2", "pulsation_ratio"),
    *("restlessness", "clipped_share", *STATES),
]
# What a table of another logger need not say.
_PLAIN = {"boot": 1, "differential_pressure_sd_pa": 0.0, "clipped_block": False} | dict.fromkeys(
    STATES, np.nan
)
SCATTER_PARTS = 10  # of a point, whose means tell its scatter

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Measured:
    """What channels come to. All tables are pandas frames with the unit at the end of a column's
    name.

    `points` has a row a settled point (the columns are listed in DEVELOPERS.md); `rejected`
    the stretches that were looked at and do not count, with the reason. `offsets` are what the
    sweeps that tell something of an offset beyond the zero say of it.
    """

    rig: Rig
    channels: Channels
    zeros: Zeros
    flows: flow.Flows | None
    around: Surroundings | None
    points: pd.DataFrame
    rejected: list[Stretch]
    notes: pd.DataFrame
    offsets: list[Offset]


@dataclass(frozen=True)
class Measurement(Measured):
    """A board's run as it was measured."""

    log: Log
    records: RunRecords


def measure(
    log: Log, records: RunRecords, rig: Rig, stretches: list[Stretch] | None = None
) -> Measurement:
    """Measure the settled points of a board's run: speed and flow, each with its uncertainty.

    Parameters
    ----------
    log : where the records and what people noted came from
    records : of the board
    rig : what was on the machine
    stretches : what counts as settled, in place of what is found here

    Raises
    ------
    LogError, RigError
        With a sentence, where log or rig lack what a flow needs.
    """
    began_s = log.received[0].host_time.timestamp() + records.host_offset_s
    found = measure_channels(
        to_si(records, rig, str(log.path)),
        rig,
        lambda points: place_notes(log.host_records, points, began_s),
        stretches,
    )
    parts = {each.name: getattr(found, each.name) for each in fields(found)}
    return Measurement(**parts, log=log, records=records)


def measure_channels(
    channels: Channels,
    rig: Rig,
    notes_at: Callable[[pd.DataFrame], pd.DataFrame] = no_notes,
    stretches: list[Stretch] | None = None,
) -> Measured:
    """Measure the settled points of channels, wherever they come from.

    Parameters
    ----------
    channels : in SI, with the accuracies of the instruments
    rig : what was on the machine
    notes_at : what people noted, given the settled points that a note may name
    stretches : what counts as settled, in place of what is found here

    Raises
    ------
    RigError
        With a sentence, where channels and rig lack what a flow needs.
    """
    channels, zeros = _zeroed(channels)
    if stretches is None:
        stretches = find_settled(channels.table)
    kept = [stretch for stretch in stretches if not stretch.rejected]
    rejected = [stretch for stretch in stretches if stretch.rejected]
    points = measured_points(channels, zeros, kept)
    notes = notes_at(points)
    flows, around = None, None
    offsets: list[Offset] = []
    if len(points):
        around = surroundings(points, zeros.table, channels.table, channels.instruments, rig, notes)
        pressure = pressure_at(points, channels, zeros, rig)
        flows = flow.solve(pressure, around, rig)
        known = _known(points, flows, around, rig, channels)
        offsets, pressure = _less_offset(pressure, points, known, zeros, channels)
        flows = flow.solve(pressure, around, rig)
        points = _with_flows(points, pressure, flows, around)
    return Measured(rig, channels, zeros, flows, around, points, rejected, notes, offsets)


def _zeroed(channels: Channels) -> tuple[Channels, Zeros]:
    """The channels with what follows from the engine-off stretches, and these."""
    table = channels.table.assign(
        **{name: value for name, value in _PLAIN.items() if name not in channels.table}
    )
    zero_bound = channels.instruments.differential_pressure.zero_bound
    zeros = find_zeros(table, channels.span_pa, channels.count_pa, zero_bound)
    table["zeroed_dp_pa"] = table["sensor_dp_pa"] - zeros.at(table["time_s"].to_numpy())
    return replace(channels, table=table), zeros


def _known(
    points: pd.DataFrame,
    flows: flow.Flows,
    around: Surroundings,
    rig: Rig,
    channels: Channels,
) -> Known:
    """What is known of every point's machine, for the curve that a sweep may follow."""
    station = around.pressure.value
    nearest, unread = station, "path"
    for place, behind in (("tap", "pipe"), ("port", "filter"), ("inlet", "nothing")):
        on_the_way = place != "tap" or rig.meter.position == "clean_pipe"
        if on_the_way and place in around.places and around.places[place].source == "measured":
            nearest, unread = around.places[place].pressure, behind
    return Known(
        speed_rpm=points["speed_rpm"].to_numpy(),
        pressure_ratio=nearest / station,
        unread=cast("Unread", unread),
        differential_ratio=points["differential_pressure_pa"].to_numpy() / station,
        meter=np.log(flows.state.density * flows.state.expansibility**2),
        belt=channels.blower_shaft_from == "engine_shaft",
        spoil=rig.meter.position == "clean_pipe",
    )


def _less_offset(
    pressure: flow.Pressure,
    points: pd.DataFrame,
    known: Known,
    zeros: Zeros,
    channels: Channels,
) -> tuple[list[Offset], flow.Pressure]:
    """What each sweep says of an offset, and the pressure without it and with its doubt."""
    accuracy, span = channels.instruments.differential_pressure, channels.span_pa
    sensor = Sensor(
        *channels.instruments.range_pa,
        channels.count_pa,
        accuracy.zero_bound * span,
        accuracy.nonlinearity * span,
    )
    offsets: list[Offset] = []
    at_zeros: dict[int, float] = {}
    taken_pa, u_pa = np.zeros(len(points)), np.zeros(len(points))
    for _, sweep in points.groupby("sweep"):
        at = (sweep["point"] - 1).to_numpy()
        own = known.of(at)
        if is_disturbed(points) or not np.isfinite(own.meter).all():
            continue  # behind eddies no curve is smooth enough to tell an offset
        found = find_offset(sweep, readings(sweep, zeros.table, channels.table), own, sensor)
        if found is None:
            continue
        offsets.append(found)
        taken_pa[at], u_pa[at] = found.taken_off_pa, found.u_pa
        if found.named:
            at_zeros |= found.at_zeros_pa
    return offsets, replace(
        pressure,
        offset=taken_pa,
        offset_u=u_pa,
        zero_half_width=zeros.half_width_pa(at_zeros),
    )


def pressure_at(
    points: pd.DataFrame,
    channels: Channels,
    zeros: Zeros,
    rig: Rig,
) -> flow.Pressure:
    """The differential pressure of each point, with all that makes it uncertain."""
    mean = points["differential_pressure_pa"].to_numpy()
    lobe_hz = pulsation.lobe_frequency(points["speed_rpm"].to_numpy(), rig.machine.lobes)
    seen = points["ripple_pa2"].to_numpy() / mean**2
    seen_u = points["ripple_u_pa2"].to_numpy() / mean**2
    error, error_u = pulsation.correction(seen, seen_u, lobe_hz)
    instruments = channels.instruments
    aliasing_u = pulsation.aliasing(
        np.sqrt(np.maximum(seen, 0)),
        lobe_hz,
        (points["end_s"] - points["start_s"]).to_numpy(),
        instruments.period_us,
        instruments.jitter_us,
    )
    return flow.Pressure(
        mean=mean,
        scatter=points["scatter_pa"].to_numpy(),
        scatter_freedom=SCATTER_PARTS - 1,
        pulsation=error,
        pulsation_u=error_u,
        aliasing_u=aliasing_u,
        zero_half_width=zeros.half_width_pa(),
        span=channels.span_pa,
        accuracy=instruments.differential_pressure,
        straightness_u95=straightness_u95(rig.meter, disturbed=is_disturbed(points)),
    )


def measured_points(channels: Channels, zeros: Zeros, kept: list[Stretch]) -> pd.DataFrame:
    """A row a settled point: when, how fast, and the means of the channels."""
    table = channels.table
    shaft = channels.shafts[channels.blower_shaft_from]
    stops = zeros.table["end_s"].to_numpy() if len(zeros.table) else np.empty(0)
    rows = []
    sweep, hold, stops_before = 0, 0, -1
    for stretch in kept:
        inside = table[(table["time_s"] >= stretch.start_s) & (table["time_s"] <= stretch.end_s)]
        passed = int((stops < stretch.start_s).sum())
        if passed != stops_before:
            sweep, hold, stops_before = sweep + 1, 0, passed
        hold += 1
        rpm, rpm_u = shaft.between(stretch.start_s, stretch.end_s)
        if not np.isfinite(rpm):
            rpm, rpm_u = stretch.speed_rpm / channels.belt_ratio, 0.005 * stretch.speed_rpm
        if channels.blower_shaft_from == "engine_shaft":
            rpm_u = float(np.hypot(rpm_u, BELT_SLIP / np.sqrt(3) * rpm))
        values = inside["zeroed_dp_pa"].to_numpy()
        mean = float(np.nanmean(values))
        ripple, ripple_u = _ripple(inside["differential_pressure_sd_pa"].to_numpy(), values, zeros)
        rows.append(
            {
                "sweep": sweep,
                "hold": hold,
                "start_s": stretch.start_s,
                "end_s": stretch.end_s,
                "speed_rpm": rpm * channels.belt_ratio,
                "speed_u_rpm": rpm_u * channels.belt_ratio,
                "differential_pressure_pa": mean,
                "scatter_pa": _scatter(values),
                "ripple_pa2": ripple,
                "ripple_u_pa2": ripple_u,
                "pulsation_ratio": float(np.sqrt(max(ripple, 0.0))) / abs(mean) if mean else 0.0,
                "restlessness": restlessness(inside),
                "clipped_share": float(inside["clipped_block"].mean()),
                **{
                    column: float(inside[column].mean()) if column in inside else np.nan
                    for column in STATES
                },
            }
        )
    points = pd.DataFrame(rows, columns=MEASURED)
    points.insert(0, "point", range(1, len(points) + 1))
    return points


def _scatter(values: Array) -> float:
    """Standard uncertainty of the mean of block means that may hang together: of the means
    of ten equal parts, which are longer than the correlation of wander and pulsation."""
    values = values[np.isfinite(values)]
    if len(values) < 20:
        return float(values.std(ddof=1)) if len(values) > 1 else 0.0
    parts = np.array([part.mean() for part in np.array_split(values, SCATTER_PARTS)])
    return float(parts.std(ddof=1) / np.sqrt(len(parts)))


def _ripple(spread: Array, means: Array, zeros: Zeros) -> tuple[float, float]:
    """Variance of the differential pressure that is no noise of the sensor, within blocks and
    between them, and its standard uncertainty, Pa^2."""
    within = spread[np.isfinite(spread)] ** 2
    if not len(within):
        return 0.0, 0.0
    total = float(within.mean() + np.nanvar(means))
    scatter = float(within.std() / np.sqrt(len(within)))
    if np.isnan(zeros.noise_pa):  # no stretch tells the noise: anything up to all of it
        return total / 2, float(np.hypot(total / np.sqrt(12), scatter))
    noise = zeros.noise_pa**2
    return total - noise, float(np.hypot(0.1 * noise, scatter))


def _with_flows(
    points: pd.DataFrame, pressure: flow.Pressure, flows: flow.Flows, around: Surroundings
) -> pd.DataFrame:
    columns: dict[str, Array] = {
        "ambient_pressure_pa": around.pressure.value,
        "ambient_temperature_k": around.temperature.value,
        "ambient_humidity": around.humidity.value,
        "tap_pressure_pa": flows.tap.pressure,
        "tap_temperature_k": flows.state.temperature,
        "port_pressure_pa": flows.port.pressure,
        "inlet_pressure_pa": flows.inlet.pressure,
        "reynolds_number": flows.state.reynolds,
        "differential_pressure_pa": flows.differential_pressure.value,
        "speed_u95_rpm": 2 * points["speed_u_rpm"].to_numpy(),
        "differential_pressure_u95_pa": flows.differential_pressure.expanded_uncertainty(),
        "pulsation_error": pressure.pulsation,
        "pulsation_error_u95": 2 * pressure.pulsation_u,
    }
    for name, place in (("blower", "inlet"), ("tank", "port")):
        if place in around.places:
            at = around.places[place]
            own = 0.0 if at.compared else around.pressure.half_width
            columns[f"vacuum_{name}_pa"] = around.pressure.value - at.pressure
            columns[f"vacuum_{name}_u95_pa"] = 2 * np.hypot(at.half_width, own) / np.sqrt(3)
        else:
            columns[f"vacuum_{name}_pa"] = columns[f"vacuum_{name}_u95_pa"] = np.full(
                len(points), np.nan
            )
    named = {
        "mass_flow_{}kg_s": flows.mass,
        "flow_tap_{}m3_s": flows.tap.result,
        "flow_port_{}m3_s": flows.port.result,
        "flow_inlet_{}m3_s": flows.inlet.result,
        "standard_flow_{}m3_s": flows.standard,
    }
    for name, result in named.items():
        columns[name.format("")] = result.value
        columns[name.format("u95_")] = result.expanded_uncertainty()
    return points.assign(**columns)

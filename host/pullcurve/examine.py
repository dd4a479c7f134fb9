"""A run, reduced: the tables that every report, page and comparison starts from."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.checks.trouble_search import CLIPPED_SHARE, find_troubles
from pullcurve.checks.wrong_marks import marks_doubt
from pullcurve.errors import LogError
from pullcurve.measure import flow, pulsation
from pullcurve.measure.air_state import Surroundings, surroundings
from pullcurve.measure.channels import Channels, to_si
from pullcurve.measure.clipping import clipped_blocks
from pullcurve.measure.note_placing import place_notes
from pullcurve.measure.offset import Offset, Sensor, find_offset
from pullcurve.measure.offset_readings import readings
from pullcurve.measure.points import Withheld
from pullcurve.measure.settled_points import Stretch, find_settled
from pullcurve.measure.sweep_curve import Known, Unread
from pullcurve.measure.swirl import is_disturbed, restlessness, straightness_u95
from pullcurve.measure.troubles import Trouble
from pullcurve.measure.zeros import Zeros, find_zeros
from pullcurve.rig.loading import load_rig, parse_rig
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS, DifferentialPressureAccuracy
from pullcurve.run_log.reading import Log, read_log
from pullcurve.sources.replay import Replay
from pullcurve.stream.header import Channel
from pullcurve.stream.records import Assembler, RunRecords

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
SCATTER_PARTS = 10  # of a point, whose means tell its scatter
BELT_SLIP = 0.02  # of the blower's speed: what a belt may slip unseen (judgement)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Run:
    """One run. All tables are pandas frames with the unit at the end of a column's name.

    `points` has a row a settled point (the columns are listed in DEVELOPERS.md); `rejected`
    the stretches that were looked at and do not count, with the reason. `offsets` are what the
    sweeps that tell something of an offset beyond the zero say of it.
    """

    log: Log
    rig: Rig
    records: RunRecords
    channels: Channels
    zeros: Zeros
    flows: flow.Flows | None
    around: Surroundings | None
    points: pd.DataFrame
    rejected: list[Stretch]
    notes: pd.DataFrame
    offsets: list[Offset]
    troubles: list[Trouble]


def read_run(path: str | Path, rig: str | Path | Rig | None = None) -> Run:
    """Read and reduce a run log.

    rig: the rig, or its file, in place of the one that the log carries. Raises LogError or
    RigError with a sentence that says what is wrong and what to do.
    """
    log = read_log(Path(path))
    used = rig if isinstance(rig, Rig) else rig_of(log, rig)
    assembler = Assembler()
    with Replay(log) as source:
        for received in source:
            assembler.add(received)
    return reduce_run(log, assembler.finish(str(path)), used)


def rig_of(log: Log, path: str | Path | None) -> Rig:
    """The rig in a file, or without one the rig that the log carries."""
    if path is not None:
        return load_rig(path)
    text = log.rig_text()
    if text is None:
        raise LogError(
            f"{log.path}: no rig is written in it, so nothing says what the meter's bores are; "
            "name the rig's file with --rig"
        )
    return parse_rig(text, f"the rig in {log.path.name}")


def one_and_the_same(one: Run, other: Run) -> bool:
    """Whether two logs hold one run: true for a copy, even one with notes added."""

    def identity(run: Run) -> tuple[object, ...]:
        received = run.log.received
        return run.records.header.board_id, received[0], received[-1], len(received)

    return identity(one) == identity(other)


def reduce_run(
    log: Log, records: RunRecords, rig: Rig, stretches: list[Stretch] | None = None
) -> Run:
    """From records to settled points with flow and uncertainty.

    stretches: what counts as settled, in place of what is found here.
    """
    channels = to_si(records, rig)
    table = channels.table
    sensor = records.header.sensor("meter_dp")
    part = SENSOR_PARTS.get(sensor.part) if sensor else None
    if sensor is None or part is None or part.differential_pressure is None:
        raise LogError(
            f"{log.path}: its differential-pressure sensor is of a part that this version does "
            "not know; use a later version of pullcurve"
        )
    accuracy = part.differential_pressure
    turning = (table["speed_rpm"] != 0).to_numpy()
    table["clipped_block"] = clipped_blocks(records.blocks, turning)
    zeros = find_zeros(table, channels.span_pa, channels.count_pa, accuracy.zero_bound)
    table["zero_pa"] = zeros.at(table["time_s"].to_numpy())
    if stretches is None:
        zeroed = table["differential_pressure_pa"] - table["zero_pa"]
        stretches = find_settled(table.assign(differential_pressure_pa=zeroed))
    kept = [stretch for stretch in stretches if not stretch.rejected]
    rejected = [stretch for stretch in stretches if stretch.rejected]
    points = measured_points(channels, zeros, kept)
    began_s = log.received[0].host_time.timestamp() + records.host_offset_s
    notes = place_notes(log.host_records, points, began_s)
    flows, around = None, None
    offsets: list[Offset] = []
    if len(points):
        around = surroundings(points, zeros.table, table, records, rig, notes)
        pressure = pressure_at(points, channels, zeros, accuracy, records, rig)
        flows = flow.solve(pressure, around, rig)
        known = _known(points, flows, around, rig, channels)
        offsets, pressure = _less_offset(
            pressure, points, known, zeros, channels, sensor.channels[0], accuracy
        )
        flows = flow.solve(pressure, around, rig)
        points = _with_flows(points, flows, around)
    run = Run(
        log, rig, records, channels, zeros, flows, around, points, rejected, notes, offsets, []
    )
    run.troubles.extend(find_troubles(run))
    _bear_consequences(run)
    return run


def _bear_consequences(run: Run) -> None:
    """Withhold or widen what the troubles spoil."""
    points = run.points
    if points.empty:
        return
    kinds = {trouble.kind for trouble in run.troubles if trouble.consequence == "withheld"}
    if "tubes_reversed" in kinds:
        points["withheld"] = Withheld.TUBES_REVERSED
    if "sensor_clipped" in kinds:
        clipped = points["clipped_share"] > CLIPPED_SHARE
        points.loc[clipped, "withheld"] = Withheld.SENSOR_CLIPPED
    if run.flows is not None:
        points.loc[~run.flows.state.converged, "withheld"] = Withheld.NO_SOLUTION
    shaft = run.channels.blower_shaft_from
    doubt = marks_doubt(run, shaft)
    if doubt is not None:
        # Wide enough for every number of marks that fits.
        typed = run.channels.marks[shaft].marks_per_turn
        off = max(abs(typed / number - 1) for number in doubt.possible)
        points["speed_u95_rpm"] += 1.02 * off * points["speed_rpm"]


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
    channel: Channel,
    accuracy: DifferentialPressureAccuracy,
) -> tuple[list[Offset], flow.Pressure]:
    """What each sweep says of an offset, and the pressure without it and with its doubt."""
    span = channels.span_pa
    sensor = Sensor(
        min(channel.value_low, channel.value_high),
        max(channel.value_low, channel.value_high),
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
    accuracy: DifferentialPressureAccuracy,
    records: RunRecords,
    rig: Rig,
) -> flow.Pressure:
    mean = points["differential_pressure_pa"].to_numpy()
    lobe_hz = pulsation.lobe_frequency(points["speed_rpm"].to_numpy(), rig.machine.lobes)
    seen = points["ripple_pa2"].to_numpy() / mean**2
    seen_u = points["ripple_u_pa2"].to_numpy() / mean**2
    error, error_u = pulsation.correction(seen, seen_u, lobe_hz)
    header = records.header
    aliasing_u = pulsation.aliasing(
        np.sqrt(np.maximum(seen, 0)),
        lobe_hz,
        (points["end_s"] - points["start_s"]).to_numpy(),
        header.period_us,
        header.jitter_us,
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
        accuracy=accuracy,
        straightness_u95=straightness_u95(rig.meter, disturbed=is_disturbed(points)),
    )


def measured_points(channels: Channels, zeros: Zeros, kept: list[Stretch]) -> pd.DataFrame:
    """A row a settled point: when, how fast, and the means of the channels."""
    table = channels.table
    shaft = channels.marks[channels.blower_shaft_from]
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
        values = (inside["differential_pressure_pa"] - inside["zero_pa"]).to_numpy()
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
                "restlessness": restlessness(inside.assign(differential_pressure_pa=values)),
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


def _with_flows(points: pd.DataFrame, flows: flow.Flows, around: Surroundings) -> pd.DataFrame:
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
    return points.assign(**columns, withheld="")

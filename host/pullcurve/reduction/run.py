"""A run, reduced: the tables that every report, page and comparison starts from."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.errors import LogError
from pullcurve.physics import air
from pullcurve.reduction import flow
from pullcurve.reduction.channels import Channels, to_si
from pullcurve.reduction.notes import place_notes
from pullcurve.reduction.records import Assembler, RunRecords, rows_of
from pullcurve.reduction.settled import Stretch, find_settled
from pullcurve.reduction.zeros import Zeros, find_zeros
from pullcurve.rig.loading import check_station_pressure, load_rig, parse_rig, rig_fault
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import SENSOR_PARTS
from pullcurve.run_log.reading import Log, read_log
from pullcurve.run_log.replay import Replay

Array = NDArray[np.float64]

# Half-widths where a value was typed, or not known at all (judgement).
TYPED_PRESSURE_PA = 300.0
TYPED_TEMPERATURE_K = 3.0
TYPED_HUMIDITY = 0.2
UNKNOWN_HUMIDITY = (0.5, 0.5)
GAUGE_PA = 1700.0  # half a division of 1 inHg on a shop gauge, and its error


@dataclass(frozen=True)
class Run:
    """One run. All tables are pandas frames with the unit at the end of a column's name.

    `points` has a row a settled point (the columns are listed in DEVELOPERS.md); `rejected`
    the stretches that were looked at and do not count, with the reason.
    """

    log: Log
    rig: Rig
    records: RunRecords
    channels: Channels
    zeros: Zeros
    flows: flow.Flows | None
    points: pd.DataFrame
    rejected: list[Stretch]
    notes: pd.DataFrame


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


def reduce_run(log: Log, records: RunRecords, rig: Rig) -> Run:
    """From records to settled points with flow and uncertainty."""
    check_station_pressure(rig, lambda altitude: float(air.standard_pressure(altitude)))
    channels = to_si(records, rig)
    table = channels.table
    sensor = records.header.sensor("meter_dp")
    part = SENSOR_PARTS.get(sensor.part) if sensor else None
    if part is None or part.differential_pressure is None:
        raise LogError(
            f"{log.path}: its differential-pressure sensor is of a part that this version does "
            "not know; use a later version of pullcurve"
        )
    accuracy = part.differential_pressure
    zeros = find_zeros(table, channels.span_pa, accuracy.zero_bound)
    table["zero_pa"] = zeros.at(table["time_s"].to_numpy())
    stretches = find_settled(
        table.assign(differential_pressure_pa=table["differential_pressure_pa"] - table["zero_pa"])
    )
    kept = [stretch for stretch in stretches if not stretch.rejected]
    rejected = [stretch for stretch in stretches if stretch.rejected]
    points = _measured(channels, zeros, kept)
    began_s = log.received[0].host_time.timestamp() + records.host_offset_s
    notes = place_notes(log.host_records, points, began_s)
    flows = None
    if len(points):
        surrounding = _surrounding(points, records, rig, notes)
        pressure = flow.Pressure(
            mean=points["differential_pressure_pa"].to_numpy(),
            scatter=points["scatter_pa"].to_numpy(),
            pulsation=flow.pulsation_error(points["pulsation_ratio"].to_numpy()),
            zero_half_width=zeros.half_width_pa(),
            span=channels.span_pa,
            accuracy=accuracy,
        )
        flows = flow.solve(pressure, surrounding, rig)
        points = _with_flows(points, flows, surrounding)
    return Run(log, rig, records, channels, zeros, flows, points, rejected, notes)


def _measured(channels: Channels, zeros: Zeros, kept: list[Stretch]) -> pd.DataFrame:
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
        values = (inside["differential_pressure_pa"] - inside["zero_pa"]).to_numpy()
        mean = float(np.nanmean(values))
        spread = inside["differential_pressure_sd_pa"].to_numpy()
        noise = 0.0 if np.isnan(zeros.noise_pa) else zeros.noise_pa
        pulsing = float(np.sqrt(max(np.nanmean(spread**2) - noise**2, 0.0)))
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
                "pulsation_ratio": pulsing / abs(mean) if mean else 0.0,
                "clipped": int(inside["clipped"].sum()),
                **{
                    column: float(inside[column].mean()) if column in inside else np.nan
                    for column in (
                        "ambient_pressure_pa",
                        "ambient_temperature_k",
                        "ambient_humidity",
                        "meter_pressure_pa",
                        "blower_pressure_pa",
                        "tank_pressure_pa",
                        "discharge_temperature_k",
                    )
                },
            }
        )
    points = pd.DataFrame(rows)
    points.insert(0, "point", range(1, len(points) + 1))
    return points


def _scatter(values: Array) -> float:
    """Standard uncertainty of the mean of block means that may hang together: of the means
    of ten equal parts, which are longer than the correlation of wander and pulsation."""
    values = values[np.isfinite(values)]
    if len(values) < 20:
        return float(values.std(ddof=1)) if len(values) > 1 else 0.0
    parts = np.array([part.mean() for part in np.array_split(values, 10)])
    return float(parts.std(ddof=1) / np.sqrt(len(parts)))


def _surrounding(
    points: pd.DataFrame, records: RunRecords, rig: Rig, notes: pd.DataFrame
) -> flow.Air:
    """The air at each point, measured where a sensor is, else as typed in the rig."""
    site = rig.site
    pressure, pressure_bound = _measured_or_typed(
        points, records, "ambient_pressure_pa", "pressure", site.station_pressure, TYPED_PRESSURE_PA
    )
    if pressure is None:
        raise rig_fault(
            rig,
            "site",
            "no sensor measured the station pressure and none is typed: add station_pressure, "
            "read from a barometer on the site",
        )
    temperature, temperature_bound = _measured_or_typed(
        points,
        records,
        "ambient_temperature_k",
        "temperature",
        site.temperature_k,
        TYPED_TEMPERATURE_K,
    )
    if temperature is None:
        raise rig_fault(
            rig,
            "site",
            "no sensor measured the air's temperature and none is typed: add temperature",
        )
    humidity, humidity_bound = _measured_or_typed(
        points, records, "ambient_humidity", "humidity", site.humidity, TYPED_HUMIDITY
    )
    if humidity is None:
        humidity, humidity_bound = np.full(len(points), UNKNOWN_HUMIDITY[0]), UNKNOWN_HUMIDITY[1]
    tap = points["meter_pressure_pa"].to_numpy()
    tap_bound: float | Array = _bound(records, "meter_air", "pressure")
    inlet = points["blower_pressure_pa"].to_numpy()
    inlet_bound: float | Array = _bound(records, "blower_air", "pressure")
    if rig.meter.position == "clean_pipe":
        # Between meter and blower there is a short pipe, so one sensor may play both roles.
        loss, loss_bound = _loss_behind_meter(points, rig)
        if not np.isfinite(tap).all():
            tap, tap_bound = inlet + loss, inlet_bound + loss_bound
        elif not np.isfinite(inlet).all():
            inlet, inlet_bound = tap - loss, tap_bound + loss_bound
        if not np.isfinite(tap).all():
            raise rig_fault(
                rig,
                "meter.position",
                "a meter in the clean pipe needs the absolute pressure there: a sensor with the "
                "role meter_air",
            )
    if not np.isfinite(inlet).all():
        inlet, inlet_bound = _from_gauge(points, pressure, notes), GAUGE_PA
    return flow.Air(
        pressure=pressure,
        temperature=temperature,
        humidity=humidity,
        tap_pressure=tap,
        inlet_pressure=inlet,
        port_pressure=points["tank_pressure_pa"].to_numpy(),
        pressure_bound=pressure_bound,
        temperature_bound=temperature_bound,
        humidity_bound=humidity_bound,
        tap_pressure_bound=tap_bound,
        inlet_pressure_bound=inlet_bound,
        port_pressure_bound=_bound(records, "tank_air", "pressure"),
    )


def _loss_behind_meter(points: pd.DataFrame, rig: Rig) -> tuple[Array, Array]:
    """Pressure lost between the meter's upstream tap and the blower, and half its doubt, Pa.

    The tube's own loss is 5 % to 20 % of the differential pressure (ISO 5167-4:2003, 5.9, from
    memory); bends and pipe take up to one velocity head of the meter's pipe (judgement).
    """
    differential = np.abs(points["differential_pressure_pa"].to_numpy())
    head = differential * rig.meter.beta**4 / (1 - rig.meter.beta**4)
    return 0.125 * differential + 0.5 * head, 0.075 * differential + 0.5 * head


def _measured_or_typed(
    points: pd.DataFrame,
    records: RunRecords,
    column: str,
    quantity: str,
    typed: float | None,
    typed_bound: float,
) -> tuple[Array | None, float]:
    values = points[column].to_numpy()
    if np.isfinite(values).all():
        return values, _bound(records, "ambient_air", quantity)
    if typed is not None:
        return np.full(len(points), typed), typed_bound
    if np.isfinite(values).any():
        return np.where(np.isfinite(values), values, np.nanmean(values)), 2 * _bound(
            records, "ambient_air", quantity
        )
    return None, 0.0


def _bound(records: RunRecords, role: str, quantity: str) -> float:
    """How wrong the sensor that plays a role may be, from its data sheet."""
    for sensor in records.header.sensors:
        part = SENSOR_PARTS.get(sensor.part)
        accuracy = getattr(part, quantity, None)
        if sensor.role == role and accuracy is not None:
            return float(accuracy.bound)
    return 0.0


def _from_gauge(points: pd.DataFrame, station: Array, notes: pd.DataFrame) -> Array:
    """Absolute pressure at the blower's inlet from gauge readings that were typed in."""
    inlet = np.full(len(points), np.nan)
    for note in rows_of(notes):
        if note.what == "vacuum" and note.place in ("clean pipe", "blower inlet"):
            at = (points["start_s"] - 2 <= note.time_s) & (note.time_s <= points["end_s"] + 2)
            inlet[at.to_numpy()] = station[at.to_numpy()] - note.value_si
    return inlet


def _vacuum(
    place: str, surrounding: flow.Air, pressure: Array, bound: float | Array
) -> dict[str, Array]:
    """Vacuum at a place, from two absolute pressures that are both uncertain."""
    u95 = 2 * np.hypot(bound, surrounding.pressure_bound) / np.sqrt(3)
    return {
        f"vacuum_{place}_pa": surrounding.pressure - pressure,
        f"vacuum_{place}_u95_pa": np.broadcast_to(u95, pressure.shape),
    }


def _with_flows(points: pd.DataFrame, flows: flow.Flows, surrounding: flow.Air) -> pd.DataFrame:
    columns: dict[str, Array] = {
        "ambient_pressure_pa": surrounding.pressure,
        "ambient_temperature_k": surrounding.temperature,
        "ambient_humidity": surrounding.humidity,
        "inlet_pressure_pa": surrounding.inlet_pressure,
        **_vacuum(
            "blower", surrounding, surrounding.inlet_pressure, surrounding.inlet_pressure_bound
        ),
        **_vacuum("tank", surrounding, surrounding.port_pressure, surrounding.port_pressure_bound),
        "tap_pressure_pa": flows.state.pressure,
        "tap_temperature_k": flows.state.temperature,
        "reynolds_number": flows.state.reynolds,
        "speed_u95_rpm": 2 * points["speed_u_rpm"].to_numpy(),
        "differential_pressure_u95_pa": flows.differential_pressure.expanded_uncertainty(),
    }
    named = {
        "mass_flow_{}kg_s": flows.mass,
        "flow_tap_{}m3_s": flows.tap,
        "standard_flow_{}m3_s": flows.standard,
    }
    if flows.port is not None:
        named["flow_port_{}m3_s"] = flows.port
    if flows.inlet is not None:
        named["flow_inlet_{}m3_s"] = flows.inlet
    for name, result in named.items():
        columns[name.format("")] = result.value
        columns[name.format("u95_")] = result.expanded_uncertainty()
    return points.assign(**columns)

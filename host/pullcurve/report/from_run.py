"""The result of a run, made from its reduced tables."""

import hashlib
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from pullcurve import __version__
from pullcurve.physics.air import STANDARD_CONDITIONS
from pullcurve.quantities import SI
from pullcurve.reduction.records import rows_of
from pullcurve.reduction.remarks import remarks
from pullcurve.reduction.run import Run
from pullcurve.report.result import (
    Contribution,
    DataQuality,
    Flow,
    MeterFacts,
    Note,
    Provenance,
    Quantity,
    Remark,
    RunResult,
    SettledPoint,
    SiteFacts,
    TimeStrip,
    Zero,
)
from pullcurve.report.sentences import headline

ZERO_CELSIUS_K = 273.15
STRIP_POINTS = 600
LEAST_SHARE = 0.001  # of the variance: smaller contributions are not listed


def result_of(run: Run) -> RunResult:
    """Everything that is said of a run. It may have no settled point."""
    table = run.channels.table
    points = tuple(_point(row, run) for row in rows_of(run.points))
    return RunResult(
        title=run.rig.name,
        headline=headline(points, run.rig.meter.position, STANDARD_CONDITIONS.name, SI),
        reference_conditions=STANDARD_CONDITIONS.name,
        duration_s=float(table["time_s"].iloc[-1] + table["length_s"].iloc[-1] / 2),
        points=points,
        zeros=tuple(
            Zero(
                start_s=row.start_s,
                end_s=row.end_s,
                zero_pa=Quantity(value=row.zero_pa, u95=2 * row.zero_u_pa),
            )
            for row in rows_of(run.zeros.table)
        ),
        zero_half_width_pa=run.zeros.half_width_pa(),
        budget=_budget(run),
        notes=tuple(
            Note(
                time_s=None if np.isnan(row.time_s) else row.time_s,
                what=row.what,
                value=row.value,
                place=row.place,
                at=row.at,
            )
            for row in rows_of(run.notes)
        ),
        remarks=tuple(Remark(**remark._asdict()) for remark in remarks(run)),
        quality=_quality(run),
        meter=_meter(run),
        site=_site(run),
        strip=_strip(run),
        provenance=_provenance(run),
    )


def _point(row: Any, run: Run) -> SettledPoint:
    columns = run.points.columns
    on_port = run.rig.meter.position == "port"
    port = inlet = None
    if "flow_port_m3_s" in columns:
        port = Flow(
            value_m3_s=row.flow_port_m3_s,
            u95_m3_s=row.flow_port_u95_m3_s,
            basis="measured" if on_port else "modelled",
            **_state(
                row.ambient_pressure_pa if on_port else row.tank_pressure_pa,
                row.ambient_temperature_k,
            ),
        )
    if "flow_inlet_m3_s" in columns:
        inlet = Flow(
            value_m3_s=row.flow_inlet_m3_s,
            u95_m3_s=row.flow_inlet_u95_m3_s,
            basis="measured",
            **_state(row.inlet_pressure_pa, row.ambient_temperature_k),
        )
    return SettledPoint(
        point=row.point,
        sweep=row.sweep,
        hold=row.hold,
        start_s=row.start_s,
        end_s=row.end_s,
        speed_rpm=Quantity(value=row.speed_rpm, u95=row.speed_u95_rpm),
        differential_pressure_pa=Quantity(
            value=row.differential_pressure_pa, u95=row.differential_pressure_u95_pa
        ),
        mass_flow_kg_s=Quantity(value=row.mass_flow_kg_s, u95=row.mass_flow_u95_kg_s),
        flow_tap=Flow(
            value_m3_s=row.flow_tap_m3_s,
            u95_m3_s=row.flow_tap_u95_m3_s,
            basis="measured",
            **_state(row.tap_pressure_pa, row.tap_temperature_k),
        ),
        flow_port=port,
        flow_inlet=inlet,
        standard_flow_m3_s=Quantity(value=row.standard_flow_m3_s, u95=row.standard_flow_u95_m3_s),
        vacuum_blower_pa=_known(row.vacuum_blower_pa, row.vacuum_blower_u95_pa),
        vacuum_tank_pa=_known(row.vacuum_tank_pa, row.vacuum_tank_u95_pa),
        discharge_temperature_c=(
            None
            if np.isnan(row.discharge_temperature_k)
            else row.discharge_temperature_k - ZERO_CELSIUS_K
        ),
        pulsation_ratio=row.pulsation_ratio,
        reynolds_number=row.reynolds_number,
        remarks=(f"{row.clipped} samples at the end of the sensor's range",) if row.clipped else (),
    )


def _state(pressure_pa: float, temperature_k: float) -> dict[str, float]:
    return {"pressure_pa": pressure_pa, "temperature_c": temperature_k - ZERO_CELSIUS_K}


def _known(value: float, u95: float) -> Quantity | None:
    return None if np.isnan(value) else Quantity(value=value, u95=u95)


def _budget(run: Run) -> tuple[Contribution, ...]:
    """What makes up the uncertainty of the standard flow at the fastest point."""
    if run.flows is None:
        return ()
    top = int(run.points["speed_rpm"].to_numpy().argmax())
    standard = run.flows.standard
    parts = standard.contributions[:, top]
    variance = float(np.sum(parts**2))
    if variance == 0 or standard.value[top] == 0:
        return ()
    found = [
        Contribution(
            source=entry.name,
            share=float(part**2 / variance),
            u95_percent=float(200 * abs(part) / standard.value[top]),
            shared=entry.shared.value,
        )
        for entry, part in zip(standard.inputs, parts, strict=True)
        if part**2 / variance >= LEAST_SHARE
    ]
    return tuple(sorted(found, key=lambda part: -part.share))


def _quality(run: Run) -> DataQuality:
    records, table = run.records, run.channels.table
    damaged = records.damaged | {
        f"log line: {reason}": count for reason, count in run.log.damaged.items()
    }
    return DataQuality(
        records=records.received,
        lost=records.lost,
        duplicated=records.duplicated,
        late=records.late,
        damaged=damaged,
        board_starts=records.blocks["boot"].nunique(),
        samples=int(table["samples"].sum()),
        stale_samples=int(table["stale"].sum()),
        faulty_samples=int(table["faulty"].sum()),
        clipped_samples=int(table["clipped"].sum()),
    )


def _meter(run: Run) -> MeterFacts:
    meter = run.rig.meter
    return MeterFacts(
        kind={"venturi": "Venturi tube"}[meter.kind],
        position=meter.position,
        pipe_bore_m=meter.pipe_bore,
        throat_bore_m=meter.throat_bore,
        discharge_coefficient=meter.discharge_coefficient,
        discharge_coefficient_u95=(
            meter.discharge_coefficient * meter.discharge_coefficient_uncertainty
        ),
        discharge_coefficient_source=meter.discharge_coefficient_source,
    )


def _site(run: Run) -> SiteFacts:
    table, site = run.channels.table, run.rig.site

    def mean(column: str, typed: float | None) -> tuple[float | None, bool]:
        if column in table and table[column].notna().any():
            return float(table[column].mean()), True
        return typed, False

    pressure, pressure_measured = mean("ambient_pressure_pa", site.station_pressure)
    temperature, temperature_measured = mean("ambient_temperature_k", site.temperature_k)
    humidity, humidity_measured = mean("ambient_humidity", site.humidity)
    return SiteFacts(
        altitude_m=site.altitude,
        station_pressure_pa=pressure or np.nan,
        station_pressure_source="measured" if pressure_measured else "typed",
        temperature_c=(temperature or np.nan) - ZERO_CELSIUS_K,
        temperature_source="measured" if temperature_measured else "typed",
        humidity=humidity,
        humidity_source=(
            "measured" if humidity_measured else "typed" if humidity is not None else "assumed"
        ),
    )


def _strip(run: Run) -> TimeStrip:
    table = run.channels.table
    zeroed = table["differential_pressure_pa"] - table["zero_pa"]
    group = np.arange(len(table)) // max(1, -(-len(table) // STRIP_POINTS))
    thinned = (
        pd.DataFrame({"time": table["time_s"], "speed": table["speed_rpm"], "pressure": zeroed})
        .groupby(group)
        .mean()
    )

    def numbers(column: str) -> tuple[float | None, ...]:
        return tuple(None if np.isnan(value) else float(value) for value in thinned[column])

    return TimeStrip(
        time_s=tuple(float(value) for value in thinned["time"]),
        speed_rpm=numbers("speed"),
        differential_pressure_pa=numbers("pressure"),
    )


def _provenance(run: Run) -> Provenance:
    header = run.records.header
    began_s = run.log.received[0].host_time.timestamp() + run.records.host_offset_s
    zone = run.log.received[0].host_time.tzinfo
    return Provenance(
        log_name=run.log.path.name,
        log_sha256=hashlib.sha256(run.log.path.read_bytes()).hexdigest(),
        rig_name=run.rig.name,
        board=header.board,
        board_id=header.board_id,
        firmware=header.firmware,
        pullcurve=__version__,
        started=datetime.fromtimestamp(began_s, zone),
        sensors=tuple(
            f"{sensor.role.replace('_', ' ')}: {sensor.part}" for sensor in header.sensors
        ),
    )

"""Invented results of the grit unit, a machine that does not exist, for the report's tests."""

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import Literal

import numpy as np

from pullcurve.checks.data_quality import ChannelQuality, DataQuality
from pullcurve.diagnosis.result import NoDiagnosis
from pullcurve.measure.facts import (
    MeterCoefficient,
    MeterFacts,
    SensorFacts,
    SensorLimit,
    SiteFacts,
    SpeedFacts,
)
from pullcurve.measure.inputs import Source
from pullcurve.measure.note_placing import Note
from pullcurve.measure.points import (
    Contribution,
    Flow,
    MeteredQuantity,
    RejectedStretch,
    SettledPoint,
    SharedInputs,
    Withheld,
    Zero,
)
from pullcurve.quantities import SI
from pullcurve.report.result import Remark, RunResult, TimeStrip, Trouble, TroubleNumber
from pullcurve.report.sentences import headline
from pullcurve.results import Quantity
from pullcurve.run_log.provenance import Provenance

Reach = Literal["point", "run", "meter"]

HOSTILE = "</title><script src=//evil.example/x.js>alert('cfm')</script>&amp;\"'"
REFERENCE = "101 325 Pa, 20 °C, dry"
TURN_M3 = 0.0160
PORT_DENSITY, STANDARD_DENSITY = 1.146, 1.2046

# Half-width of the 95 % interval from one input, as a share of the flow, and what it reaches.
PARTS: dict[Source, tuple[float, Reach]] = {
    Source.DISCHARGE_COEFFICIENT: (0.040, "meter"),
    Source.THROAT_BORE: (0.0078, "meter"),
    Source.SENSOR_GAIN: (0.0070, "meter"),
    Source.INLET_LOSS: (0.0050, "run"),
    Source.DIFFERENTIAL_PRESSURE: (0.0040, "point"),
    Source.HUMIDITY: (0.0006, "run"),
}
ZERO_PA = 6.0  # the same of the sensor's zero, over the differential pressure
TROUBLES = (
    Trouble(
        kind="zero_moved",
        subject="zero",
        evidence="The zero moved by +14 Pa between the first engine stop and the last.",
        pattern="The zero moved by {moved} between the first engine stop and the last.",
        numbers=(
            TroubleNumber(
                name="moved", quantity="differential_pressure", value=14.0, digits=2, signed=True
            ),
        ),
        action="Keep the board out of the sun, and take a zero before and after each sweep.",
        consequence="widened",
    ),
    Trouble(
        kind="clock_jump",
        subject="computer's clock",
        evidence="The computer's clock jumped by 4.1 s during the run.",
        action="",
        consequence="none",
        start_s=131.0,
        end_s=135.1,
    ),
)
REJECTED = (
    RejectedStretch(
        start_s=101.0, end_s=108.5, speed_rpm=1120.0, reason="held for 7 s, 8 s are needed"
    ),
)
REMARKS = (
    Remark(
        weight="note",
        subject="discharge coefficient",
        text="The tube is of plastic pipe, for which ISO 5167-4:2003 gives no discharge "
        "coefficient. The one that is taken carries a wide interval for that.",
        action="",
    ),
    Remark(
        weight="warning",
        subject="pulsation",
        text="The differential pressure swings by 14 % at hold 1, more than the 10 % up to which "
        "flow counts as steady. The flow there is corrected and its interval widened.",
        action="Hold low speeds longer, and keep both lines to the sensor short and of one length.",
    ),
)
NOTES = (
    Note(time_s=75.0, what="hose", value="off, meter on the port", place="", at=""),
    Note(time_s=None, what="engine", value="1760 rpm", place="", at="sweep 1, hold 4"),
    Note(time_s=None, what="vacuum", value="1.7 inHg", place="blower inlet", at="sweep 1, hold 6"),
)
SENSORS = (
    SensorFacts(
        role="meter_dp",
        part="HSC",
        range_pa=(-6894.757, 6894.757),
        limits=(
            SensorLimit(quantity="zero_pa", half_width=172.0, source="its data sheet"),
            SensorLimit(quantity="gain", half_width=0.005, source="its data sheet"),
            SensorLimit(quantity="linearity_pa", half_width=34.5, source="its data sheet"),
        ),
    ),
    SensorFacts(
        role="ambient_air",
        part="BME280",
        range_pa=None,
        limits=(
            SensorLimit(quantity="pressure_pa", half_width=280.0, source="the barometer's sheet"),
            SensorLimit(quantity="temperature_k", half_width=1.7, source="the barometer's sheet"),
            SensorLimit(quantity="humidity", half_width=0.052, source="another sheet"),
        ),
    ),
)
FULL_STOCK = DataQuality(
    records=7561,
    lost=14,
    duplicated=0,
    late=0,
    damaged={"checksum": 3},
    board_starts=1,
    samples=148_940,
    stale_samples=12,
    faulty_samples=0,
    clipped_samples=0,
    channels=(
        ChannelQuality(
            channel="differential_pressure_pa",
            covered=0.9982,
            gaps=2,
            longest_gap_s=0.6,
            longest_gap_start_s=200.0,
            stale=12 / 148_952,
            faulty=0.0,
        ),
        ChannelQuality(
            channel="speed_rpm",
            covered=1.0,
            gaps=0,
            longest_gap_s=0.0,
            longest_gap_start_s=None,
            stale=None,
            faulty=None,
        ),
    ),
)


def shared_inputs(value: float, parts: dict[Source, tuple[float, Reach]]) -> SharedInputs:
    def of(reach: Reach) -> dict[Source, float]:
        return {
            name: value * relative / 1.96
            for name, (relative, reaches) in parts.items()
            if reaches == reach
        }

    return SharedInputs(run=of("run"), meter=of("meter"))


def point(
    number: int, speed_rpm: float, start_s: float, *, sweep: int = 1, hold: int = 1, bend: float = 0
) -> SettledPoint:
    """A hold of the healthy unit; `bend` takes that fraction of flow away at 2750 rpm."""
    slip_rpm = 30 + 0.085 * speed_rpm
    scatter = 0.002 * (-1) ** number
    port = TURN_M3 * (speed_rpm - slip_rpm) / 60 * (1 + scatter - bend * (speed_rpm / 2750) ** 2)
    mass = port * PORT_DENSITY
    dp = 2989.1 * (mass / 0.671) ** 2
    parts: dict[Source, tuple[float, Reach]] = PARTS | {Source.SENSOR_ZERO: (ZERO_PA / dp, "run")}
    share = float(np.linalg.norm([relative for relative, _ in parts.values()]))

    def flow(density: float, pressure_pa: float, temperature_c: float) -> Flow:
        value = mass / density
        return Flow(
            value_m3_s=value,
            u95_m3_s=share * value,
            basis="measured",
            pressure_pa=pressure_pa,
            temperature_k=temperature_c + 273.15,
            shared_inputs=shared_inputs(value, parts),
        )

    def metered(value: float) -> MeteredQuantity:
        return MeteredQuantity(
            value=value, u95=share * value, shared_inputs=shared_inputs(value, parts)
        )

    budget = [
        Contribution(
            source=name,
            share=(relative / share) ** 2,
            u95_m3_s=relative * mass / STANDARD_DENSITY,
            shared=reach,
        )
        for name, (relative, reach) in parts.items()
    ]
    return SettledPoint(
        point=number,
        sweep=sweep,
        hold=hold,
        start_s=start_s,
        end_s=start_s + 34.0,
        speed_rpm=Quantity(value=speed_rpm, u95=1.7),
        differential_pressure_pa=Quantity(value=dp, u95=12.0),
        mass_flow_kg_s=metered(mass),
        flow_tap=flow(1.134, 92.9e3, 11),
        flow_port=flow(PORT_DENSITY, 94.1e3, 12),
        flow_inlet=flow(1.077, 88.5e3, 12),
        standard_flow_m3_s=metered(mass / STANDARD_DENSITY),
        budget=tuple(sorted(budget, key=lambda part: -part.share)),
        vacuum_blower_pa=Quantity(value=6200 * (speed_rpm / 2750) ** 2, u95=55.0),
        vacuum_tank_pa=None,
        discharge_temperature_k=293.15 + 11 * speed_rpm / 2750,
        pulsation_ratio=0.14 - 0.02 * hold,
        pulsation_error=Quantity(value=(0.14 - 0.02 * hold) ** 2 / 8, u95=0.001),
        reynolds_number=3.3e5 * mass / 0.671,
        discharge_coefficient=0.97 - 0.001 / hold,
        expansibility=1 - 0.0234 * dp / 2989.1,
        remarks=("pulsation corrected by 0.2 %",) if hold == 1 else (),
    )


def withheld(run: RunResult, reasons: dict[int, Withheld]) -> RunResult:
    """The same run with these points withheld, for these reasons."""
    nothing = {
        "mass_flow_kg_s": None,
        "flow_tap": None,
        "flow_port": None,
        "flow_inlet": None,
        "standard_flow_m3_s": None,
        "budget": (),
        "reynolds_number": None,
        "discharge_coefficient": None,
        "expansibility": None,
    }
    points = tuple(
        replace(each, **(nothing | {"withheld": reasons[each.point]}))
        if each.point in reasons
        else each
        for each in run.points
    )
    said = headline(points, run.meter.position, run.reference_conditions, SI)
    return replace(run, points=points, headline=said)


def result(
    speeds: tuple[tuple[float, ...], ...] = ((1130, 1470, 1840, 2195, 2450, 2620),),
    *,
    zeros: int = 2,
    bend: float = 0.0,
    text: str = "",
) -> RunResult:
    """A run with a tuple of speeds for each sweep; `text` goes in wherever a user may write."""
    points, start_s = [], 120.0
    for sweep, holds in enumerate(speeds, 1):
        for hold, speed_rpm in enumerate(holds, 1):
            points.append(
                point(len(points) + 1, speed_rpm, start_s, sweep=sweep, hold=hold, bend=bend)
            )
            start_s += 55.0
    duration_s = start_s + 60.0
    taken = tuple(
        Zero(start_s=begin, end_s=begin + 30, zero_pa=Quantity(value=zero, u95=0.9))
        for begin, zero in ((20.0, 3.1), (duration_s - 40.0, 4.6))[:zeros]
    )
    return RunResult(
        title=text or "Grit unit 3, bridge repaint (an invented machine)",
        headline=headline(points, "port", REFERENCE, SI),
        reference_conditions=REFERENCE,
        duration_s=duration_s,
        diagnosis=NoDiagnosis(why_none="The rig says nothing of the blower."),
        points=tuple(points),
        rejected=REJECTED,
        zeros=taken,
        zero_half_width_pa=1.4 if zeros else 172.0,
        troubles=tuple(
            replace(trouble, **({"evidence": text, "numbers": ()} if text else {}))
            for trouble in TROUBLES
        ),
        notes=tuple(replace(note, value=text or note.value) for note in NOTES),
        remarks=tuple(replace(remark, text=text or remark.text) for remark in REMARKS),
        quality=FULL_STOCK,
        meter=MeterFacts(
            kind="Venturi tube of plastic pipe",
            position="port",
            pipe_bore_m=0.1446022,
            throat_bore_m=0.098298,
            straight_length_m=None,
            discharge_coefficient=MeterCoefficient(
                value=0.97, u95=0.039, source=text or "assumed for an uncalibrated tube"
            ),
        ),
        speed=SpeedFacts(shaft="blower_shaft", marks_per_turn=2, belt_ratio=None),
        sensors=SENSORS,
        site=SiteFacts(
            altitude_m=620.0,
            station_pressure_pa=94_100.0,
            station_pressure_source="measured",
            temperature_k=285.15,
            temperature_source="measured",
            humidity=0.55,
            humidity_source="typed",
        ),
        strip=_strip(points, duration_s),
        provenance=Provenance(
            log_name="grit-unit-3-port.log",
            log_sha256="9f2c4e17a0b3d5680c71e2f4496a8b3d5c7e9f1a2b3c4d5e6f708192a3b4c5d6",
            log_format=1,
            rig_name=text or "grit unit 3, port, 145 mm tube",
            rig_sha256="1b3d5f708192a3b4c5d6e7f8091a2b3c4d5e6f708192a3b4c5d6e7f8091a2b3c",
            board="bench",
            board_id="e6614103e72b5a2f",
            firmware="0.1.0",
            record_format=1,
            pullcurve="0.1.0",
            libraries={"Python": "3.11.2", "numpy": "2.4.6"},
            started=datetime(2025, 9, 16, 10, 10, 3, tzinfo=timezone(timedelta(hours=-4))),
        ),
    )


def _strip(points: list[SettledPoint], duration_s: float) -> TimeStrip:
    time_s = np.arange(0.0, duration_s, 1.0)
    knots = [(0.0, 0.0, 3.0), (60.0, 0.0, 3.0)]
    for each in points:
        values = (each.speed_rpm.value, each.differential_pressure_pa.value)
        knots += [(each.start_s - 8, *values), (each.end_s + 2, *values)]
    knots += [(duration_s - 48, 0.0, 4.0), (duration_s, 0.0, 4.0)]
    at_s, speed, pressure = np.array(knots).T
    noise = np.random.default_rng(1).normal(size=(2, len(time_s)))
    speed_rpm = np.interp(time_s, at_s, speed) * (1 + 0.003 * noise[0])
    pressure_pa = np.interp(time_s, at_s, pressure) * (1 + 0.02 * noise[1])
    return TimeStrip(
        time_s=tuple(time_s.tolist()),
        speed_rpm=tuple(value if value > 300 else None for value in speed_rpm.tolist()),
        differential_pressure_pa=tuple(pressure_pa.tolist()),
    )

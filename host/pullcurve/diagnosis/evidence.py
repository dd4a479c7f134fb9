"""What a run says of its machine, as the inference takes it: arrays over the settled points."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.diagnosis.facts import MachineFacts
from pullcurve.diagnosis.speeds import Speeds
from pullcurve.examine import Run
from pullcurve.measure import meter as the_meter
from pullcurve.measure.air_state import GAUGE_PA
from pullcurve.physics import air, hose
from pullcurve.physics.path import Setting
from pullcurve.quantities import to_si
from pullcurve.rig.meter import OPEN_INLETS
from pullcurve.run_log.note_times import Hold, parse_time
from pullcurve.stream.records import rows_of
from pullcurve.uncertainty import covariance_between_runs

Array = NDArray[np.float64]
Quantity = Literal["metered_flow", "inlet_vacuum", "tank_vacuum", "pipe_vacuum", "discharge_rise"]

# What the path model leaves out, as standard uncertainties of each point by itself (judgement):
MODEL_FLOW = 0.003  # of the flow
MODEL_VACUUM_PA = 25.0
MODEL_VACUUM = 0.005  # of the vacuum
DISCHARGE_K, DISCHARGE_SHARED_K = 0.7, 1.5  # of a discharge temperature: each point, all points
LAG_S = (60.0, 40.0)  # time constant of casing and probe, and its standard uncertainty (judgement)
LAG_SHARE = 0.15  # of what that adds: no casing is of first order
# Of a hand tachometer's reading, relative (judgement): the instrument is good for 0.1 %, but a
# person reads one moment of an engine that hunts by some 1 % within its hold, and rounds.
TACH_U = 0.005
GAUGE_OWN, GAUGE_SHARED = 0.3, 0.5  # of a gauge's half-width, as standard uncertainties
RELIEF_NEAR = 0.92  # of its setting: a relief valve may weep

VACUUM_AT: Final[dict[str, Quantity]] = {
    "inlet": "inlet_vacuum",
    "port": "tank_vacuum",
    "tap": "pipe_vacuum",
}
GAUGE_AT: Final[dict[str, Quantity]] = {
    "blower inlet": "inlet_vacuum",
    "clean pipe": "inlet_vacuum",
    "tank": "tank_vacuum",
    "port": "tank_vacuum",
}


@dataclass(frozen=True)
class Reading:
    """One quantity at some of the points, with the covariance of its errors.

    A flow is its natural logarithm; vacua in Pa, temperatures in K.
    """

    quantity: Quantity
    points: NDArray[np.int64]
    value: Array
    covariance: Array


@dataclass(frozen=True)
class Evidence:
    """Settled points and readings. Points of an earlier, healthy run come last.

    `top` is the fastest hold of the first sweep of the run that is judged, to which sizes and
    ledger belong. `numbers` are those of its settled points, in order from 1 where none are
    given. `humidity` is that of the open air, a mean over its points.
    """

    setting: Setting
    judged: NDArray[np.bool_]  # else a point of the earlier, healthy run
    meter_term: Array  # K / A² of the meter, 1/m⁴
    sweep: NDArray[np.int64]
    plate: NDArray[np.int64]  # index of the plate that was on, -1 without
    plate_terms: tuple[float | None, ...]  # K / A^2, None where its bore is not known
    readings: tuple[Reading, ...]
    facts: MachineFacts
    speeds: Speeds
    top: int
    numbers: tuple[int, ...] = ()
    humidity: float = 0.0

    def number(self, i: int) -> int:
        """Number of the settled point at index `i`, of the judged run."""
        return self.numbers[i] if self.numbers else i + 1


def gather(run: Run, facts: MachineFacts, earlier: Run | None = None) -> Evidence | str:
    """The evidence of a run, with an earlier healthy run of the same machine as its baseline;
    or a sentence that says why there is none."""
    rows = _usable(run, facts)
    if not len(rows):
        return "No settled point of this run has a flow that could be judged."
    parts = [_Part(run, rows)]
    if earlier is not None:
        before = _usable(earlier, facts)
        if len(before):
            parts.append(_Part(earlier, before))
    first = parts[0]
    points = run.points.iloc[rows]
    in_first = np.flatnonzero(points["sweep"].to_numpy() == points["sweep"].to_numpy()[0])
    top = int(in_first[np.argmax(points["speed_rpm"].to_numpy()[in_first])])
    sizes = [len(part.rows) for part in parts]
    bores = sorted({b for part in parts for b in part.plate if b is not None}, key=str)
    return Evidence(
        setting=Setting(
            shaft_rpm=_joined(parts, "shaft_rpm"),
            belt_between=_joined(parts, "belt_between"),
            ambient_pressure=_joined(parts, "ambient_pressure"),
            temperature=_joined(parts, "temperature"),
            gas_constant=_joined(parts, "gas_constant"),
            mass_ratio=_joined(parts, "mass_ratio"),
            in_pipe=_joined(parts, "in_pipe"),
            meter_area=_joined(parts, "meter_area"),
            hose_on=_joined(parts, "hose_on"),
            hose_bore=np.full(sum(sizes), facts.hose_bore_m),
        ),
        judged=np.arange(sum(sizes)) < sizes[0],
        meter_term=_joined(parts, "meter_term"),
        sweep=np.concatenate([part.points["sweep"].to_numpy(np.int64) for part in parts]),
        plate=np.array([-1 if b is None else bores.index(b) for p in parts for b in p.plate]),
        plate_terms=tuple(_plate_term(bore, facts) for bore in bores),
        readings=tuple(_readings(parts)),
        facts=facts,
        speeds=first.speeds(top, facts),
        top=top,
        numbers=tuple(points["point"].tolist()),
        humidity=float(np.mean(first.around.humidity.value)),
    )


def unsaid_plates(evidence: Evidence) -> Evidence:
    """The same with a plate of unknown bore on in each later sweep of the judged run for which
    none was noted."""
    plate, terms = evidence.plate.copy(), list(evidence.plate_terms)
    for number in np.unique(evidence.sweep[evidence.judged])[1:]:
        bare = evidence.judged & (evidence.sweep == number) & (plate < 0)
        if bare.any():
            plate[bare] = len(terms)
            terms.append(None)
    return replace(evidence, plate=plate, plate_terms=tuple(terms))


def _joined(parts: Sequence["_Part"], name: str) -> NDArray[Any]:
    return np.concatenate([getattr(part, name) for part in parts])


def _usable(run: Run, facts: MachineFacts) -> NDArray[np.int64]:
    """Points with a flow, below the vacuum at which the relief valve opens."""
    if run.flows is None or run.points.empty:
        return np.empty(0, dtype=np.int64)
    good = (run.points["withheld"] == "").to_numpy() & (run.flows.mass.value > 0)
    if facts.relief_vacuum_pa is not None:
        deep = run.points["vacuum_blower_pa"].to_numpy() > RELIEF_NEAR * facts.relief_vacuum_pa
        good &= ~deep
    return np.flatnonzero(good)


def fittings(run: Run, rows: NDArray[np.int64]) -> tuple[NDArray[np.bool_], list[str | None]]:
    """Hose and plate at some of the points: from the meter's place, and what was said.

    A plate is its bore as it was said, "?" where none was, None without a plate.
    """
    points, position = run.points.iloc[rows], run.rig.meter.position
    on = position == "hose_end" or (position == "clean_pipe" and bool(run.rig.machine.hose))
    hose_on = np.full(len(rows), on)
    plate: list[str | None] = [None] * len(rows)
    middle = (points["start_s"] + points["end_s"]).to_numpy() / 2
    for note in sorted(rows_of(run.notes), key=lambda note: float(note.time_s)):
        # Only in the clean pipe does the meter's place leave open whether a hose was on.
        if note.what != "plate" and (note.what != "hose" or position != "clean_pipe"):
            continue
        for i in np.flatnonzero(meant(note, points, middle)):
            if note.what == "hose":
                hose_on[i] = note.value.strip().lower() != "off"
            else:
                plate[i] = _bore(note.value)
    return hose_on, plate


def meant(note: Any, points: pd.DataFrame, middle: Array) -> NDArray[np.bool_]:
    """The points that a note is about: its hold or sweep, or all from its time on."""
    try:
        when = parse_time(note.at) if note.at else None
    except ValueError:
        return np.zeros(len(middle), dtype=bool)
    if isinstance(when, Hold):
        meant = points["sweep"].to_numpy() == when.sweep
        if when.hold is not None:
            meant &= points["hold"].to_numpy() == when.hold
        return np.asarray(meant)
    return np.asarray(middle >= note.time_s)


def within(note: Any, row: Any) -> bool:
    """Whether a reading was taken in a hold, or while a person was still typing it."""
    return bool(row.start_s - 3 <= note.time_s <= row.end_s + 3)


class _Part:
    """One run's share of the evidence, over its usable points."""

    def __init__(self, run: Run, rows: NDArray[np.int64]) -> None:
        self.run, self.rows = run, rows
        self.points = points = run.points.iloc[rows]
        if run.flows is None or run.around is None:  # no usable point then
            raise ValueError("a run without flows has no evidence")
        self.flows, self.around = run.flows, run.around
        number = len(rows)
        meter = run.rig.meter
        from_engine = run.channels.blower_shaft_from == "engine_shaft"
        self.shaft_rpm = points["speed_rpm"].to_numpy(float)
        self.belt_between = np.full(number, from_engine)
        self.ambient_pressure = self.around.pressure.value[rows]
        self.temperature = self.around.temperature.value[rows]
        vapour = air.vapour_fraction(
            self.ambient_pressure, self.temperature, self.around.humidity.value[rows]
        )
        self.mass_ratio = 1 - (1 - air.VAPOUR_OVER_AIR) * vapour
        self.gas_constant = air.DRY_AIR_GAS_CONSTANT / self.mass_ratio
        self.in_pipe = np.full(number, meter.position == "clean_pipe")
        open_inlet = meter.kind in OPEN_INLETS
        bore = meter.throat_bore if open_inlet else meter.pipe_bore
        heads = 0.0 if open_inlet else float(meter.inlet_loss)
        least, most = the_meter.pressure_loss(meter)
        heads += (least + most) / 2 * (1.0 if open_inlet else meter.beta**-4 - 1)
        self.meter_term = np.full(number, float(hose.loss_term(heads, bore)))
        self.meter_area = np.full(number, float(hose.area(bore)))
        self.hose_on, self.plate = fittings(run, rows)

    def speeds(self, top: int, facts: MachineFacts) -> Speeds:
        """Engine and blower at the fastest hold, over their rated speeds."""
        channels, row = self.run.channels, self.points.iloc[top]
        ratio = facts.belt_ratio
        u = max(float(row["speed_u_rpm"] / row["speed_rpm"]), 1e-4)
        engine, engine_u, blower, typed = None, u, None, ""
        if channels.blower_shaft_from == "blower_shaft":
            blower = float(row["speed_rpm"]) / facts.rated_rpm
            if ratio is not None and "engine_shaft" in channels.marks:
                rpm, rpm_u = channels.marks["engine_shaft"].between(row["start_s"], row["end_s"])
                if np.isfinite(rpm):
                    engine = rpm * ratio / facts.rated_rpm
                    engine_u = max(rpm_u / rpm, 1e-4)
            if engine is None and ratio is not None:
                notes = [
                    note
                    for note in rows_of(self.run.notes)
                    if note.what == "engine_speed"
                    and within(note, row)
                    and np.isfinite(note.value_si)
                ]
                if notes:  # of several the last is meant: it puts the others right
                    engine, engine_u = float(notes[-1].value_si) * ratio / facts.rated_rpm, TACH_U
                    typed = notes[-1].value
        else:
            # Without the belt's slip, whose doubt the point's speed carries.
            engine = float(row["speed_rpm"]) / facts.rated_rpm
            rpm, rpm_u = channels.marks["engine_shaft"].between(row["start_s"], row["end_s"])
            if np.isfinite(rpm):
                engine_u = max(rpm_u / rpm, 1e-4)
        return Speeds(engine, engine_u, blower, u, typed)

    def vacuum(self, column: str, place: str) -> Reading | None:
        """A vacuum that a sensor measured, less what its place adds."""
        if place not in self.around.places:
            return None
        at = self.around.places[place]
        measured = np.isfinite(self.points[column].to_numpy(float))
        if at.source != "measured" or not measured.any():
            return None
        points = np.flatnonzero(measured)
        rows = self.rows[points]
        value = self.around.pressure.value[rows] - at.pressure[rows]
        shared = at.half_width[rows] / np.sqrt(3)
        if not at.compared:
            shared = np.hypot(shared, self.around.pressure.half_width[rows] / np.sqrt(3))
        own = np.hypot(MODEL_VACUUM_PA, MODEL_VACUUM * value)
        return Reading(VACUUM_AT[place], points, value, np.outer(shared, shared) + np.diag(own**2))

    def gauges(self) -> Iterator[Reading]:
        """Vacua that a person read off a gauge, a reading for each gauge."""
        of_place: dict[str, dict[int, float]] = {}
        for note in rows_of(self.run.notes):
            if note.what == "vacuum" and note.place in GAUGE_AT and np.isfinite(note.value_si):
                for i in range(len(self.rows)):
                    if within(note, self.points.iloc[i]):
                        # Of several at one hold the last is meant: it puts the others right.
                        of_place.setdefault(note.place, {})[i] = float(note.value_si)
                        break
        for place, read in of_place.items():
            points = np.array(list(read))
            own, shared = GAUGE_OWN * GAUGE_PA, GAUGE_SHARED * GAUGE_PA
            covariance = np.full((len(read), len(read)), shared**2) + np.eye(len(read)) * own**2
            yield Reading(GAUGE_AT[place], points, np.array(list(read.values())), covariance)

    def discharge(self) -> Reading | None:
        """How much hotter the air leaves the blower than it came in from the open.

        Casing and probe lag: what they still lack of a steady temperature is, in first order,
        their time constant times the slope within the point. The constant's doubt is shared.
        """
        measured = self.points["discharge_temperature_k"].to_numpy(float)
        points = np.flatnonzero(np.isfinite(measured))
        if not len(points):
            return None
        lag_s, lag_u_s = LAG_S
        slope = self._slopes("discharge_temperature_k")[points]
        rise = (measured - self.temperature)[points] + lag_s * slope
        ones = np.ones((len(points), len(points)))
        covariance = DISCHARGE_SHARED_K**2 * ones + lag_u_s**2 * np.outer(slope, slope)
        own = np.hypot(DISCHARGE_K, LAG_SHARE * lag_s * slope)
        return Reading("discharge_rise", points, rise, covariance + np.diag(own**2))

    def _slopes(self, column: str) -> Array:
        """How fast a channel moves within each point, per second."""
        table = self.run.channels.table
        time_s, values = table["time_s"].to_numpy(), table[column].to_numpy(float)
        found = []
        for start, end in zip(self.points["start_s"], self.points["end_s"], strict=True):
            inside = (time_s >= start) & (time_s <= end) & np.isfinite(values)
            steep = np.polyfit(time_s[inside], values[inside], 1)[0] if inside.sum() > 2 else 0.0
            found.append(float(steep))
        return np.array(found)


def _readings(parts: Sequence[_Part]) -> Iterator[Reading]:
    """Flows of all runs together, for they share a meter; the others run by run."""
    yield Reading(
        "metered_flow",
        np.arange(sum(len(part.rows) for part in parts)),
        np.concatenate([np.log(part.flows.mass.value[part.rows]) for part in parts]),
        _flow_covariance(parts),
    )
    before = 0
    for part in parts:
        found = [
            part.vacuum("blower_pressure_pa", "inlet"),
            part.vacuum("tank_pressure_pa", "port"),
            part.vacuum("meter_pressure_pa", "tap") if part.in_pipe.any() else None,
            *part.gauges(),
            part.discharge(),
        ]
        for reading in found:
            if reading is not None:
                yield replace(reading, points=reading.points + before)
        before += len(part.rows)


def _flow_covariance(parts: Sequence[_Part]) -> Array:
    """Of the logarithms of all flows: what a meter shares reaches from run to run."""
    blocks = [
        [
            _relative(part.flows.mass.covariance(), part, part)
            if part is other
            else _relative(covariance_between_runs(part.flows.mass, other.flows.mass), part, other)
            for other in parts
        ]
        for part in parts
    ]
    covariance = np.block(blocks)
    return np.asarray(covariance + MODEL_FLOW**2 * np.eye(len(covariance)))


def _relative(covariance: Array, rows: _Part, columns: _Part) -> Array:
    chosen = covariance[np.ix_(rows.rows, columns.rows)]
    return np.asarray(
        chosen / np.outer(rows.flows.mass.value[rows.rows], columns.flows.mass.value[columns.rows])
    )


def _bore(value: str) -> str | None:
    """What was said of a plate: None when it is off, else its bore, or "?" where none was said."""
    words = value.strip().lower()
    if words.startswith("off"):
        return None
    _, _, bore = words.partition("bore")
    return bore.strip() or "?"


def _plate_term(bore: str, facts: MachineFacts) -> float | None:
    try:
        hole = to_si(bore, "length")
    except ValueError:
        return None
    port = np.sqrt(4 / np.pi * facts.port_area_m2)
    if not 0 < hole < port:
        return None
    return float(hose.loss_term(hose.plate_loss(hole / port), port))

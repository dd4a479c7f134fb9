"""Evidence of a machine's steady points, with errors such as a run's log would bring.

Here the plant's path is solved at the holds alone and errors are drawn from the covariance that
is stated: hundreds of machines in the time of a few whole runs.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from diagnosis_machines import Subject
from diagnosis_truth import Steady, steady
from dice import Dice
from machines import INHG
from pullcurve.bench.instrument import Meter
from pullcurve.bench.moist_air import HEAT_CAPACITY, Array
from pullcurve.bench.tube import upstream_state
from pullcurve.diagnosis import evidence as ev
from pullcurve.diagnosis.facts import MachineFacts
from pullcurve.diagnosis.speeds import Speeds
from pullcurve.measure.air_state import GAUGE_PA
from pullcurve.measure.meter import pressure_loss
from pullcurve.physics.air import DRY_AIR_GAS_CONSTANT
from pullcurve.physics.hose import area, loss_term
from pullcurve.physics.path import Setting
from pullcurve.rig.models import Rig

HOLDS = (0.55, 0.62, 0.75, 0.85, 1.0, 0.8, 0.6)
PLATE_HOLDS = (0.6, 0.75, 0.9, 1.0)
SPEED_U = 3e-4
POINT_U = 0.002  # of a flow, beside what all share
ZERO_PA = 3.0  # of the differential pressure
SENSOR_PA = 60.0  # of a compared absolute sensor


def draw_evidence(
    subject: Subject, facts: MachineFacts, rig: Rig, dice: Dice, *, errors: bool = True
) -> ev.Evidence:
    """The evidence of a run; without `errors` what perfect instruments would show, with the
    same doubt stated."""
    fractions = list(HOLDS)
    plate = [False] * len(HOLDS)
    if subject.plate != "none":
        fractions += PLATE_HOLDS
        plate += [True] * len(PLATE_HOLDS)
    share, on = np.array(fractions), np.array(plate)
    now = steady(subject, subject.machine, subject.engine_rpm * share, on, choke=subject.choke)
    runs = [now]
    if subject.earlier:
        before = subject.sound_engine_rpm * np.array(HOLDS)
        bare = np.zeros(len(HOLDS), dtype=bool)
        runs.append(steady(subject, subject.sound, before, bare, choke=0.0))
    sizes = [len(run.engine_rpm) for run in runs]
    points = sum(sizes)
    judged = np.arange(points) < sizes[0]
    error = _Errors(dice, 1.0 if errors else 0.0)
    from_engine = subject.tach == "engine"
    ratio = facts.belt_ratio or 1.0
    shaft = np.concatenate(
        [run.engine_rpm * ratio if from_engine else run.blower_rpm for run in runs]
    )
    shaft = shaft * (1 + error.each(np.full(points, SPEED_U)))
    in_pipe = subject.position == "clean_pipe"
    ones = np.ones(points)
    meter = rig.meter
    heads = float(meter.inlet_loss) + np.mean(pressure_loss(meter)) * (meter.beta**-4 - 1)
    fraction_r = now.gas_constant
    top = int(np.argmax(HOLDS))
    setting = Setting(
        shaft_rpm=shaft,
        belt_between=np.full(points, from_engine),
        ambient_pressure=subject.site["pressure_pa"] * ones,
        temperature=subject.site["temperature_k"] * ones,
        gas_constant=fraction_r * ones,
        mass_ratio=DRY_AIR_GAS_CONSTANT / fraction_r * ones,
        in_pipe=np.full(points, in_pipe),
        meter_area=float(area(meter.pipe_bore)) * ones,
        hose_on=np.full(points, "hose" in subject.machine),
        hose_bore=np.full(points, facts.hose_bore_m),
    )
    terms: tuple[float | None, ...] = ()
    if subject.plate == "known":
        bore = subject.plate_words.removeprefix("plate on, bore ")
        terms = (ev._plate_term(bore, facts),)
    elif subject.plate == "unknown":
        terms = (None,)
    return ev.Evidence(
        setting=setting,
        judged=judged,
        meter_term=float(loss_term(heads, meter.pipe_bore)) * ones,
        sweep=np.concatenate([1 + on.astype(int), *(np.ones(n, dtype=int) for n in sizes[1:])]),
        plate=np.concatenate([np.where(on, 0, -1), *(np.full(n, -1) for n in sizes[1:])]),
        plate_terms=terms,
        readings=tuple(_readings(subject, rig, runs, error)),
        facts=facts,
        speeds=_speeds(subject, now, top, facts, error),
        top=top,
    )


class _Errors:
    def __init__(self, dice: Dice, scale: float) -> None:
        self._dice, self._scale = dice, scale

    def one(self, sd: float) -> float:
        return self._scale * self._dice.normal(sd)

    def each(self, sds: Array) -> Array:
        return np.array([self.one(float(sd)) for sd in sds])


def _readings(subject: Subject, rig: Rig, runs: list[Steady], error: _Errors) -> Iterator[Any]:
    in_pipe = subject.position == "clean_pipe"
    flow = np.concatenate([run.path.pipe_flow if in_pipe else run.path.port_flow for run in runs])
    meter = Meter.model_validate(subject.meter)
    coefficient_u = 0.02 if subject.plastic else 0.0075
    # dp goes with the square of the flow, so an offset is half as much of it, relatively.
    rt = runs[0].gas_constant * subject.site["temperature_k"]
    density = subject.site["pressure_pa"] / rt
    throat = float(area(meter.throat_bore_m))
    pressure = (flow / (0.97 * throat)) ** 2 / (2 * density)
    of_zero = ZERO_PA / (2 * pressure)
    gain = meter.discharge_coefficient / float(rig.meter.discharge_coefficient) - 1
    value = np.log(flow) + error.each(np.full(len(flow), POINT_U)) - error._scale * gain
    value += error.one(0.004) + error.one(1.0) * of_zero
    own = POINT_U**2 + ev.MODEL_FLOW**2
    shared = coefficient_u**2 + 0.004**2
    covariance = shared + np.outer(of_zero, of_zero) + own * np.eye(len(flow))
    yield ev.Reading("metered_flow", np.arange(len(flow)), value, covariance)
    before = 0
    for run in runs:
        path, p0 = run.path, subject.site["pressure_pa"]
        places: dict[str, tuple[Any, Array]] = {}
        if "blower_air" in subject.sensors:
            places["inlet"] = ("inlet_vacuum", p0 - path.blower_pressure)
        if "tank_air" in subject.sensors:
            places["tank"] = ("tank_vacuum", p0 - path.tank_pressure)
        if in_pipe:
            at = np.full(len(path.pipe_flow), subject.site["temperature_k"])
            constant = np.full(len(at), run.gas_constant)
            tap, _ = upstream_state(path.pipe_flow, path.pipe_pressure, at, constant, meter)
            places["tap"] = ("pipe_vacuum", p0 - tap)
        points = before + np.arange(len(path.pipe_flow))
        for quantity, vacuum in places.values():
            own = np.hypot(ev.MODEL_VACUUM_PA, ev.MODEL_VACUUM * vacuum)
            read = vacuum + error.one(SENSOR_PA) + error.each(own / 2)
            yield ev.Reading(quantity, points, read, SENSOR_PA**2 + np.diag(own**2))
        if subject.gauge and run is runs[0]:
            yield _gauge(subject, path, p0, error)
        if "discharge_temperature" in subject.sensors:
            heat = run.power * (1 - subject.machine["blower"]["heat_loss"])
            rise = heat / (path.blower_flow * HEAT_CAPACITY)
            read = rise + error.one(1.0) + error.each(np.full(len(rise), 0.4))
            shared_k = np.full((len(rise),) * 2, ev.DISCHARGE_SHARED_K**2)
            covariance = shared_k + ev.DISCHARGE_K**2 * np.eye(len(rise))
            yield ev.Reading("discharge_rise", points, read, covariance)
        before += len(points)


def _gauge(subject: Subject, path: Any, p0: float, error: _Errors) -> ev.Reading:
    """Read at every second hold, to half an inch."""
    at_blower = subject.gauge == "blower inlet"
    vacuum = p0 - (path.blower_pressure if at_blower else path.tank_pressure)
    points = np.arange(0, len(vacuum), 2)
    read = vacuum[points] + error.one(0.25 * INHG)
    if error._scale:
        read = 0.5 * INHG * np.round(read / (0.5 * INHG))
    own, shared = ev.GAUGE_OWN * GAUGE_PA, ev.GAUGE_SHARED * GAUGE_PA
    covariance = shared**2 + own**2 * np.eye(len(points))
    return ev.Reading(ev.GAUGE_AT[subject.gauge], points, read, covariance)


def _speeds(subject: Subject, now: Steady, top: int, facts: MachineFacts, error: _Errors) -> Speeds:
    ratio = facts.belt_ratio or 1.0
    engine = now.engine_rpm[top] * ratio / facts.rated_rpm
    blower = now.blower_rpm[top] / facts.rated_rpm * (1 + error.one(SPEED_U))
    if subject.tach == "blower":
        return Speeds(None, SPEED_U, blower, SPEED_U)
    if subject.tach == "engine":
        return Speeds(engine * (1 + error.one(SPEED_U)), SPEED_U, None, SPEED_U)
    if subject.tach == "typed":
        return Speeds(engine * (1 + error.one(ev.TACH_U)), ev.TACH_U, blower, SPEED_U)
    return Speeds(engine * (1 + error.one(SPEED_U)), SPEED_U, blower, SPEED_U)

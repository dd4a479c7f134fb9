"""Invented machines of the bench's own plant, and the readings that their runs would give.

The plant (`bench.path`) knows nothing of the diagnosis: other code, written from the same laws.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pullcurve.bench.instrument import Meter
from pullcurve.bench.machine import Blower, Engine, Filter, Hose, Leaks, Machine
from pullcurve.bench.path import Conditions, Path, PathState
from pullcurve.diagnosis.evidence import Evidence, Quantity, Reading
from pullcurve.diagnosis.facts import MachineFacts
from pullcurve.diagnosis.speeds import Speeds
from pullcurve.physics.path import Setting

Array = NDArray[np.float64]

P0, T0, RT = 94_100.0, 285.15, 287.05 * 285.15
BORE, RATED_RPM, TURN_M3, S1 = 0.127, 2750.0, 0.0160, 115.0
AREA = np.pi / 4 * BORE**2
PIPE, THROAT = 0.1446, 0.0983
HOSE_M = 21.34
CLEAN_PA, CLEAN_M3_S = 1500.0, 0.6135
OUTLET = 1400.0  # Pa s2/kg2 of the silencer
SPEEDS = np.array([0.55, 0.65, 0.78, 0.9, 1.0]) * RATED_RPM
PLATE = 25.0  # velocity heads on the port's bore


@dataclass(frozen=True)
class Truth:
    """What is wrong with the grit unit, and what was there to see it with."""

    position: str = "port"
    wear: float = 1.0
    leak_a: float = 0.0  # over the port's area
    leak_b: float = 0.0
    leak_c: float = 0.0
    belt: float = 0.004
    engine: float = 1.0  # of its rated speed
    choke: float = 0.0  # velocity heads on the port's bore
    filter: float = 1.0
    hose: bool = False
    plate: bool = False
    seen: tuple[Quantity, ...] = ()
    tachs: str = "blower"  # blower, engine or both


def facts() -> MachineFacts:
    """What the rig of the grit unit says."""
    slip = S1 * np.sqrt(14.696 * (101_325 / (101_325 - 2 * 3386.389) - 1))
    return MachineFacts(
        displacement_m3=TURN_M3,
        slip_speed_rpm=S1,
        laminar_share=0.0,
        sheet_spread=np.diag([0.002, 0.02, 0.02]),
        fit=None,
        rated_rpm=RATED_RPM,
        rated_flow_m3_s=TURN_M3 * (RATED_RPM - slip) / 60,
        rated_pressure_pa=101_325.0,
        rated_pressure_share=1.0,
        rated_temperature_k=293.15,
        basis="data sheet",
        port_area_m2=AREA,
        hose_loss=(HOSE_M / BORE * 0.03 + 1.4) / 1.15,
        hose_wall="smooth",
        hose_bore_m=BORE,
        filter_loss=(CLEAN_PA, CLEAN_M3_S),
        belt_ratio=1.25,
        relief_vacuum_pa=None,
    )


def machine(truth: Truth) -> Machine:
    engine = Engine(idle_rpm=500, governed_rpm=9000, lag_s=0.5, throttle=((0.0, 0.0), (1.0, 0.0)))
    return Machine(
        engine=engine,
        belt_ratio=1.25,
        blower=Blower(
            displacement_m3=TURN_M3,
            slip_speed_rpm=S1,
            slip_factor=truth.wear,
            heat_loss=0.08,
            outlet_pa_s2_kg2=OUTLET,
        ),
        filter=Filter(linear_pa_s_m3=truth.filter * CLEAN_PA / CLEAN_M3_S),
        tank_volume_m3=5.0,
        port_bore_m=BORE,
        port_loss=0.6,
        clean_pipe_loss=1.8,
        leaks=Leaks(a_m2=truth.leak_a * AREA, b_m2=truth.leak_b * AREA, c_m2=truth.leak_c * AREA),
        hose=Hose(length_m=HOSE_M, bore_m=BORE, friction_factor=0.03, loss=1.4)
        if truth.hose
        else None,
    )


def meter(truth: Truth) -> Meter:
    return Meter.model_validate(
        {
            "position": truth.position,
            "pipe_bore_m": PIPE,
            "throat_bore_m": THROAT,
            "discharge_coefficient": 0.977,
            "inlet_loss": 0.4,
            "recovery_loss": 0.3,
            "line_time_constant_s": 0.005,
        }
    )


def solved(truth: Truth) -> tuple[Array, Array, PathState]:
    """Blower speeds, plate losses and the plant's steady state at every hold."""
    plates = np.repeat([0.0, PLATE], len(SPEEDS)) if truth.plate else np.zeros(len(SPEEDS))
    speed = np.resize(SPEEDS, len(plates)) * truth.engine * (1 - truth.belt)
    one = np.ones_like(speed)
    unit = machine(truth)
    now = Conditions(
        pressure=P0 * one,
        temperature=T0 * one,
        gas_constant=287.05 * one,
        mass_ratio=one,
        speed_rpm=speed,
        hose_on=one * truth.hose,
        clog_loss=truth.choke * one,
        plate_loss=plates,
        filter_linear=unit.filter.linear_pa_s_m3 * one,
        leak_a_m2=unit.leaks.a_m2 * one,
        leak_b_m2=unit.leaks.b_m2 * one,
        leak_c_m2=unit.leaks.c_m2 * one,
    )
    return speed, plates, Path(unit, meter(truth), now).solve(1e12)


def evidence(truth: Truth) -> Evidence:
    """What a careful run of it would say; errors are left out, their uncertainty is not."""
    speed, plates, state = solved(truth)
    number = len(speed)
    one = np.ones(number)
    in_pipe = truth.position == "clean_pipe"
    engine_only = truth.tachs == "engine"
    everywhere = np.arange(number)

    def reading(quantity: Quantity, value: Array, own: float, shared: float) -> Reading:
        covariance = shared**2 * np.ones((number, number)) + own**2 * np.eye(number)
        return Reading(quantity, everywhere, value, covariance)

    power = TURN_M3 * speed / 60 * (state.outlet_pressure - state.blower_pressure) * 0.92
    known = {
        "inlet_vacuum": reading("inlet_vacuum", P0 - state.blower_pressure, 30.0, 40.0),
        "tank_vacuum": reading("tank_vacuum", P0 - state.tank_pressure, 30.0, 40.0),
        "discharge_rise": reading("discharge_rise", power / (state.blower_flow * 1005), 0.7, 1.5),
    }
    metered = state.pipe_flow if in_pipe else state.port_flow
    relative = (speed / (1 - truth.belt)) / RATED_RPM
    loss = 0.7 / (np.pi / 4 * PIPE**2) ** 2
    return Evidence(
        setting=Setting(
            shaft_rpm=speed / (1 - truth.belt) if engine_only else speed,
            belt_between=np.full(number, engine_only),
            ambient_pressure=P0 * one,
            temperature=T0 * one,
            gas_constant=287.05 * one,
            mass_ratio=one,
            in_pipe=np.full(number, in_pipe),
            meter_area=np.pi / 4 * PIPE**2 * one,
            hose_on=np.full(number, truth.hose),
            hose_bore=BORE * one,
        ),
        judged=np.full(number, fill_value=True),
        meter_term=loss * one,
        sweep=np.where(plates > 0, 2, 1),
        plate=np.where(plates > 0, 0, -1),
        plate_terms=(PLATE / AREA**2,) if truth.plate else (),
        readings=(
            reading("metered_flow", np.log(metered), 0.003, 0.0075),
            *(known[quantity] for quantity in truth.seen),
        ),
        facts=facts(),
        speeds=Speeds(
            None if truth.tachs == "blower" else float(relative[len(SPEEDS) - 1]),
            3e-4,
            None if engine_only else float(speed[len(SPEEDS) - 1] / RATED_RPM),
            3e-4,
        ),
        top=len(SPEEDS) - 1,
    )


def with_readings_of(first: Evidence, later: Evidence) -> Evidence:
    """`later` as it is judged with `first` as the earlier, healthy run of the same meter."""
    number, before = len(later.sweep), len(first.sweep)
    both = number + before
    setting = Setting(
        *(
            np.concatenate([getattr(later.setting, name), getattr(first.setting, name)])
            for name in Setting.__dataclass_fields__
        )
    )
    flows = np.concatenate([later.readings[0].value, first.readings[0].value])
    covariance = 0.0075**2 * np.ones((both, both)) + 0.003**2 * np.eye(both)
    return replace(
        later,
        setting=setting,
        judged=np.arange(both) < number,
        meter_term=np.concatenate([later.meter_term, first.meter_term]),
        sweep=np.concatenate([later.sweep, first.sweep]),
        plate=np.concatenate([later.plate, first.plate]),
        readings=(
            Reading("metered_flow", np.arange(both), flows, covariance),
            *later.readings[1:],
            *(replace(one, points=one.points + number) for one in first.readings[1:]),
        ),
    )

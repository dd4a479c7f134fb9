"""What a machine of the diagnosis study truly does, and its causes, sizes and ledger."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from diagnosis_machines import Subject
from machines import Tree
from pullcurve.bench.instrument import Meter
from pullcurve.bench.machine import Machine
from pullcurve.bench.moist_air import (
    Array,
    molar_mass,
    specific_gas_constant,
    vapour_fraction,
)
from pullcurve.bench.path import Conditions, Path, PathState
from pullcurve.bench.shafts import engine_load

STANDING = ((0.0, 0.0), (1.0, 0.0))  # a throttle that is not used
LOAD_ROUNDS = 3
NO_TANK_S = 1e12  # a step in which the tank fills at once


@dataclass(frozen=True)
class Steady:
    """The machine at some steady points."""

    engine_rpm: Array
    blower_rpm: Array
    path: PathState
    gas_constant: float
    power: Array

    @property
    def rt(self) -> Array:
        """R T at the blower's inlet."""
        return np.asarray(self.path.blower_pressure / self._density)

    _density: Any = None


@dataclass(frozen=True)
class Truth:
    """`sizes` of the causes that are there; `steps` of the ledger in m3/s at the blower's inlet,
    and `by_sheet` those two that change where the sheet's slip is the healthy one; `place` of
    the leak."""

    sizes: dict[str, float]
    steps: dict[str, float]
    by_sheet: dict[str, float]
    healthy: float
    metered: float
    place: str


def bench_machine(tree: Tree) -> Machine:
    engine = tree["engine"] | {"throttle": tree["engine"].get("throttle", STANDING)}
    return Machine.model_validate(tree | {"engine": engine})


def steady(
    subject: Subject,
    tree: Tree,
    engine_rpm: Array,
    plate_on: Array,
    *,
    choke: float,
    blower_rpm: Array | None = None,
) -> Steady:
    """The machine at these speeds of its engine; the belt slips more under load. With
    `blower_rpm` the belt does as it likes."""
    machine, site = bench_machine(tree), subject.site
    ones = np.ones(engine_rpm.shape)
    pressure, temperature = site["pressure_pa"] * ones, site["temperature_k"] * ones
    fraction = vapour_fraction(pressure, temperature, site["humidity"] * ones)
    constant = specific_gas_constant(pressure, temperature, fraction)
    power = np.zeros_like(ones)
    meter = Meter.model_validate(subject.meter)
    start = None
    for _ in range(LOAD_ROUNDS if blower_rpm is None else 1):
        slip = machine.belt_slip + machine.belt_slip_at_load * engine_load(machine.engine, power)
        speed = blower_rpm
        if speed is None:
            speed = engine_rpm * machine.belt_ratio * (1 - slip)
        now = Conditions(
            pressure=pressure,
            temperature=temperature,
            gas_constant=constant,
            mass_ratio=molar_mass(fraction) / molar_mass(np.asarray(0.0)),
            speed_rpm=speed,
            hose_on=ones * (machine.hose is not None),
            clog_loss=choke * ones,
            plate_loss=np.where(plate_on, subject.plate_loss, 0.0),
            filter_linear=machine.filter.linear_pa_s_m3 * ones,
            leak_a_m2=machine.leaks.a_m2 * ones,
            leak_b_m2=machine.leaks.b_m2 * ones,
            leak_c_m2=machine.leaks.c_m2 * ones,
        )
        path = start = Path(machine, meter, now).solve(NO_TANK_S, start)
        rise = path.outlet_pressure - path.blower_pressure
        power = machine.blower.displacement_m3 * speed / 60 * rise
    density = path.blower_pressure / (constant * temperature)
    return Steady(engine_rpm, speed, path, float(constant[0]), power, density)


def truth_at(subject: Subject, engine_rpm: float, rated_rpm: float, rated_flow: float) -> Truth:
    """At the fastest hold, plate off."""
    engine, bare = np.array([engine_rpm]), np.array([False])
    now = steady(subject, subject.machine, engine, bare, choke=subject.choke)
    path, speed = now.path, float(now.blower_rpm[0])
    right = steady(
        subject,
        subject.machine | {"filter": subject.sound["filter"]},
        *(engine, bare),
        choke=0.0,
        blower_rpm=now.blower_rpm,
    )
    factor = subject.machine["blower"]["slip_factor"]
    slip = float(path.slip_rpm[0])
    own = slip * subject.sound["blower"]["slip_factor"] / factor
    ratio = subject.machine["belt_ratio"]
    per_turn = subject.machine["blower"]["displacement_m3"] / 60
    volume = {
        name: float(getattr(path, name)[0] / now._density[0])
        for name in ("leak_a", "leak_b", "leak_c", "relief", "port_flow", "pipe_flow")
    }
    volume["leak_c"] += volume.pop("relief")
    in_pipe = subject.position == "clean_pipe"
    sizes = {
        "low_speed": 1 - engine_rpm * ratio / rated_rpm,
        "slipping_belt": 1 - speed / (engine_rpm * ratio),
        "worn_clearances": (slip - own) / speed,
        "leak": (volume["leak_a"] + volume["leak_b"] + volume["leak_c"])
        / float(path.blower_flow[0] / now._density[0]),
        "restriction": float(right.path.blower_flow[0] / path.blower_flow[0]) - 1,
    }
    behind = volume["leak_c"] + (0.0 if in_pipe else volume["leak_b"])
    governor = per_turn * (rated_rpm - engine_rpm * ratio)
    belt = per_turn * (engine_rpm * ratio - speed)

    def with_healthy(healthy_slip: float) -> dict[str, float]:
        wear = per_turn * (slip - healthy_slip)
        return {
            "slip": rated_flow - governor - belt - per_turn * (speed - healthy_slip),
            "wear": wear,
            "wear_and_leak_behind": wear + behind,
        }

    metered = volume["pipe_flow" if in_pipe else "port_flow"]
    return Truth(
        sizes={cause: sizes[cause] for cause in subject.causes},
        steps={"governor": governor, "belt": belt, "leak_behind": behind}
        | {"leak_ahead": volume["leak_a"]}
        | with_healthy(own),
        by_sheet=with_healthy(slip / factor),
        healthy=per_turn * (speed - own),
        metered=metered,
        place=next((fault[-1] for fault in subject.faults if fault.startswith("leak")), ""),
    )

"""A scenario as a plant: every physical value that a sensor could feel, at any time."""

import cmath
import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, overload

import numpy as np

from pullcurve.bench.grid import STEP_S, Signal
from pullcurve.bench.instrument import PickupTruth
from pullcurve.bench.lines import behind_lines, line_constants
from pullcurve.bench.moist_air import Array
from pullcurve.bench.path import Conditions, Path, PathState
from pullcurve.bench.pulsation import Ripple, felt_series
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.shafts import edges, engine_load, engine_speed, speed_wander, turns
from pullcurve.bench.truth import columns, conditions

# Streams of the scenario's seed, one to a cause: a change of one leaves the others as they are.
_WANDER, _CLOGS, _PICKUP = 0, 1, {"blower_shaft": 2, "engine_shaft": 3}
_SLOW_WANDER, _COEFFICIENT = 4, 5

_SHORTEST_HOLD_S = 5.0
_LOAD_ROUNDS = 2  # speed gives load, load gives droop: this leaves 0.2 rev/min or less
_FIRST_ANGLE = 0.37  # turns; no mark of even spacing stands at the pickup to begin with


@dataclass(frozen=True)
class Hold:
    """A stretch in which the throttle stood still and the engine had followed it."""

    start_s: float
    end_s: float
    speed_rpm: float  # the blower's mean


class Plant:
    """What a scenario's machine truly does. Made by `simulate`.

    Times are seconds since the scenario's start, a float or an array. Pressures are absolute,
    in Pa, temperatures in K.
    """

    def __init__(self, scenario: Scenario, columns: dict[str, Array]) -> None:
        self.scenario = scenario
        self._columns = columns
        ambient = columns["ambient_pressure_pa"]
        self.meter_pressure = Signal[float](columns["meter_pressure_pa"])
        self.blower_pressure = Signal[float](ambient - columns["vacuum_blower_pa"])
        self.tank_pressure = Signal[float](ambient - columns["vacuum_tank_pa"])
        self.discharge_temperature = Signal[float](columns["discharge_temperature_k"])
        self.ambient_pressure = Signal[float](ambient)
        self.ambient_temperature = Signal[float](columns["ambient_temperature_k"])
        self._angle = Signal[float](turns(columns["speed_rpm"], STEP_S, _FIRST_ANGLE))
        self._lobe_passes = 2 * scenario.machine.blower.lobes
        meter = scenario.meter
        lines = line_constants(meter, scenario.events.water, columns["time_s"])
        steady = behind_lines(columns["differential_pressure_pa"], meter, *lines, STEP_S)
        self._steady_pressure = Signal[float](-steady if meter.tubes_reversed else steady)
        self._line_offset = Signal[float](columns["line_offset_pa"])
        lobe_hz = self._lobe_passes * columns["speed_rpm"] / 60
        self._ripple = Ripple(felt_series(meter, lobe_hz, *lines))

    @overload
    def differential_pressure(self, time_s: float) -> float: ...
    @overload
    def differential_pressure(self, time_s: Array) -> Array: ...
    def differential_pressure(self, time_s: float | Array) -> float | Array:
        """Difference that the sensor feels [Pa], behind its lines, with pulsation and water.

        The pulsation follows the blower's angle.
        """
        turn: Any = self._angle(time_s) * self._lobe_passes
        rotor = (
            np.exp(2j * np.pi * turn)
            if isinstance(turn, np.ndarray)
            else cmath.exp(2j * math.pi * (turn % 1.0))
        )
        factor: float | Array = self._ripple(time_s, rotor)
        return self._steady_pressure(time_s) * factor + self._line_offset(time_s)

    def edges(self, pickup: PickupTruth) -> Array:
        """Times [s] of this pickup's edges, sorted; the same for the same seed."""
        speed = "speed_rpm" if pickup.role == "blower_shaft" else "engine_speed_rpm"
        generator = np.random.default_rng([self.scenario.seed, _PICKUP[pickup.role]])
        angle = turns(self._columns[speed], STEP_S, _FIRST_ANGLE)
        return edges(pickup, self._columns["time_s"], angle, generator)

    def truth(self, period_s: float = 0.1) -> dict[str, Array]:
        """The plant's columns every `period_s` [s], rounded to the grid's 10 ms."""
        stride = max(1, round(period_s / STEP_S))
        return {name: values[::stride] for name, values in self._columns.items()}

    @cached_property
    def holds(self) -> list[Hold]:
        """The throttle's holds, each from five time constants of the engine after it began.

        The tank may take longer; an event may disturb the flow.
        """
        engine = self.scenario.machine.engine
        found = []
        points = engine.throttle
        for (start, asked), (point_s, then) in pairwise(points):
            settled = start + 5 * engine.lag_s
            end = min(point_s, self.scenario.duration_s)
            if asked == then > 0 and end - settled >= _SHORTEST_HOLD_S:
                stretch = slice(round(settled / STEP_S), round(end / STEP_S) + 1)
                mean = self._columns["speed_rpm"][stretch].mean()
                found.append(Hold(settled, end, float(mean)))
        return found


def simulate(scenario: Scenario) -> Plant:
    """The plant of a scenario, computed for its whole duration on a grid of 10 ms.

    Quasi-steady flow through hose, filter, leaks and blower; the tank stores air; the engine
    lags. Truth columns: time_s; speed_rpm (blower) and engine_speed_rpm, calm_speed_rpm (of the
    blower, without wander);
    differential_pressure_pa (of the mean flow, no pulsation) and flow_pulsation (s, relative
    root mean square); mass_flow_kg_s (through the meter) and with the same mass
    flow_tap_m3_s, flow_ambient_m3_s (open air), flow_port_m3_s (just ahead of the port),
    flow_inlet_m3_s (at the blower's inlet), standard_flow_m3_s (101325 Pa, 20 C, dry air's
    density); port_mass_flow_kg_s, blower_mass_flow_kg_s, tank_storage_kg_s, leak_a_kg_s,
    leak_b_kg_s, leak_c_kg_s, relief_kg_s; vacuum_tank_pa, vacuum_blower_pa, pressure_ratio,
    slip_rpm, gas_power_w, discharge_temperature_k; meter_pressure_pa, meter_temperature_k,
    discharge_coefficient; ambient_pressure_pa, ambient_temperature_k, humidity;
    zero_error_pa (of the differential-pressure sensor) and line_offset_pa (of water in its
    lines).

    Raises
    ------
    ScenarioError
        The machine has no flow that fits, or something in it chokes.
    """
    machine = scenario.machine
    times: Array = np.arange(round(scenario.duration_s / STEP_S) + 1, dtype=np.float64) * STEP_S
    wander = speed_wander(
        machine.engine,
        times,
        np.random.default_rng([scenario.seed, _WANDER]),
        np.random.default_rng([scenario.seed, _SLOW_WANDER]),
    )

    def under_load(
        power: Array, start: PathState | None
    ) -> tuple[dict[str, Array], Conditions, PathState, Array]:
        engine = engine_speed(machine.engine, times, power, wander)
        calm = engine_speed(machine.engine, times, power, np.zeros_like(wander))
        slip = machine.belt_slip + machine.belt_slip_at_load * engine_load(machine.engine, power)
        blower = engine * machine.belt_ratio * (1 - slip)
        events = np.random.default_rng([scenario.seed, _CLOGS])
        now = conditions(scenario, times, blower, events)
        path = Path(machine, scenario.meter, now).solve(STEP_S, start)
        rise = path.outlet_pressure - path.blower_pressure
        shafts = {
            "time_s": times,
            "speed_rpm": blower,
            "calm_speed_rpm": calm * machine.belt_ratio * (1 - slip),
            "engine_speed_rpm": engine,
        }
        return shafts, now, path, machine.blower.displacement_m3 * blower / 60 * rise

    shafts, now, path, power = under_load(np.zeros_like(times), None)
    for _ in range(_LOAD_ROUNDS):
        shafts, now, path, power = under_load(power, path)
    swirl = np.random.default_rng([scenario.seed, _COEFFICIENT])
    known = columns(scenario, times, now, path, power, shafts["speed_rpm"], swirl)
    return Plant(scenario, shafts | known)

"""The air's way through the machine, in time: hose, tank, filter, leaks and blower.

Air stays at ambient temperature up to the blower. Along the way Z R / M is taken at ambient
pressure: at 20 kPa of vacuum this moves the flow through the blower by less than 1e-4.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_banded

from pullcurve.bench.elements import (
    inlet_flow,
    leak_flow,
    loss_term,
    narrow_gap_slip,
    pressure_before,
    slip_ratio_per_square,
)
from pullcurve.bench.instrument import Meter
from pullcurve.bench.machine import Machine
from pullcurve.bench.moist_air import Array
from pullcurve.errors import ScenarioError

_LEAST_TANK = 0.4  # tank over ambient pressure; beyond it the way in is near choking
_GREATEST_OUTLET = 1.5  # outlet over ambient pressure; no silencer is meant to do this
_ROUNDS = 200
_PATIENCE = 20  # then every other step is halved: it breaks a swing about a leak's turning point
_TOLERANCE_KG_S = 1e-10
_LONGEST_STEP = 1.0  # of Newton's method, in X
_FLOOR_PA2 = 1e6  # keeps a straying iteration from the root of a negative square
_LEAST_X = -2.0  # pressed air at the inlet: only a stray iteration comes here
_WIDTH = 1e-6  # of central differences, in X


@dataclass(frozen=True)
class Conditions:
    """What drives the path, one value a time step; Pa, K, J/(kg K), turns a minute, K."""

    pressure: Array
    temperature: Array
    gas_constant: Array
    mass_ratio: Array  # molar mass of the moist air over that of dry air
    speed_rpm: Array
    hose_on: Array  # 1 or 0
    clog_loss: Array
    plate_loss: Array
    filter_linear: Array
    leak_a_m2: Array
    leak_b_m2: Array
    leak_c_m2: Array


@dataclass(frozen=True)
class PathState:
    """The air's state along the path; flows in kg/s, pressures in Pa."""

    slip_root: Array  # X
    port_flow: Array
    port_pressure: Array  # just ahead of the port
    tank_pressure: Array
    leak_a: Array
    filter_flow: Array
    leak_b: Array
    pipe_pressure: Array  # at the clean pipe's beginning
    pipe_flow: Array  # through the clean pipe
    leak_c: Array
    relief: Array
    blower_pressure: Array
    blower_flow: Array
    outlet_pressure: Array
    slip_rpm: Array


class Path:
    """The path of one scenario under its conditions over time.

    One unknown fixes a time step: the blower's X, the root that its slip goes with. From it
    follow the blower's flow and inlet pressure, back through pipe and filter the tank's
    pressure, and from that what enters by port and leak A. The tank's mass balance must hold.
    """

    def __init__(self, machine: Machine, meter: Meter, conditions: Conditions) -> None:
        self._machine = machine
        self._now = now = conditions
        self._rt = now.gas_constant * now.temperature
        self._ratio_per_square = slip_ratio_per_square(now.temperature, now.mass_ratio)

        bore = machine.port_bore_m
        meter_term = loss_term(meter.inlet_loss + meter.recovery_loss, meter.pipe_bore_m)
        in_pipe = meter.position == "clean_pipe"
        self._ahead = np.asarray(0.0) if in_pipe else meter_term
        self._pipe = loss_term(machine.clean_pipe_loss, bore) + (meter_term if in_pipe else 0.0)
        self._port = loss_term(machine.port_loss, bore)
        self._hose, self._acceleration = np.asarray(0.0), np.asarray(0.0)
        clog_in_port = now.clog_loss
        if machine.hose is not None:
            hose = machine.hose
            governed = machine.engine.governed_rpm * machine.belt_ratio
            slowness = governed / np.maximum(now.speed_rpm, 0.05 * governed)
            friction = hose.friction_factor * hose.length_m / hose.bore_m
            friction_now = friction * slowness**hose.friction_power
            self._hose = now.hose_on * loss_term(
                friction_now + hose.loss + now.clog_loss, hose.bore_m
            )
            self._acceleration = now.hose_on * loss_term(2.0, hose.bore_m)
            clog_in_port = now.clog_loss * (1 - now.hose_on)
        self._behind = loss_term(now.plate_loss + clog_in_port, bore) + self._port

    def solve(self, step_s: float, start: PathState | None = None) -> PathState:
        """Flows at every time step, `step_s` [s] apart; steady at the first.

        `start` is the answer to a similar case, to begin from.

        Implicit Euler for the tank; Newton's method over all steps at once, whose matrix has
        one band below the diagonal.

        Raises
        ------
        ScenarioError
            No flow fits, or the way in is so narrow that it chokes.
        """
        capacity = self._machine.tank_volume_m3 / (self._rt * step_s)  # kg/s of storage per Pa
        x = np.where(self._now.speed_rpm > 0, 1.0, 0.0) if start is None else start.slip_root
        for turn in range(_ROUNDS):
            state = self._state(x)
            balance = storage(state, capacity) - _net_inflow(state)
            if np.abs(balance).max() < _TOLERANCE_KG_S:
                return self._checked(state)
            low, high = self._state(x - _WIDTH), self._state(x + _WIDTH)
            inflow_x = (_net_inflow(high) - _net_inflow(low)) / (2 * _WIDTH)
            stored_x = capacity * (high.tank_pressure - low.tank_pressure) / (2 * _WIDTH)
            bands = np.zeros((2, x.size))
            bands[0] = stored_x - inflow_x
            bands[0, 0] = -inflow_x[0]
            bands[1, :-1] = -stored_x[:-1]
            step = solve_banded((1, 0), bands, -balance)
            if turn > _PATIENCE and turn % 2:
                step = step / 2
            x = np.maximum(x + np.clip(step, -_LONGEST_STEP, _LONGEST_STEP), _LEAST_X)
        raise ScenarioError("the machine's path has no flow that fits: check its losses and leaks")

    def _state(self, x: Array) -> PathState:
        machine, now, rt = self._machine, self._now, self._rt
        blower = machine.blower
        ratio = 1 + self._ratio_per_square * x * np.abs(x)
        share = blower.laminar_share
        slip = (1 - share) * x + share * narrow_gap_slip(now.pressure / ratio, ratio)
        slip = slip * blower.slip_speed_rpm * blower.slip_factor
        # Blower flow over outlet pressure; then p2 = p0 + silencer m^2 solved for p2.
        per_outlet = blower.displacement_m3 * (now.speed_rpm - slip) / (60 * ratio * rt)
        silencer = blower.outlet_pa_s2_kg2 * per_outlet * np.abs(per_outlet)
        p2 = 2 * now.pressure / (1 + np.sqrt(np.maximum(1 - 4 * silencer * now.pressure, 0)))
        p1 = p2 / ratio
        blower_flow = per_outlet * p2

        leak_c = leak_flow(now.leak_c_m2, now.pressure, p1, rt)
        relief = np.zeros_like(p1)
        if machine.relief is not None:
            excess = now.pressure - p1 - machine.relief.vacuum_pa
            relief = machine.relief.slope_kg_s_pa * np.maximum(excess, 0)
        pipe_flow = blower_flow - leak_c - relief
        pipe_pressure = pressure_before(p1, pipe_flow, self._pipe, rt)
        leak_b = leak_flow(now.leak_b_m2, now.pressure, pipe_pressure, rt)
        filter_flow = pipe_flow - leak_b
        # The cloth's square part at the flow behind it, the linear part at the mean pressure's.
        volume = filter_flow * rt / pipe_pressure
        behind_cloth = pipe_pressure + machine.filter.square_pa_s2_m6 * volume * np.abs(volume)
        tank = np.sqrt(
            np.maximum(behind_cloth**2 + 2 * now.filter_linear * filter_flow * rt, _FLOOR_PA2)
        )

        port_flow = inlet_flow(
            now.pressure,
            tank,
            ahead=self._ahead,
            hose=self._hose,
            acceleration=self._acceleration,
            behind=self._behind,
            rt=rt,
        )
        return PathState(
            slip_root=x,
            port_flow=port_flow,
            port_pressure=pressure_before(tank, port_flow, self._port, rt),
            tank_pressure=tank,
            leak_a=leak_flow(now.leak_a_m2, now.pressure, tank, rt),
            filter_flow=filter_flow,
            leak_b=leak_b,
            pipe_pressure=pipe_pressure,
            pipe_flow=pipe_flow,
            leak_c=leak_c,
            relief=relief,
            blower_pressure=p1,
            blower_flow=blower_flow,
            outlet_pressure=p2,
            slip_rpm=slip,
        )

    def _checked(self, state: PathState) -> PathState:
        if np.any(state.tank_pressure < _LEAST_TANK * self._now.pressure):
            raise ScenarioError(
                "the way into the tank is close to choking: a plate, clog or hose is too narrow"
            )
        if np.any(state.outlet_pressure > _GREATEST_OUTLET * self._now.pressure):
            raise ScenarioError("'machine.blower.outlet_pa_s2_kg2' chokes the blower's outlet")
        return state


def storage(state: PathState, capacity: Array) -> Array:
    """Growth of the tank's mass [kg/s]; capacity is V / (R T step) [kg/s/Pa]. 0 at the first."""
    mass = capacity * state.tank_pressure
    return np.diff(mass, prepend=mass[0])


def _net_inflow(state: PathState) -> Array:
    return state.port_flow + state.leak_a - state.filter_flow

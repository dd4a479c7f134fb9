"""The path of the air through a machine, and where blower and path agree.

Elements in series, in the order of the air: meter on the hose's end or the port, hose, port,
tank, filter, clean pipe (with the meter, when it stands there), blower. Air leaks in at A (ahead
of the filter), B (behind it) and C (at the blower). Steady, isothermal up to the blower, an ideal
gas; the laws are those of `hose` and `blower`. Pressures are absolute.

Arrays broadcast as (machines, points): thousands of machines are solved at once. The walk goes
against the air: an inlet pressure gives the blower's intake, and each element then the pressure
and flow ahead of it; the right inlet pressure is the one that ends in the open air. The pressure
ahead rises with it, so there is one.

A solution is sought from a neighbour by the secant method, which takes three or four walks.
What has no neighbour, or is not found so, goes to `scipy.optimize.elementwise.find_root`
(Chandrupatla's method), which needs about ten and keeps a bracket. Alone it makes a verdict
2 to 75 % slower (measured on five sample logs).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

from pullcurve.physics.air import Array, Values
from pullcurve.physics.blower import discharge_rise, inlet_flow, slip_multiple
from pullcurve.physics.hose import (
    filter_pressure_before,
    hose_pressure_before,
    leak_flow,
    pressure_before,
)

FINE, ROUGH = 1e-9, 1e-6  # tolerances of the residual
CONVERGED: Final = 1e-6  # greatest residual of a solution
MIN_RATIO: Final = 1e-4  # least inlet pressure over ambient that is sought
MIN_PRESSURE_PA: Final = 1.0  # behind the filter, where an iteration strays
SECANT_STEPS: Final = 8
MIN_SLOPE: Final = 0.05  # of a secant that is believed; the true slope is 1 at least
BELT_LOAD_PA: Final = 10e3  # vacuum at which a belt slips by `belt`
MAX_BELT_SLIP: Final = 0.8


@dataclass(frozen=True, eq=False)
class Setting:
    """What is known of each point; arrays of shape (points,)."""

    shaft_rpm: Array  # of the blower where its shaft is watched, else engine speed x belt ratio
    belt_between: NDArray[np.bool_]  # the belt lies between that shaft and the blower
    ambient_pressure: Array  # Pa
    temperature: Array  # K
    gas_constant: Array  # of the moist air there, J/(kg K)
    mass_ratio: Array  # its molar mass over dry air's
    in_pipe: NDArray[np.bool_]  # the meter stands in the clean pipe
    meter_area: Array  # m², of the pipe at the upstream tap
    hose_on: NDArray[np.bool_]
    hose_bore: Array  # m

    def chosen(self, points: NDArray[Any]) -> Self:
        """Some of the points, by mask or index."""
        return type(self)(*(getattr(self, field.name)[points] for field in fields(self)))


@dataclass(frozen=True, eq=False)
class AirPath:
    """Blower and losses; each broadcasts as (machines, points)."""

    displacement: Values  # m³ a turn
    slip_speed: Values  # rev/min that hold 1 psi, healthy
    wear: Values = 1.0  # slip over healthy slip
    laminar_share: Values = 0.0  # of the slip at 1 psi
    belt: Values = 0.0  # slip of the belt over its speed, at BELT_LOAD_PA
    belt_with_load: Values = 0.0  # share of it that goes with the vacuum
    leak_a: Values = 0.0  # m², effective
    leak_b: Values = 0.0
    leak_c: Values = 0.0
    filter_linear: Values = 0.0  # Pa s/m³
    filter_square: Values = 0.0  # Pa s²/m⁶
    pipe_term: Values = 0.0  # K / A² of the clean pipe, 1/m⁴
    intake_term: Values = 0.0  # of port and plate
    meter_term: Values = 0.0
    hose_loss: Values = 0.0  # K of the hose on its bore, friction and fittings
    outlet: Values = 0.0  # silencer, Pa per (kg/s)²
    warming: Values = 1.0  # inlet over ambient temperature
    heat_loss: Values = 0.0  # share of the gas power that the casing gives away
    tap: Values = 0.0  # velocity heads from behind the filter to the meter's tap

    @classmethod
    def of(cls, x: Mapping[str, Array]) -> Self:
        """From a mapping that may hold more than the fields' names."""
        return cls(**{field.name: x[field.name] for field in fields(cls) if field.name in x})


@dataclass(frozen=True, eq=False)
class State:
    """The air at every point of every machine; flows in kg/s, pressures in Pa."""

    residual: Array  # (pressure ahead of the nozzle / ambient)² - 1
    speed_rpm: Array
    healthy_slip_rpm: Array
    slip_rpm: Array
    blower_flow: Array
    inlet_pressure: Array
    outlet_pressure: Array
    leak_a: Array
    leak_b: Array
    leak_c: Array
    pipe_flow: Array  # behind B: what a meter in the clean pipe sees
    pipe_pressure: Array  # behind the filter
    tap_pressure: Array  # at the upstream tap of a meter in the clean pipe, where the air runs
    tank_pressure: Array
    port_pressure: Array  # ahead of the port: behind the hose
    intake_flow: Array  # through port and hose
    metered_flow: Array
    discharge_rise: Array  # K

    @property
    def converged(self) -> NDArray[np.bool_]:
        """Whether blower and path agree; False for NaN."""
        return np.asarray(np.abs(self.residual) < CONVERGED)


def operating_point(
    path: AirPath, setting: Setting, start: Array | None = None, tolerance: float = FINE
) -> State:
    """Solve for the inlet pressure at which the path brings what the blower takes.

    Parameters
    ----------
    path, setting
        Machines and points, broadcasting to (machines, points).
    start : array, optional
        Inlet over ambient pressure of a machine nearby, broadcasting to (machines, points).
    tolerance : float
        Greatest residual, relative to the square of the ambient pressure.

    Returns
    -------
    State
        Arrays of (machines, points). Where `converged` is False blower and path do not agree
        within MIN_RATIO to 1, and the figures mean nothing.
    """
    parts = [getattr(each, field.name) for each in (setting, path) for field in fields(each)]
    shape = np.broadcast_shapes(*(np.shape(part) for part in parts))
    if start is None:
        square = np.full(shape, np.nan)
        open_ = np.ones(shape, dtype=bool)
    else:
        square, state = _from_neighbour(path, setting, np.broadcast_to(start, shape), tolerance)
        open_ = ~(np.abs(state.residual) < tolerance)
        if not open_.any():
            return state
    square[open_] = _bracketed(parts, open_, tolerance)
    return walk(path, setting, np.sqrt(square) * setting.ambient_pressure)


def _from_neighbour(
    path: AirPath, setting: Setting, start: Array, tolerance: float
) -> tuple[Array, State]:
    """Secant method in the square of the inlet over ambient pressure."""
    y = np.clip(start, MIN_RATIO, 1 - 1e-6) ** 2
    state = walk(path, setting, np.sqrt(y) * setting.ambient_pressure)
    slope = _rough_slope(state, setting)
    for _ in range(SECANT_STEPS):
        done = np.abs(state.residual) < tolerance
        if done.all():
            break
        new = np.where(done, y, np.clip(y - state.residual / slope, MIN_RATIO**2, 1.0))
        before = state.residual
        state = walk(path, setting, np.sqrt(new) * setting.ambient_pressure)
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = (state.residual - before) / (new - y)
        believed = np.isfinite(secant) & (secant > MIN_SLOPE)
        slope = np.where(believed, secant, _rough_slope(state, setting))
        y = new
    return y, state


def _rough_slope(state: State, setting: Setting) -> Array:
    """Slope of the residual with the inlet pressure's square, from density and slip alone."""
    p1, p2 = state.inlet_pressure, state.outlet_pressure
    turning = np.maximum(state.speed_rpm - state.slip_rpm, 1.0)
    grows = 1 + state.slip_rpm / turning / 2 * p2 / np.maximum(p2 - p1, 1.0)
    lost = np.maximum((state.residual + 1) * setting.ambient_pressure**2 - p1**2, 0.0)
    return np.asarray(1 + lost * np.clip(grows, 0.5, 50) / p1**2)


def _bracketed(parts: list[Values], chosen: NDArray[np.bool_], tolerance: float) -> Array:
    """The square of inlet over ambient pressure of the chosen elements; 1 where there is none."""
    given = [np.broadcast_to(part, chosen.shape)[chosen] for part in parts]
    known = len(fields(Setting))

    def residual(square: Array, *of: Any) -> Array:
        setting = Setting(*of[:known])
        inlet = np.sqrt(square) * setting.ambient_pressure
        return walk(AirPath(*of[known:]), setting, inlet).residual

    found = elementwise.find_root(
        residual, (MIN_RATIO**2, 1.0), args=tuple(given), tolerances={"fatol": tolerance}
    ).x
    return np.where(np.isfinite(found), found, 1.0)


def walk(path: AirPath, setting: Setting, inlet_pressure: Values) -> State:
    """Walk from the blower's inlet to the open air, whether or not it ends at its pressure.

    Parameters
    ----------
    path, setting
        Machines and points, broadcasting to (machines, points).
    inlet_pressure : Pa
        Absolute, at the blower's inlet.

    Returns
    -------
    State
        `residual` says by how much the pressure ahead of the nozzle misses the ambient one.

    Notes
    -----
    A belt creeps with what it pulls, and the pull goes with the pressure's rise. The silencer's
    loss comes from the flow without slip, then twice from that with it.
    """
    p0, p1 = setting.ambient_pressure, np.asarray(inlet_pressure, dtype=np.float64)
    t1 = setting.temperature * path.warming
    rt = setting.gas_constant * t1
    pull = 1 + path.belt_with_load * (np.maximum(p0 - p1, 0.0) / BELT_LOAD_PA - 1)
    belt = np.minimum(path.belt * pull, MAX_BELT_SLIP)
    speed = setting.shaft_rpm * np.where(setting.belt_between, 1 - belt, 1.0)
    density = p1 / rt
    flow = density * inlet_flow(path.displacement, speed, 0.0)
    for _ in range(2):
        p2 = p0 + path.outlet * np.maximum(flow, 0.0) ** 2
        healthy = path.slip_speed * slip_multiple(
            p1, p2, t1, setting.mass_ratio, path.laminar_share
        )
        slip = healthy * path.wear
        flow = density * inlet_flow(path.displacement, speed, slip)
    p2 = p0 + path.outlet * np.maximum(flow, 0.0) ** 2
    leak_c = leak_flow(path.leak_c, p0, p1, rt)
    pipe = flow - leak_c
    pipe_term = path.pipe_term + np.where(setting.in_pipe, path.meter_term, 0.0)
    behind = np.maximum(pressure_before(p1, pipe, pipe_term, rt), MIN_PRESSURE_PA)
    leak_b = leak_flow(path.leak_b, p0, behind, rt)
    through = pipe - leak_b
    tank = filter_pressure_before(behind, through, path.filter_linear, path.filter_square, rt)
    leak_a = leak_flow(path.leak_a, p0, tank, rt)
    intake = through - leak_a
    port = pressure_before(tank, intake, path.intake_term, rt)
    mouth = port
    if np.any(setting.hose_on):
        through_hose = hose_pressure_before(port, intake, path.hose_loss, setting.hose_bore, rt)
        mouth = np.where(setting.hose_on, through_hose, port)
    ahead = pressure_before(mouth, intake, np.where(setting.in_pipe, 0.0, path.meter_term), rt)
    runs = path.tap * (pipe / setting.meter_area) ** 2 * rt / (2 * behind)
    return State(
        residual=(ahead / p0) ** 2 - 1,
        speed_rpm=speed,
        healthy_slip_rpm=healthy,
        slip_rpm=slip,
        blower_flow=flow,
        inlet_pressure=p1,
        outlet_pressure=p2,
        leak_a=leak_a,
        leak_b=leak_b,
        leak_c=leak_c,
        pipe_flow=pipe,
        pipe_pressure=behind,
        tap_pressure=behind - runs,
        tank_pressure=tank,
        port_pressure=port,
        intake_flow=intake,
        metered_flow=np.where(setting.in_pipe, pipe, intake),
        discharge_rise=discharge_rise(
            path.displacement, speed, p2 - p1, flow, heat_loss=path.heat_loss
        ),
    )

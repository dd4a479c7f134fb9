"""The air's way through a machine as the diagnosis sees it, for many machines at once.

Elements in series, in the order of the air: meter and hose, port, tank, filter, clean pipe,
blower; air comes in unasked at A (ahead of the filter), B (behind it) and C (at the blower).
Steady, isothermal up to the blower; the laws are those of `physics`. Arrays are (machines,
points) and broadcast; pressures are absolute.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import air
from pullcurve.physics.blower import gas_power, laminar_slip, slip_root
from pullcurve.physics.hose import hose_pressure_before, leak_flow, pressure_before

Array = NDArray[np.float64]

_ROUNDS = 30
FINE, ROUGH = 1e-9, 1e-6  # of the ambient pressure's square
_LEAST, _GREATEST = 0.12, 1.0  # inlet pressure over ambient
LEAST_PA = 1e3  # where an iteration strays
BELT_LOAD_PA = 10e3  # vacuum at which a belt slips by `belt`
MOST_BELT = 0.8


@dataclass(frozen=True)
class Setting:
    """What is known of each point: (points,).

    `shaft_rpm` is the blower's speed where its shaft is watched, else engine speed times
    belt ratio; `belt_between` says which. `*_term` are losses K / A^2, 1/m4.
    """

    shaft_rpm: Array
    belt_between: NDArray[np.bool_]
    ambient_pressure: Array
    temperature: Array
    gas_constant: Array  # of the moist air there, J/(kg K)
    mass_ratio: Array  # its molar mass over dry air's
    in_pipe: NDArray[np.bool_]  # the meter stands in the clean pipe
    judged: NDArray[np.bool_]  # else a point of the earlier, healthy run
    meter_term: Array
    meter_area: Array  # m2, of the pipe at the upstream tap
    hose_on: NDArray[np.bool_]
    hose_bore: Array  # m

    def chosen(self, points: NDArray[np.bool_]) -> "Setting":
        """Some of the points."""
        return Setting(*(getattr(self, field.name)[points] for field in fields(self)))


@dataclass(frozen=True)
class State:
    """The air at every point of every machine; flows in kg/s."""

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
    intake_flow: Array  # through port and hose
    metered_flow: Array
    discharge_rise: Array  # K
    converged: NDArray[np.bool_]


def solve(
    setting: Setting, x: Mapping[str, Array], start: Array | None = None, tolerance: float = FINE
) -> State:
    """The operating point of every machine at every point.

    x: displacement [m3], slip_speed [rpm], wear (slip over healthy), laminar_share, belt,
    belt_with_load (share of it that goes with the vacuum), leak_a, leak_b, leak_c [m2],
    filter_linear [Pa s/m3], filter_square [Pa s2/m6], pipe_term, intake_term and meter_term
    [1/m4], hose_loss [velocity heads], outlet [Pa s2/kg2], warming (T1/T0), heat_loss, tap
    [velocity heads]. start: inlet over ambient pressure of a machine nearby.

    The way from blower to nozzle is walked backwards from an inlet pressure, and must end at
    the ambient one: one unknown a point, by the secant method in its square, within bounds.
    """
    p0 = setting.ambient_pressure
    ratio = np.broadcast_to(0.93 if start is None else start, _shape(setting, x)).astype(float)
    y = np.clip(ratio, _LEAST, _GREATEST - 1e-6) ** 2
    low, high = np.full_like(y, _LEAST**2), np.full_like(y, _GREATEST**2)
    state, miss, slope = _walk(setting, x, np.sqrt(y) * p0)
    for _ in range(_ROUNDS):
        done = np.abs(miss) < tolerance
        if done.all():
            break
        low, high = np.where(miss < 0, y, low), np.where(miss < 0, high, y)
        step = y - miss / slope
        inside = (step > low) & (step < high)
        new = np.where(done, y, np.where(inside, step, (low + high) / 2))
        state, new_miss, rough = _walk(setting, x, np.sqrt(new) * p0)
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = (new_miss - miss) / (new - y)
        slope = np.where(np.isfinite(secant) & (secant > 0.05), secant, rough)
        y, miss = new, new_miss
    return State(**state, converged=np.abs(miss) < 1e3 * FINE)


def _shape(setting: Setting, x: Mapping[str, Array]) -> tuple[int, ...]:
    return np.broadcast_shapes(setting.shaft_rpm.shape, *(np.shape(v) for v in x.values()))


def _walk(
    setting: Setting, x: Mapping[str, Array], p1: Array
) -> tuple[dict[str, Array], Array, Array]:
    """Backwards from the blower: the state, by how much the air ahead of the nozzle differs
    from the ambient one (its square over ambient's), and about how that goes with p1^2."""
    p0 = setting.ambient_pressure
    t1 = setting.temperature * x["warming"]
    rt = setting.gas_constant * t1
    # A belt creeps with what it pulls, and the pull goes with the pressure's rise.
    pull = 1 + x["belt_with_load"] * (np.maximum(p0 - p1, 0.0) / BELT_LOAD_PA - 1)
    belt = np.minimum(x["belt"] * pull, MOST_BELT)
    speed = setting.shaft_rpm * np.where(setting.belt_between, 1 - belt, 1.0)
    per_rpm = p1 / rt * x["displacement"] / 60
    # The silencer's loss from the flow without slip, then with it.
    p2 = p0 + x["outlet"] * (per_rpm * speed) ** 2
    for _ in range(2):
        root = slip_root(p2 / p1, t1, setting.mass_ratio)
        narrow = laminar_slip(p2 / p1, p1, t1)
        share = x["laminar_share"]
        healthy = x["slip_speed"] * ((1 - share) * root + share * narrow)
        slip = healthy * x["wear"]
        blower = per_rpm * (speed - slip)
        p2 = p0 + x["outlet"] * np.maximum(blower, 0.0) ** 2
    leak_c = leak_flow(x["leak_c"], p0, p1, rt)
    pipe = blower - leak_c
    pipe_term = x["pipe_term"] + np.where(setting.in_pipe, x["meter_term"], 0.0)
    behind = np.maximum(pressure_before(p1, pipe, pipe_term, rt), LEAST_PA)
    leak_b = leak_flow(x["leak_b"], p0, behind, rt)
    through = pipe - leak_b
    squares = x["filter_square"] * through * np.abs(through) * rt * rt / behind**2
    tank = pressure_before(behind + squares, through, 0.0, rt, x["filter_linear"])
    leak_a = leak_flow(x["leak_a"], p0, tank, rt)
    intake = through - leak_a
    port = pressure_before(tank, intake, x["intake_term"], rt)
    mouth = hose_pressure_before(port, intake, x["hose_loss"], setting.hose_bore, rt)
    mouth = np.where(setting.hose_on, mouth, port)
    ahead = pressure_before(mouth, intake, np.where(setting.in_pipe, 0.0, x["meter_term"]), rt)
    miss = (ahead / p0) ** 2 - 1
    # Of flow with p1, leaks left aside: by density, and by slip.
    grows = 1 + slip / np.maximum(speed - slip, 1.0) / 2 * p2 / np.maximum(p2 - p1, 1.0)
    slope = 1 + np.maximum(ahead**2 - p1**2, 0) * np.clip(grows, 0.5, 50) / p1**2
    state = {
        "speed_rpm": speed,
        "healthy_slip_rpm": healthy,
        "slip_rpm": slip,
        "blower_flow": blower,
        "inlet_pressure": p1,
        "outlet_pressure": p2,
        "leak_a": leak_a,
        "leak_b": leak_b,
        "leak_c": leak_c,
        "pipe_flow": pipe,
        "pipe_pressure": behind,
        "tap_pressure": behind - x["tap"] * (pipe / setting.meter_area) ** 2 * rt / (2 * behind),
        "tank_pressure": tank,
        "intake_flow": intake,
        "metered_flow": np.where(setting.in_pipe, pipe, intake),
        "discharge_rise": gas_power(x["displacement"], speed, p2 - p1)
        * (1 - x["heat_loss"])
        / (np.maximum(blower, 1e-6) * air.HEAT_CAPACITY),
    }
    return state, miss, slope

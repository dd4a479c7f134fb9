"""Engine speed, the angle that a shaft has turned, and the edges its pickup gives."""

import numpy as np
from scipy.signal import lfilter

from pullcurve.bench.instrument import PickupTruth
from pullcurve.bench.machine import Engine
from pullcurve.bench.moist_air import Array

_STALL_RPM = 120.0  # a stopping engine heads below zero, so that it comes to rest in good time


def coloured_noise(
    generator: np.random.Generator, size: int, step_s: float, time_s: float
) -> Array:
    """Gaussian noise of unit variance and exponential correlation over `time_s`, stationary."""
    keep = np.exp(-step_s / time_s)
    white = generator.standard_normal(size)
    white[1:] *= np.sqrt(1 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], white))


def first_order(values: Array, step_s: float, time_constant_s: float) -> Array:
    """`values`, joined by straight lines, behind a first-order lag; at rest at the start.

    The exact answer to a ramp within each step, so any step serves.
    """
    keep = np.exp(-step_s / time_constant_s)
    share = (1 - keep) * time_constant_s / step_s
    forward = [1 - share, share - keep]
    return np.asarray(lfilter(forward, [1.0, -keep], values, zi=[share * values[0]])[0])


def engine_speed(engine: Engine, times: Array, gas_power: Array, wander: Array) -> Array:
    """Engine speed [turns a minute] for the load `gas_power` [W].

    wander [turns a minute] comes on top. Governor: target less droop in proportion to the
    load; then a first-order lag.
    """
    when, asked = np.array(engine.throttle).T
    asked = np.interp(times, when, asked)
    running = asked > 0
    load = engine_load(engine, gas_power)
    target = np.clip(asked, engine.idle_rpm, engine.governed_rpm) * (1 - engine.droop * load)
    step_s = float(times[1] - times[0])
    target = np.where(running, target, -_STALL_RPM)
    speed = np.maximum(first_order(target, step_s, engine.lag_s), 0)
    # Near standstill there is no speed to wander about.
    return np.asarray(np.maximum(speed + wander * np.clip(speed / engine.idle_rpm, 0, 1), 0))


def engine_load(engine: Engine, gas_power: Array) -> Array:
    """Load [1] of a gas power [W]; the engine gives no more than half again its full load."""
    return np.clip(gas_power / engine.full_load_w, 0, 1.5)


def speed_wander(
    engine: Engine, times: Array, quick: np.random.Generator, slow: np.random.Generator
) -> Array:
    """The engine's wander about its speed [turns a minute], quick, slow and of the governor."""
    step_s = float(times[1] - times[0])
    wander = engine.wander_rpm * coloured_noise(quick, times.size, step_s, engine.wander_time_s)
    if engine.slow_wander_rpm:
        noise = coloured_noise(slow, times.size, step_s, engine.slow_wander_time_s)
        wander = wander + engine.slow_wander_rpm * noise
    if engine.hunting_rpm:
        turn = times / engine.hunting_period_s + slow.random()
        wander = wander + engine.hunting_rpm * np.sin(2 * np.pi * turn)
    return np.asarray(wander)


def turns(speed_rpm: Array, step_s: float, first: float) -> Array:
    """Angle [turns] since the start, plus `first`; trapezoidal rule."""
    mean = (speed_rpm[1:] + speed_rpm[:-1]) / 2
    return np.concatenate(([first], first + np.cumsum(mean) * step_s / 60))


def edges(pickup: PickupTruth, times: Array, angle: Array, generator: np.random.Generator) -> Array:
    """Times [s] of the pickup's edges, sorted, for a shaft at `angle` [turns] at `times` [s]."""
    offsets = np.array(pickup.uneven) if pickup.uneven else np.zeros(pickup.marks)
    places = (np.arange(pickup.marks) + offsets) / pickup.marks
    whole = np.arange(np.floor(angle[0]) - 1, np.ceil(angle[-1]) + 1)
    marks = (whole[:, None] + places).ravel()
    unseen = np.tile(pickup.missed_marks or np.zeros(pickup.marks), whole.size)
    order = np.argsort(marks, kind="stable")
    order = order[(marks[order] > angle[0]) & (marks[order] <= angle[-1])]
    passing, unseen = np.interp(marks[order], angle, times), unseen[order]

    missed = pickup.missed + (1 - pickup.missed) * unseen
    seen = passing[generator.random(passing.size) >= missed]
    twice = seen[generator.random(seen.size) < pickup.doubled]
    seen = np.concatenate((seen, twice + pickup.doubled_after_us * 1e-6))
    seen = seen + pickup.jitter_us * 1e-6 * generator.standard_normal(seen.size)
    for start, end in pickup.dropouts:
        seen = seen[(seen < start) | (seen >= end)]
    return np.sort(seen[(seen >= 0) & (seen <= times[-1])])

"""From a scenario to what drives its path, and from the solved path to the truth's columns."""

import numpy as np
from scipy.signal import lfilter

from pullcurve.bench.lines import water_offset
from pullcurve.bench.machine import Blower
from pullcurve.bench.moist_air import (
    HEAT_CAPACITY,
    STANDARD_PRESSURE_PA,
    STANDARD_TEMPERATURE_K,
    Array,
    density,
    molar_mass,
    specific_gas_constant,
    vapour_fraction,
)
from pullcurve.bench.path import Conditions, PathState, storage
from pullcurve.bench.pulsation import pressure_series
from pullcurve.bench.scenario import Clog, Scenario
from pullcurve.bench.sensing import zero_error
from pullcurve.bench.shafts import coloured_noise
from pullcurve.bench.tube import differential_pressure, discharge_coefficient, upstream_state

_GREATEST_RISE_K = 200.0  # a closed inlet has no flow to carry the heat away


def conditions(
    scenario: Scenario, times: Array, speed_rpm: Array, generator: np.random.Generator
) -> Conditions:
    """What drives the path: the air outside, the blower's speed, and the events in time."""
    site, machine = scenario.site, scenario.machine
    pressure = site.pressure_pa + site.pressure_drift_pa_per_s * times
    temperature = site.temperature_k + site.temperature_drift_k_per_s * times
    fraction = vapour_fraction(pressure, temperature, np.asarray(site.humidity))
    hose_on = np.full(times.shape, float(machine.hose is not None))
    for start, end in scenario.events.hose_off:
        hose_on[(times >= start) & (times < end)] = 0.0
    plate_loss = np.zeros_like(times)
    for plate in scenario.events.plates:
        plate_loss[(times >= plate.from_s) & (times < plate.to_s)] += plate.loss
    clog_loss = np.zeros_like(times)
    for clog in scenario.events.clogs:
        clog_loss += _clog(clog, times, generator)
    leaks = {place: np.full(times.shape, getattr(machine.leaks, f"{place}_m2")) for place in "abc"}
    for leak in scenario.events.leaks:
        grown = (times - leak.from_s) / (leak.to_s - leak.from_s)
        leaks[leak.place] += leak.area_m2 * np.clip(grown, 0, 1)
    return Conditions(
        pressure=pressure,
        temperature=temperature,
        gas_constant=specific_gas_constant(pressure, temperature, fraction),
        mass_ratio=molar_mass(fraction) / molar_mass(np.asarray(0.0)),
        speed_rpm=speed_rpm,
        hose_on=hose_on,
        clog_loss=clog_loss,
        plate_loss=plate_loss,
        filter_linear=machine.filter.linear_pa_s_m3 + machine.filter.loading_pa_s_m3_per_s * times,
        leak_a_m2=leaks["a"],
        leak_b_m2=leaks["b"],
        leak_c_m2=leaks["c"],
    )


def columns(
    scenario: Scenario,
    times: Array,
    now: Conditions,
    path: PathState,
    gas_power: Array,
    speed_rpm: Array,
    generator: np.random.Generator,
) -> dict[str, Array]:
    """The truth's columns on the plant's grid; `simulate` names them."""
    meter = scenario.meter
    humidity = np.full(times.shape, scenario.site.humidity)
    fraction = vapour_fraction(now.pressure, now.temperature, humidity)
    clean_pipe = meter.position == "clean_pipe"
    mass_flow = path.pipe_flow if clean_pipe else path.port_flow
    ahead = path.pipe_pressure if clean_pipe else now.pressure
    p1, t1 = upstream_state(mass_flow, ahead, now.temperature, now.gas_constant, meter)
    step_s = float(times[1] - times[0])
    coefficient = discharge_coefficient(mass_flow, t1, meter)
    if meter.coefficient_noise:
        noise = coloured_noise(generator, times.size, step_s, meter.coefficient_noise_time_s)
        coefficient = coefficient * (1 + meter.coefficient_noise * noise)
    tap_density = density(p1, t1, fraction)
    difference = differential_pressure(mass_flow, p1, tap_density, coefficient, meter)
    capacity = scenario.machine.tank_volume_m3 / (now.gas_constant * now.temperature * step_s)
    lobe_hz = 2 * scenario.machine.blower.lobes * speed_rpm / 60
    s_squared = pressure_series(meter, lobe_hz)[0].real - 1
    meter_sensor = next(sensor for sensor in scenario.sensors if sensor.role == "meter_dp")

    def volume(pressure: Array) -> Array:
        return np.asarray(mass_flow / density(pressure, now.temperature, fraction))

    return {
        "differential_pressure_pa": difference,
        "flow_pulsation": np.sqrt(np.maximum(s_squared, 0)),
        "mass_flow_kg_s": mass_flow,
        "flow_tap_m3_s": mass_flow / tap_density,
        "flow_ambient_m3_s": volume(now.pressure),
        "flow_port_m3_s": volume(path.port_pressure),
        "flow_inlet_m3_s": volume(path.blower_pressure),
        "standard_flow_m3_s": mass_flow
        / density(STANDARD_PRESSURE_PA, STANDARD_TEMPERATURE_K, 0.0),
        "port_mass_flow_kg_s": path.port_flow,
        "blower_mass_flow_kg_s": path.blower_flow,
        "tank_storage_kg_s": storage(path, capacity),
        "leak_a_kg_s": path.leak_a,
        "leak_b_kg_s": path.leak_b,
        "leak_c_kg_s": path.leak_c,
        "relief_kg_s": path.relief,
        "vacuum_tank_pa": now.pressure - path.tank_pressure,
        "vacuum_blower_pa": now.pressure - path.blower_pressure,
        "pressure_ratio": path.outlet_pressure / path.blower_pressure,
        "slip_rpm": path.slip_rpm,
        "gas_power_w": gas_power,
        "discharge_temperature_k": _discharge_temperature(
            scenario.machine.blower, times, now.temperature, path.blower_flow, gas_power
        ),
        "meter_pressure_pa": p1,
        "meter_temperature_k": t1,
        "discharge_coefficient": coefficient,
        "ambient_pressure_pa": now.pressure,
        "ambient_temperature_k": now.temperature,
        "humidity": humidity,
        "zero_error_pa": zero_error(meter_sensor, times, now.temperature),
        "line_offset_pa": water_offset(scenario.events.water, times, difference),
    }


def _clog(clog: Clog, times: Array, generator: np.random.Generator) -> Array:
    rising = (times - clog.from_s) / clog.rise_s
    clearing = (clog.to_s - times) / clog.rise_s
    shape = np.clip(np.minimum(rising, clearing), 0, 1)
    step_s = float(times[1] - times[0])
    noise = coloured_noise(generator, times.size, step_s, clog.uneven_time_s)
    return np.asarray(clog.extra_loss * shape * np.maximum(1 + clog.unevenness * noise, 0))


def _discharge_temperature(
    blower: Blower, times: Array, inlet: Array, mass_flow: Array, gas_power: Array
) -> Array:
    """Temperature [K] of the air at the blower's outlet.

    Energy balance: gas power less the casing's heat loss goes into the air,
    P (1 - loss) = m cp (T2 - T1). The casing lags in first order with `warm_up_s`; it starts
    cold.
    """
    heat = gas_power * (1 - blower.heat_loss)
    least = np.maximum(heat / (HEAT_CAPACITY * _GREATEST_RISE_K), 1e-9)
    rise = heat / (HEAT_CAPACITY * np.maximum(mass_flow, least))
    keep = np.exp(-(times[1] - times[0]) / blower.warm_up_s)
    return np.asarray(inlet + lfilter([0.0, 1 - keep], [1.0, -keep], rise))

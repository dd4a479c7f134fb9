"""The simulated machine against outside references, balances and its own scenario."""

import math
from functools import cache

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host.bench.plain import scenario
from host.physics.with_the_air import Machine, solve
from pullcurve.bench.grid import STEP_S
from pullcurve.bench.instrument import PickupTruth
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Scenario, load_scenario, shipped_scenarios
from pullcurve.errors import ScenarioError

# A grit unit on a hose of 21.3 m, all its bores 5 in.
GRIT = {
    "machine__engine__throttle": [[0.0, 2300.0], [60.0, 2300.0]],
    "machine__blower__displacement_m3": 0.0160,
    "machine__blower__slip_speed_rpm": 115.0,
    "machine__filter__linear_pa_s_m3": 2440.0,
    "machine__clean_pipe_loss": 2.5,
    "machine__port_bore_m": 0.127,
    "machine__port_loss": 1e-6,
    "machine__leaks__a_m2": 60e-6,
    "machine__hose__length_m": 21.3,
    "machine__hose__bore_m": 0.127,
    "machine__hose__friction_factor": 0.03,
    "machine__hose__loss": 1.4,
    "meter__pipe_bore_m": 0.127,
    "meter__throat_bore_m": 0.0863,
    "meter__inlet_loss": 0.05,
    "meter__recovery_loss": 0.2,
}


@cache
def shipped(name: str) -> Plant:
    return simulate(load_scenario(shipped_scenarios()[name]))


def last(plain: Scenario) -> dict[str, float]:
    return {name: float(values[-1]) for name, values in simulate(plain).truth().items()}


@pytest.mark.parametrize("pressure", [101_325.0, 94_100.0, 81_000.0])
def test_the_machine_on_its_hose_at_three_altitudes(pressure: float) -> None:
    """Solved another way, with the air and by scipy; R of dry air 287.05 J/(kg K) there."""
    truth = last(scenario(site__pressure_pa=pressure, **GRIT))
    hose = 0.03 * 21.3 / 0.127 + 1.4
    machine = Machine(speed=2300.0, load=0.25, hose=hose, leak_tank=60e-6, pressure=pressure)
    other = solve(machine)
    assert truth["port_mass_flow_kg_s"] == pytest.approx(other.nozzle, rel=1e-3)
    assert truth["leak_a_kg_s"] == pytest.approx(other.intake - other.nozzle, rel=2e-3)
    assert truth["blower_mass_flow_kg_s"] == pytest.approx(other.intake, rel=1e-3)
    assert truth["vacuum_tank_pa"] == pytest.approx(pressure - other.tank, rel=2e-3)
    assert truth["vacuum_blower_pa"] == pytest.approx(pressure - other.blower, rel=2e-3)
    assert truth["slip_rpm"] == pytest.approx(other.slip, rel=2e-3)
    rise = truth["discharge_temperature_k"] - truth["ambient_temperature_k"]
    assert rise == pytest.approx(other.rise, abs=0.1)


def test_altitude_takes_mass_and_hardly_any_volume() -> None:
    """Common practice, no source: on a path that stays as it is."""
    sea, high = (last(scenario(site__pressure_pa=p, **GRIT)) for p in (101_325.0, 81_000.0))
    assert high["flow_ambient_m3_s"] / sea["flow_ambient_m3_s"] == pytest.approx(1, abs=0.01)
    mass = high["port_mass_flow_kg_s"] / sea["port_mass_flow_kg_s"]
    assert mass == pytest.approx(81_000 / 101_325, rel=0.01)


def test_hose_alone_is_an_isothermal_pipe() -> None:
    """fluids 1.3.1, isothermal_gas (Crane TP-410's complete isothermal equation)."""
    plain = scenario(meter__inlet_loss=0.0, meter__recovery_loss=0.0, machine__hose__loss=0.0)
    plant = simulate(plain)
    truth = plant.truth()
    density = truth["mass_flow_kg_s"][-1] / truth["flow_ambient_m3_s"][-1]
    hose = plain.machine.hose
    assert hose is not None
    flow = fluids.compressible.isothermal_gas(
        rho=density,
        fd=hose.friction_factor,
        P1=101325.0,
        P2=plant.tank_pressure(60.0),
        L=hose.length_m,
        D=hose.bore_m,
    )
    assert truth["port_mass_flow_kg_s"][-1] == pytest.approx(flow, rel=1e-5)


def test_mass_balance_closes_whatever_happens() -> None:
    for name in shipped_scenarios():
        plant = shipped(name)
        run = plant.scenario
        truth = plant.truth(STEP_S)
        # R / M from the truth's own density of the ambient air, so storage is figured anew.
        density = truth["mass_flow_kg_s"] / np.where(
            truth["flow_ambient_m3_s"] == 0, np.nan, truth["flow_ambient_m3_s"]
        )
        tank_pa = truth["ambient_pressure_pa"] - truth["vacuum_tank_pa"]
        mass = tank_pa / truth["ambient_pressure_pa"] * density * run.machine.tank_volume_m3
        entering = sum(
            truth[name]
            for name in (
                "port_mass_flow_kg_s",
                "leak_a_kg_s",
                "leak_b_kg_s",
                "leak_c_kg_s",
                "relief_kg_s",
            )
        )
        excess = entering - truth["blower_mass_flow_kg_s"]
        known = np.isfinite(mass)[1:] & np.isfinite(mass)[:-1]
        assert known.sum() > 0.8 * known.size
        assert np.abs(excess - truth["tank_storage_kg_s"]).max() < 1e-9
        stored = np.diff(mass) / STEP_S
        assert np.abs(excess[1:] - stored)[known].max() < 2e-8  # 2e-14 of the tank's mass a step


def test_meter_in_the_clean_pipe_sees_all_but_leak_c() -> None:
    leaks = {"a_m2": 60e-6, "b_m2": 80e-6, "c_m2": 100e-6}
    truth = last(scenario(meter__position="clean_pipe", machine__leaks=leaks))
    assert truth["mass_flow_kg_s"] == pytest.approx(
        truth["port_mass_flow_kg_s"] + truth["leak_a_kg_s"] + truth["leak_b_kg_s"], rel=1e-9
    )
    assert truth["mass_flow_kg_s"] == pytest.approx(
        truth["blower_mass_flow_kg_s"] - truth["leak_c_kg_s"], rel=1e-9
    )
    assert truth["vacuum_tank_pa"] < 101325 - truth["meter_pressure_pa"] < 1.3e4


def test_filter_loss_is_linear_and_square_in_flow_and_grows() -> None:
    cloth = {"linear_pa_s_m3": 4000.0, "square_pa_s2_m6": 9000.0, "loading_pa_s_m3_per_s": 50.0}
    truth = last(scenario(machine__filter=cloth, machine__clean_pipe_loss=0.0))
    loss = truth["vacuum_blower_pa"] - truth["vacuum_tank_pa"]
    # No leak B or C: the blower's whole flow passes the cloth. The square part comes last.
    share = truth["blower_mass_flow_kg_s"] / truth["mass_flow_kg_s"]
    behind = truth["flow_inlet_m3_s"] * share
    square = 9000 * behind**2
    inlet_pa = 101325 - truth["vacuum_blower_pa"]
    mean_pa = (inlet_pa + square + 101325 - truth["vacuum_tank_pa"]) / 2
    assert loss == pytest.approx((4000 + 60 * 50) * behind * inlet_pa / mean_pa + square, rel=1e-4)


def test_relief_valve_holds_the_vacuum() -> None:
    plates = {"plates": [{"from_s": 0.0, "to_s": 61.0, "loss": 60.0}]}
    shut = last(scenario(events=plates))
    relief = {"vacuum_pa": 20e3, "slope_kg_s_pa": 2e-4}
    opened = last(scenario(events=plates, machine__relief=relief))
    assert shut["vacuum_blower_pa"] > 30e3
    assert 20e3 < opened["vacuum_blower_pa"] < 21.5e3
    excess = opened["vacuum_blower_pa"] - 20e3
    assert opened["relief_kg_s"] == pytest.approx(2e-4 * excess, rel=1e-6)


def test_hose_off_frees_the_port() -> None:
    off_from = {"hose_off": [[30.0, 61.0]]}
    plain = scenario(meter__position="clean_pipe", machine__port_loss=0.5, events=off_from)
    truth = simulate(plain).truth()
    on, off = truth["time_s"] == 25, truth["time_s"] == 55
    assert truth["vacuum_tank_pa"][on] > 5e3
    assert truth["vacuum_tank_pa"][off] < 1e3
    assert truth["mass_flow_kg_s"][off] > 1.05 * truth["mass_flow_kg_s"][on]


def test_tank_fills_with_its_time_constant() -> None:
    """tau = V/(R T) / [m (1/p + p/(p0^2 - p^2))], from the linearised balance of tank and blower.

    It supposes an inlet volume that the vacuum does not change; slip, filter and pipe alter
    that by some ten percent here, hence the tolerance.
    """
    events = {
        "plates": [
            {"from_s": 0.0, "to_s": 61.0, "loss": 22.0},
            {"from_s": 30.0, "to_s": 61.0, "loss": 0.5},
        ]
    }
    plain = scenario(events=events)
    plant = simulate(plain)
    time_s = np.arange(30.0, 31.0, STEP_S)
    end = plant.tank_pressure(60.0)
    away = np.log(plant.tank_pressure(time_s) - end)
    tau = -1 / np.polyfit(time_s, away, 1)[0]
    flow = plant.truth()["port_mass_flow_kg_s"][-1]
    gas = 287.05 * 293.15
    expected = plain.machine.tank_volume_m3 / gas / (flow * (1 / end + end / (101325**2 - end**2)))
    assert tau == pytest.approx(expected, rel=0.15)


def test_load_droops_the_engine() -> None:
    def speed(loss: float) -> float:
        plates = {"plates": [{"from_s": 0.0, "to_s": 61.0, "loss": loss}]}
        droop = {"machine__engine__droop": 0.04, "machine__engine__full_load_w": 40e3}
        plain = scenario(events=plates, **droop)
        truth = last(plain)
        asked = plain.machine.engine.throttle[-1][1]
        expected = asked * (1 - 0.04 * truth["gas_power_w"] / 40e3)
        assert truth["speed_rpm"] == pytest.approx(expected, abs=0.3)
        return truth["speed_rpm"]

    assert speed(22.0) < speed(1.0) - 5


def test_edges_follow_the_shaft() -> None:
    plant = shipped("healthy_sweep")
    clean = PickupTruth(role="blower_shaft", marks=2, uneven=(0.0, 0.05))
    found = plant.edges(clean)
    truth = plant.truth(STEP_S)
    turned = np.trapezoid(truth["speed_rpm"], truth["time_s"]) / 60
    assert found.size == pytest.approx(2 * turned, abs=2)
    # Over whole turns the marks' spacing drops out.
    middle = (found[2:] + found[:-2]) / 2
    speed = np.interp(middle, truth["time_s"], truth["speed_rpm"])
    running = speed > 600
    measured = 60 / (found[2:] - found[:-2])
    assert measured[running] == pytest.approx(speed[running], rel=5e-3)
    hold = (found > 110) & (found < 121)
    halves = np.diff(found[hold])
    # The second mark comes 0.05 of a pitch late.
    ratio = np.sort([halves[0::2].mean() / halves[1::2].mean(), 1.05 / 0.95])
    assert min(ratio[0], 1 / ratio[0]) == pytest.approx(0.95 / 1.05, rel=1e-3)


def test_faulty_pickup_misses_doubles_and_drops_out() -> None:
    plant = simulate(scenario())
    clean = plant.edges(PickupTruth(role="blower_shaft", marks=4))
    faulty = PickupTruth(
        role="blower_shaft",
        marks=4,
        missed=0.1,
        doubled=0.05,
        jitter_us=2.0,
        dropouts=((10.0, 20.0),),
    )
    found = plant.edges(faulty)
    assert not np.any((found >= 10) & (found < 20))
    rest = clean[(clean < 10) | (clean >= 20)].size
    assert found.size == pytest.approx(rest * 0.9 * 1.05, rel=0.02)
    assert (np.diff(found) < 300e-6).sum() == pytest.approx(rest * 0.9 * 0.05, rel=0.2)
    assert np.array_equal(found, plant.edges(faulty))


@pytest.mark.parametrize("amplitude", [0.2, 0.3, 0.5])
def test_pulsation_raises_the_mean_and_spreads_the_pressure(amplitude: float) -> None:
    """q = 1 + a sin: mean dp is 1 + a^2/2 of that at the mean flow; its variance, by hand,
    2 a^2 + a^4/8 of that squared."""
    meter = {"pulsation": [{"amplitude": amplitude}], "line_time_constant_s": 1e-9}
    plant = simulate(scenario(**{f"meter__{key}": value for key, value in meter.items()}))
    time_s = np.random.default_rng(5).uniform(50, 60, 400_000)
    felt = plant.differential_pressure(time_s)
    steady = plant.truth()["differential_pressure_pa"][-1]
    assert felt.mean() / steady == pytest.approx(1 + amplitude**2 / 2, rel=2e-3)
    ratio = math.sqrt(2 * amplitude**2 + amplitude**4 / 8) / (1 + amplitude**2 / 2)
    assert felt.std() / felt.mean() == pytest.approx(ratio, rel=5e-3)
    assert plant.truth()["flow_pulsation"][-1] == pytest.approx(amplitude / math.sqrt(2))


def test_the_line_hides_pulsation_but_keeps_its_mean() -> None:
    """Against a first-order lag integrated in time, and the lobe-pass frequency 4 N / 60."""
    pulsation = [{"amplitude": 0.3, "phase_rad": 0.7}, {"amplitude": 0.1, "phase_rad": 2.0}]

    def felt(tau: float, time_s: np.ndarray) -> np.ndarray:
        plain = scenario(meter__pulsation=pulsation, meter__line_time_constant_s=tau)
        return simulate(plain).differential_pressure(time_s)

    step = 1e-5
    time_s = np.arange(50.0, 50.3, step)
    source, behind = felt(1e-9, time_s), felt(0.003, time_s)
    integrated = np.empty_like(source)
    value = source.mean()
    for index, pressure in enumerate(source):
        value += (pressure - value) * step / 0.003
        integrated[index] = value
    tail = slice(10_000, None)
    assert behind[tail] == pytest.approx(integrated[tail], rel=5e-3)
    assert behind[tail].mean() == pytest.approx(source[tail].mean(), rel=2e-3)
    assert behind[tail].std() < 0.4 * source[tail].std()
    spectrum = np.abs(np.fft.rfft(source[:30_000] - source[:30_000].mean()))
    lobe_pass = 4 * last(scenario())["speed_rpm"] / 60
    assert np.fft.rfftfreq(30_000, step)[spectrum.argmax()] == pytest.approx(lobe_pass, rel=0.01)


def test_a_disturbed_flow_scatters_the_coefficient() -> None:
    calm = simulate(scenario()).truth(STEP_S)
    swirl = {"coefficient_noise": 0.02, "coefficient_noise_time_s": 0.4}
    rough = simulate(scenario(**{f"meter__{k}": v for k, v in swirl.items()})).truth(STEP_S)
    ratio = rough["discharge_coefficient"] / calm["discharge_coefficient"]
    assert ratio.std() == pytest.approx(0.02, rel=0.15)
    # The flow is the machine's; the difference goes with 1/C^2 but for the expansibility.
    assert np.array_equal(rough["mass_flow_kg_s"], calm["mass_flow_kg_s"])
    felt = rough["differential_pressure_pa"] / calm["differential_pressure_pa"]
    assert felt == pytest.approx(ratio**-2, rel=8e-3)


def test_one_time_and_many_times_agree() -> None:
    plant = shipped("full_sensors")
    time_s = np.random.default_rng(3).uniform(0, 331, 200)
    for read in (
        plant.differential_pressure,
        plant.meter_pressure,
        plant.blower_pressure,
        plant.tank_pressure,
        plant.discharge_temperature,
        plant.ambient_pressure,
        plant.ambient_temperature,
    ):
        single = [read(float(at)) for at in time_s]
        assert all(type(value) is float for value in single)
        assert single == pytest.approx(read(time_s), rel=1e-9, abs=1e-9)


def test_seed_fixes_everything_and_its_streams_are_apart() -> None:
    engine = {"machine__engine__wander_rpm": 10.0}
    clogs = {"clogs": [{"from_s": 5.0, "to_s": 50.0, "extra_loss": 3.0, "unevenness": 0.3}]}
    first, again = (simulate(scenario(**engine)).truth(STEP_S) for _ in range(2))
    assert all(np.array_equal(first[name], again[name]) for name in first)
    clogged = simulate(scenario(**engine, events=clogs)).truth(STEP_S)
    assert np.array_equal(first["speed_rpm"], clogged["speed_rpm"])
    assert not np.array_equal(first["mass_flow_kg_s"], clogged["mass_flow_kg_s"])
    other = simulate(scenario(**engine, seed=2)).truth(STEP_S)
    assert not np.array_equal(first["speed_rpm"], other["speed_rpm"])
    settled = slice(500, None)
    assert first["speed_rpm"][settled].std() == pytest.approx(10.0, rel=0.3)


@pytest.mark.parametrize("name", sorted(shipped_scenarios()))
def test_shipped_scenarios_are_fit_to_measure(name: str) -> None:
    plant = shipped(name)
    run = plant.scenario
    truth = plant.truth()
    meter = next(sensor for sensor in run.sensors if sensor.role == "meter_dp")
    assert meter.range_pa is not None
    # Peaks of the pulsation, the zero error and six times the noise stay inside the range.
    peak = plant.differential_pressure(np.arange(0, run.duration_s, 0.0007)).max()
    assert peak + abs(meter.zero_error) + 6 * meter.noise < meter.range_pa[1]
    standing = truth["speed_rpm"] == 0
    assert standing[truth["time_s"] < 12].all()  # for the sensor's zero
    assert standing[truth["time_s"] > run.duration_s - 8].all()
    assert plant.holds
    for hold in plant.holds:
        held = (truth["time_s"] > hold.start_s) & (truth["time_s"] < hold.end_s)
        assert truth["speed_rpm"][held] == pytest.approx(hold.speed_rpm, rel=0.03)
    assert "invented" in shipped_scenarios()[name].read_text(encoding="utf-8")[:80].lower()


def best(name: str) -> tuple[float, float, float]:
    """Of a shipped scenario's fastest hold: speed, flow of open air, and slip over its root."""
    plant = shipped(name)
    truth = plant.truth()
    top = max(plant.holds, key=lambda hold: hold.speed_rpm)
    held = (truth["time_s"] > top.start_s) & (truth["time_s"] < top.end_s)
    slip = truth["slip_rpm"][held] / np.sqrt(truth["pressure_ratio"][held] - 1)
    return top.speed_rpm, float(truth["flow_ambient_m3_s"][held].mean()), float(slip.mean())


def test_a_worn_blower_slips_by_its_factor_and_loses_flow() -> None:
    healthy, worn = best("healthy_sweep"), best("worn_sweep")
    factor = shipped("worn_sweep").scenario.machine.blower.slip_factor
    assert factor > 2
    assert worn[2] / healthy[2] == pytest.approx(factor, rel=0.02)  # sqrt(T) differs by 1.3 %
    assert worn[1] < 0.85 * healthy[1]


def test_a_blower_turned_slower_loses_its_share_before_anything_is_worn() -> None:
    """Common practice, no source: a little less than the speeds' ratio says, for the air ahead
    thins less and slips less."""
    healthy, slow = best("healthy_sweep"), best("slow_sweep")
    turned = slow[0] / healthy[0]
    assert turned < 0.95
    assert turned < slow[1] / healthy[1] < 1.04 * turned


@given(
    speed=st.floats(0, 4000),
    slip=st.floats(0, 1000),
    share=st.floats(0, 0.5),
    leak=st.floats(0, 3e-3),
    plate=st.floats(1e-3, 60),
    linear=st.floats(100, 3e4),
    position=st.sampled_from(["hose_end", "clean_pipe"]),
)
@settings(max_examples=30, deadline=None, derandomize=True)
def test_machines_of_many_kinds_are_solved(
    *,
    speed: float,
    slip: float,
    share: float,
    leak: float,
    plate: float,
    linear: float,
    position: str,
) -> None:
    plain = scenario(
        duration_s=20.0,
        machine__engine__throttle=[
            [0.0, 0.0],
            [3.0, 0.0],
            [4.0, speed],
            [12.0, speed],
            [13.0, 0.0],
        ],
        machine__blower__slip_speed_rpm=slip,
        machine__blower__laminar_share=share,
        machine__leaks={"a_m2": leak, "b_m2": leak / 2, "c_m2": leak / 3},
        machine__filter={"linear_pa_s_m3": linear},
        machine__relief={"vacuum_pa": 45e3, "slope_kg_s_pa": 1e-4},
        meter__position=position,
        events={"plates": [{"from_s": 8.0, "to_s": 20.0, "loss": plate}]},
    )
    truth = simulate(plain).truth()
    assert all(np.isfinite(values).all() for values in truth.values())
    from_tank = truth["blower_mass_flow_kg_s"] - sum(
        truth[name] for name in ("leak_b_kg_s", "leak_c_kg_s", "relief_kg_s")
    )
    falls = truth["vacuum_blower_pa"] > truth["vacuum_tank_pa"]
    assert falls[from_tank > 1e-6].all()


def test_a_plate_that_chokes_the_way_in_is_refused() -> None:
    plates = {"plates": [{"from_s": 0.0, "to_s": 61.0, "loss": 3000.0}]}
    with pytest.raises(ScenarioError, match="choking"):
        simulate(scenario(events=plates))

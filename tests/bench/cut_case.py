"""Random cuts on random machines, all of them invented: a loaded hose at steady throttle, clogs
of 5 to 60 s, a filter that loads, and in some a leak that grows."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from cut_records import Array, Instruments
from population_dice import Dice
from pullcurve.bench.path import Path
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Events, Scenario
from pullcurve.bench.truth import conditions
from pullcurve.errors import ScenarioError

ATTEMPTS = 60
OFF_S = 15.0  # the engine stands, and the zero is taken
WORK_S = (20.0, 120.0)  # after full throttle, until the hose is in the spoil
FIRST_CLOG_S = 90.0  # after that
QUIET_S = 40.0  # between two clogs, at least
LIFT_S = (10.0, 30.0)  # the nozzle is out of the spoil
BETWEEN_LIFTS_S = (120.0, 300.0)
CLEAR_OF_CLOG_S = 25.0
LEAST_CLOG, GREATEST_CLOG = 0.05, 0.5  # of the flow


@dataclass(frozen=True)
class Clog:
    start_s: float
    end_s: float
    lost: float  # of the flow through the meter, once the tank has followed


@dataclass(frozen=True)
class Drawn:
    """A machine, its meter and its load of spoil, before anything happens to them."""

    base: dict[str, Any]  # a scenario, but for its seed and its events
    load: dict[str, Any]
    rig_lines: list[str]
    flow: float  # m3/s, about
    density: float
    velocity: float  # in the hose, m/s, about
    own: float  # the hose's loss coefficient

    @property
    def work_s(self) -> float:
        return float(self.load["from_s"])


@dataclass(frozen=True)
class Case:
    number: int
    plant: Plant
    tools: Instruments
    rig: str
    clogs: tuple[Clog, ...]
    leak: tuple[str, float, float] | None  # place, from, to
    leak_gone: Array | None  # share of the nozzle's flow that the leak takes, each second
    has_tank: bool
    work_s: float


@dataclass(frozen=True)
class Crew:
    """What a cut is like beside its machine."""

    lifts: bool = True  # the nozzle is out of the spoil now and then
    loading: bool = True  # of the filter
    wandering: bool = False  # the load is now heavier, now lighter for a minute or two


def draw_case(seed: int, number: int, duration_s: float = 1500.0, crew: Crew = Crew()) -> Case:
    for attempt in range(ATTEMPTS):
        dice = Dice(seed, number, attempt)
        try:
            return _draw(dice, Dice(seed, number, attempt, 3), crew, number, duration_s)
        except ScenarioError:
            continue
    raise ScenarioError(f"cut {number}: no machine with a flow in {ATTEMPTS} attempts")


def draw_machine(dice: Dice, number: int, duration_s: float) -> Drawn:
    top_rpm = dice.between(2000, 3700)
    belt_ratio = dice.between(0.8, 1.5)
    displacement = dice.ratio(0.004, 0.016)
    flow = 0.85 * displacement * top_rpm / 60
    site = _site(dice)
    density = site["pressure_pa"] / (287.05 * site["temperature_k"])
    velocity = dice.between(30, 50)
    hose_bore = float(np.sqrt(4 / np.pi * flow / velocity))
    meter, rig_meter = _meter(dice, flow, density)
    work_s = OFF_S + 10 + dice.between(*WORK_S)
    full_s = OFF_S + 6
    machine = {
        "engine": {
            "idle_rpm": 0.35 * top_rpm / belt_ratio,
            "governed_rpm": 1.03 * top_rpm / belt_ratio,
            "droop": dice.between(0, 0.05),
            "full_load_w": dice.ratio(15e3, 40e3),
            "lag_s": dice.between(0.3, 1.0),
            "wander_rpm": dice.ratio(3e-4, 3e-3) * top_rpm / belt_ratio,
            "wander_time_s": dice.ratio(0.4, 3),
            "slow_wander_rpm": dice.between(0, 2e-3) * top_rpm / belt_ratio,
            "slow_wander_time_s": dice.between(8, 60),
            "throttle": [
                [0.0, 0.0], [OFF_S, 0.0], [OFF_S + 1, 0.4 * top_rpm / belt_ratio],
                [OFF_S + 4, 0.4 * top_rpm / belt_ratio],
                [full_s, top_rpm / belt_ratio], [duration_s, top_rpm / belt_ratio],
            ],
        },
        "belt_ratio": belt_ratio,
        "belt_slip": dice.between(0, 0.015),
        "belt_slip_at_load": dice.between(0, 0.015),
        "blower": {
            "displacement_m3": displacement,
            "slip_speed_rpm": dice.ratio(40, 200),
            "slip_factor": dice.one_of((1.0, 1.0, dice.between(1, 3))),
            "lobes": dice.one_of((2, 2, 3)),
            "outlet_pa_s2_kg2": dice.between(300, 3000) / (flow * density) ** 2,
        },
        "filter": {
            "linear_pa_s_m3": dice.ratio(500, 3000) / flow,
            "loading_pa_s_m3_per_s": 0.0,
        },
        "tank_volume_m3": dice.between(3, 12) * flow,
        "port_bore_m": hose_bore * dice.between(0.95, 1.2),
        "port_loss": dice.between(0.1, 0.6),
        "clean_pipe_loss": dice.between(0.8, 2.5),
        "leaks": {leak: dice.ratio(1e-6, 3e-5) for leak in ("a_m2", "b_m2", "c_m2")},
        "hose": {
            "length_m": dice.between(8, 20),
            "bore_m": hose_bore,
            "friction_factor": dice.ratio(0.02, 0.045),
            "loss": dice.between(0.6, 1.8),
        },
    }  # fmt: skip
    linear = machine["filter"]["linear_pa_s_m3"]
    growth = dice.between(0.6, 2.5)  # of the filter's loss, over the cut
    machine["filter"]["loading_pa_s_m3_per_s"] = linear * growth / duration_s
    hose = machine["hose"]
    own = hose["friction_factor"] * hose["length_m"] / hose["bore_m"] + hose["loss"]
    load = {
        "from_s": work_s,
        "to_s": duration_s,
        "extra_loss": own * dice.between(0.4, 1.3),
        "rise_s": dice.between(1, 5),
        "unevenness": dice.between(0.1, 0.3),
        "uneven_time_s": dice.ratio(0.6, 2.5),
    }
    base = {
        "name": f"cut_{number}",
        "duration_s": duration_s,
        "start": datetime(2025, 6, 3, 7, 0, tzinfo=UTC),
        "site": site,
        "machine": machine,
        "meter": meter,
        "sensors": [{"role": "meter_dp", "part": "HSC", "address": 0x28}],
        "pickups": [{"role": "blower_shaft", "marks": 2}],
    }
    return Drawn(base, load, _rig_lines(rig_meter, site), flow, density, velocity, own)


def draw_tools(dice: Dice, plant: Plant, *, tank: bool) -> Instruments:
    roles = ("ambient_air", "meter_air", *(("tank_air",) if tank else ()))
    greatest = float(plant.truth()["differential_pressure_pa"].max())
    jitter = dice.chance(2 / 3)
    return Instruments(
        span_pa=2488.4 if greatest < 1900 else 6894.757,
        zero_pa=dice.normal(5.0),
        noise_pa=dice.between(1, 4),
        offsets_pa={role: dice.normal(60) for role in roles},
        air_noise_pa=dice.between(0.7, 3),
        jitter=jitter,
        marks=2,
        uneven=dice.between(0, 0.02),
        missed=dice.one_of((0.0, 0.0, 1e-3)),
    )


def _draw(dice: Dice, other: Dice, crew: Crew, number: int, duration_s: float) -> Case:
    """`other`: what a crew changes draws from dice of its own, and leaves the rest as it is."""
    drawn = draw_machine(dice, number, duration_s)
    work_s = drawn.work_s
    leak = _leak(dice, drawn.flow, drawn.density, drawn.velocity, work_s, duration_s)
    base = drawn.base | {"seed": dice.whole(0, 2**31)}
    wanted = _clog_times(dice, work_s + FIRST_CLOG_S, duration_s - 30)
    losses = [dice.ratio(LEAST_CLOG, GREATEST_CLOG) for _ in wanted]
    lumps: list[dict[str, Any]] = [
        {"from_s": start_s, "to_s": end_s, "extra_loss": loss, "rise_s": dice.ratio(0.3, 2.0)}
        for (start_s, end_s), loss in zip(wanted, sized(drawn, losses)[0], strict=True)
    ]
    leaks = [] if leak is None else [leak]
    away = _lift_times(other, drawn.load, wanted) if crew.lifts else []
    load = between(drawn.load, away)
    if crew.wandering:
        load = _wandering(other, load)
    if not crew.loading:
        sound = {**drawn.base["machine"]["filter"], "loading_pa_s_m3_per_s": 0.0}
        base["machine"] = {**drawn.base["machine"], "filter": sound}
    events = {"clogs": [*load, *lumps], "leaks": leaks}
    plant = simulate(Scenario.model_validate(base | {"events": events}))
    has_tank = dice.chance(0.5)
    tools = draw_tools(dice, plant, tank=has_tank)
    with_lumps, without = _even(plant, [drawn.load, *lumps])[0], _even(plant, [drawn.load])[0]
    clogs = tuple(
        Clog(lump["from_s"], lump["to_s"], _taken(with_lumps, without, lump)) for lump in lumps
    )
    place = None if leak is None else (leak["place"], leak["from_s"], leak["to_s"])
    gone = None
    if leak is not None:
        tight = _even(plant, [drawn.load], leaks=False)[1]
        gone = 1 - _even(plant, [drawn.load])[1] / tight
    rig = "\n".join(drawn.rig_lines)
    return Case(number, plant, tools, rig, clogs, place, gone, has_tank, work_s)


def between(load: dict[str, Any], away: list[tuple[float, float]]) -> list[dict[str, Any]]:
    """The load, but for the times at which the nozzle is not in it."""
    bounds = [load["from_s"], *(at for pair in away for at in pair), load["to_s"]]
    return [
        {**load, "from_s": a, "to_s": b} for a, b in zip(bounds[::2], bounds[1::2], strict=True)
    ]


def _wandering(dice: Dice, load: list[dict[str, Any]]) -> list[dict[str, Any]]:
    slow = {"unevenness": dice.between(0.15, 0.35), "uneven_time_s": dice.ratio(15, 120)}
    half = [{**part, "extra_loss": part["extra_loss"] / 2} for part in load]
    return [*half, *({**part, **slow} for part in half)]


def _even(plant: Plant, clogs: list[dict[str, Any]], *, leaks: bool = True) -> tuple[Array, Array]:
    """Flow through the meter and at the nozzle each second, as it would be with these clogs, the
    spoil even, at the plant's own speed."""
    scenario = plant.scenario
    even = Events.model_validate({"clogs": [{**clog, "unevenness": 0.0} for clog in clogs]})
    events = even.model_copy(update={"leaks": scenario.events.leaks if leaks else ()})
    truth = plant.truth(1.0)
    now = conditions(
        scenario.model_copy(update={"events": events}),
        truth["time_s"],
        truth["speed_rpm"],
        np.random.default_rng(0),
    )
    state = Path(scenario.machine, scenario.meter, now).solve(1.0)
    return np.maximum(state.pipe_flow, 1e-6), np.maximum(state.port_flow, 1e-6)


def _taken(with_lumps: Array, without: Array, lump: dict[str, Any]) -> float:
    late = slice(int(lump["to_s"] - 2), int(lump["to_s"]))
    return float(1 - (with_lumps[late] / without[late]).min())


def sized(drawn: Drawn, losses: list[float]) -> tuple[list[float], float]:
    """Loss coefficients of lumps that take about these shares of the flow, from a short cut with
    one lump after the other; and the nozzle's flow there with even spoil, kg/s."""
    machine = drawn.base["machine"]
    calm = {**machine["engine"], "wander_rpm": 0.0, "slow_wander_rpm": 0.0}
    short = {
        **drawn.base, "duration_s": 140.0, "seed": 1, "machine": {**machine, "engine": calm}
    }  # fmt: skip
    even = {**drawn.load, "from_s": 40.0, "to_s": 140.0, "unevenness": 0.0}
    tried = drawn.own * np.array([0.3, 0.8, 2.0, 5.0, 12.0, 30.0])
    steps = [
        {"from_s": 50.0 + 15 * i, "to_s": 60.0 + 15 * i, "extra_loss": float(k), "rise_s": 0.5}
        for i, k in enumerate(tried)
    ]
    try:
        truth = simulate(
            Scenario.model_validate(short | {"events": {"clogs": [even, *steps]}})
        ).truth()
    except ScenarioError:
        steps = steps[:-1]
        truth = simulate(
            Scenario.model_validate(short | {"events": {"clogs": [even, *steps]}})
        ).truth()
    flow, time_s = truth["mass_flow_kg_s"], truth["time_s"]
    calm_before = (time_s > 46) & (time_s < 49)
    before = flow[calm_before].mean()
    found = []
    for step in steps:
        late = (time_s > step["to_s"] - 2) & (time_s < step["to_s"] - 0.6)
        found.append(1 - flow[late].mean() / before)
    at = np.exp(np.interp(losses, found, np.log(tried[: len(found)])))
    return at.tolist(), float(truth["port_mass_flow_kg_s"][calm_before].mean())


def _clog_times(dice: Dice, first_s: float, last_s: float) -> list[tuple[float, float]]:
    found = []
    at = first_s + dice.between(0, 60)
    while True:
        length = dice.ratio(5, 60)
        if at + length > last_s:
            return found
        found.append((at, at + length))
        at += length + QUIET_S + dice.ratio(20, 240)


def _lift_times(
    dice: Dice, load: dict[str, Any], clogs: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    at = load["from_s"] + dice.between(*BETWEEN_LIFTS_S) / 2
    edges = [load["from_s"], *(at for pair in clogs for at in pair), load["to_s"]]
    for calm_from_s, calm_to_s in zip(edges[::2], edges[1::2], strict=True):
        length_s = dice.between(*LIFT_S)
        start_s = max(at, calm_from_s + CLEAR_OF_CLOG_S)
        if start_s + length_s < calm_to_s - CLEAR_OF_CLOG_S:
            found.append((start_s, start_s + length_s))
            at = start_s + length_s + dice.between(*BETWEEN_LIFTS_S)
    return found


def _leak(
    dice: Dice, flow: float, density: float, velocity: float, work_s: float, end_s: float
) -> dict[str, Any] | None:
    """In some cuts: large enough at the end to take a tenth to a third of the hose's flow."""
    if not dice.chance(0.4):
        return None
    start_s = work_s + dice.between(60, 0.5 * (end_s - work_s))
    stop_s = start_s + dice.between(240, end_s - start_s - 1) if end_s - start_s > 250 else end_s
    # By the tank's vacuum of about six velocity heads in the hose.
    speed = float(np.sqrt(2 * 6 * 0.5 * density * velocity**2 / density))
    return {
        "place": dice.one_of(("a", "a", "b", "c")),
        "from_s": start_s,
        "to_s": stop_s,
        "area_m2": dice.between(0.1, 0.35) * flow / speed,
    }


def _site(dice: Dice) -> dict[str, float]:
    altitude = dice.between(0, 2500)
    return {
        "altitude_m": altitude,
        "pressure_pa": 101325 * (1 - altitude / 44330.77) ** 5.255880 + dice.normal(700),
        "temperature_k": dice.between(268, 311),
        "humidity": dice.between(0.1, 0.95),
        "pressure_drift_pa_per_s": dice.normal(0.02),
        "temperature_drift_k_per_s": dice.normal(0.0005),
    }


def _meter(dice: Dice, flow: float, density: float) -> tuple[dict[str, Any], dict[str, Any]]:
    beta = dice.between(0.5, 0.77)
    wanted_pa = dice.ratio(1200, 4000)
    area = flow / 0.97 * np.sqrt(density * (1 - beta**4) / (2 * wanted_pa))
    throat = float(np.sqrt(4 / np.pi * area))
    first = dice.between(0, 0.12)
    meter = {
        "position": "clean_pipe",
        "pipe_bore_m": throat / beta,
        "throat_bore_m": throat,
        "discharge_coefficient": 0.97 * (1 + dice.normal(0.01)),
        "coefficient_noise": dice.between(0, 0.002),
        "inlet_loss": 0.3,
        "recovery_loss": dice.between(0.05, 0.2) * (beta**-4 - 1),
        "line_time_constant_s": dice.between(0.002, 0.02),
        "pulsation": [
            {"amplitude": first, "phase_rad": dice.between(0, 6.28)},
            {"amplitude": first * dice.between(0, 0.5), "phase_rad": dice.between(0, 6.28)},
        ],
    }
    rig = {"pipe_bore": f"{1e3 * throat / beta:.3f} mm", "throat_bore": f"{1e3 * throat:.3f} mm"}
    return meter, rig


def _rig_lines(meter: dict[str, Any], site: dict[str, float]) -> list[str]:
    return [
        'name = "an invented machine of the study of cuts"',
        "[meter]",
        'kind = "venturi"',
        'position = "clean_pipe"',
        *(f'{key} = "{value}"' for key, value in meter.items()),
        "[site]",
        f'altitude = "{site["altitude_m"]:.0f} m"',
        "[pickups.blower_shaft]",
        "marks_per_turn = 2",
        "",
    ]

"""Random cuts on random machines, all of them invented: a loaded hose at steady throttle, clogs
of 5 to 60 s, a filter that loads, and in some a leak that grows."""

from dataclasses import dataclass

import numpy as np

from cut_records import Array, Instruments
from dice import Dice
from instruments import air_sensors, draw_pickups, meter_sensor
from machines import Machine, Tree, draw_machine, toml
from pullcurve.bench.path import Path
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Events, Scenario
from pullcurve.bench.truth import conditions
from pullcurve.errors import ScenarioError

ATTEMPTS = 60
CLEAN_S = 40.0  # of a cut that tells the range of the sensor that suits
OFF_S = 15.0  # the engine stands, and the zero is taken
WORK_S = (20.0, 120.0)  # after full throttle, until the hose is in the spoil
FIRST_CLOG_S = 90.0  # after that
QUIET_S = 40.0  # between two clogs, at least
LIFT_S = (10.0, 30.0)  # the nozzle is out of the spoil
BETWEEN_LIFTS_S = (120.0, 300.0)
CLEAR_OF_CLOG_S = 25.0
LEAST_CLOG, GREATEST_CLOG = 0.05, 0.5  # of the flow
GROWTH = (0.6, 2.5)  # of the filter's loss, over the cut
LOAD = (0.4, 1.3)  # of the hose's own loss


@dataclass(frozen=True)
class Clog:
    start_s: float
    end_s: float
    lost: float  # of the flow through the meter, once the tank has followed


@dataclass(frozen=True)
class Drawn:
    """A machine and its load of spoil, before anything happens to them."""

    machine: Machine
    base: Tree  # a scenario, but for its events
    load: Tree
    tools: Instruments
    rig: Tree
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
    work_s: float

    @property
    def has_tank(self) -> bool:
        return "tank_air" in self.tools.roles


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


def draw_work(dice: Dice, number: int, duration_s: float) -> Drawn:
    """A machine at steady throttle with its hose in the spoil."""
    machine = draw_machine(dice, number, "clean_pipe", working=True)
    tree, top = machine.tree, machine.engine_rpm
    linear = _linear(machine)
    growth = dice.between(*GROWTH)
    tree["filter"] = {
        "linear_pa_s_m3": linear,
        "loading_pa_s_m3_per_s": linear * growth / duration_s,
    }
    hose = tree["hose"]
    own = hose["friction_factor"] * hose["length_m"] / hose["bore_m"] + hose["loss"]
    load = {
        "from_s": OFF_S + 10 + dice.between(*WORK_S),
        "to_s": duration_s,
        "extra_loss": own * dice.between(*LOAD),
        "rise_s": dice.between(1, 5),
        "unevenness": dice.between(0.1, 0.3),
        "uneven_time_s": dice.ratio(0.6, 2.5),
    }
    throttle = [
        [0.0, 0.0], [OFF_S, 0.0], [OFF_S + 1, 0.4 * top], [OFF_S + 4, 0.4 * top],
        [OFF_S + 6, top], [duration_s, top],
    ]  # fmt: skip
    pickups, rig_pickups = draw_pickups(dice, None, ())
    roles = ["meter_air", *(["tank_air"] if dice.chance(0.5) else [])]
    air = air_sensors(dice, roles)
    base = machine.scenario(f"cut_{number}", dice.whole(0, 2**31), throttle, pickups=pickups)
    blank = [{"role": "meter_dp", "part": "HSC", "address": 0x28}]
    calm = simulate(Scenario.model_validate(base | {"sensors": blank, "duration_s": CLEAN_S}))
    sensors = [meter_sensor(dice, None, calm), *air]
    tools = Instruments.of(sensors, pickups[0], jitter=dice.chance(2 / 3))
    rig = machine.rig | {"pickups": rig_pickups}
    return Drawn(machine, base | {"sensors": blank}, load, tools, rig, own)


def _linear(machine: Machine) -> float:
    """Pa s/m3 of a filter whose loss goes with the flow, as great at full flow."""
    filter_ = machine.tree["filter"]
    return float(filter_["linear_pa_s_m3"] + filter_["square_pa_s2_m6"] * machine.flow)


def _draw(dice: Dice, other: Dice, crew: Crew, number: int, duration_s: float) -> Case:
    """`other`: what a crew changes draws from dice of its own, and leaves the rest as it is."""
    drawn = draw_work(dice, number, duration_s)
    base, work_s = dict(drawn.base), drawn.work_s
    leak = _leak(dice, drawn.machine, work_s, duration_s)
    wanted = _clog_times(dice, work_s + FIRST_CLOG_S, duration_s - 30)
    losses = [dice.ratio(LEAST_CLOG, GREATEST_CLOG) for _ in wanted]
    lumps: list[Tree] = [
        {"from_s": start_s, "to_s": end_s, "extra_loss": loss, "rise_s": dice.ratio(0.3, 2.0)}
        for (start_s, end_s), loss in zip(wanted, sized(drawn, losses)[0], strict=True)
    ]
    leaks = [] if leak is None else [leak]
    away = _lift_times(other, drawn.load, wanted) if crew.lifts else []
    load = between(drawn.load, away)
    if crew.wandering:
        load = _wandering(other, load)
    if not crew.loading:
        sound = drawn.base["machine"]["filter"] | {"loading_pa_s_m3_per_s": 0.0}
        base["machine"] = drawn.base["machine"] | {"filter": sound}
    events = {"clogs": [*load, *lumps], "leaks": leaks}
    plant = simulate(Scenario.model_validate(base | {"events": events}))
    with_lumps, without = _even(plant, [drawn.load, *lumps])[0], _even(plant, [drawn.load])[0]
    clogs = tuple(
        Clog(lump["from_s"], lump["to_s"], _taken(with_lumps, without, lump)) for lump in lumps
    )
    place = None if leak is None else (leak["place"], leak["from_s"], leak["to_s"])
    gone = None
    if leak is not None:
        tight = _even(plant, [drawn.load], leaks=False)[1]
        gone = 1 - _even(plant, [drawn.load])[1] / tight
    return Case(number, plant, drawn.tools, toml(drawn.rig), clogs, place, gone, work_s)


def between(load: Tree, away: list[tuple[float, float]]) -> list[Tree]:
    """The load, but for the times at which the nozzle is not in it."""
    bounds = [load["from_s"], *(at for pair in away for at in pair), load["to_s"]]
    return [
        {**load, "from_s": a, "to_s": b} for a, b in zip(bounds[::2], bounds[1::2], strict=True)
    ]


def _wandering(dice: Dice, load: list[Tree]) -> list[Tree]:
    slow = {"unevenness": dice.between(0.15, 0.35), "uneven_time_s": dice.ratio(15, 120)}
    half = [{**part, "extra_loss": part["extra_loss"] / 2} for part in load]
    return [*half, *({**part, **slow} for part in half)]


def _even(plant: Plant, clogs: list[Tree], *, leaks: bool = True) -> tuple[Array, Array]:
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


def _taken(with_lumps: Array, without: Array, lump: Tree) -> float:
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
    dice: Dice, load: Tree, clogs: list[tuple[float, float]]
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


def _leak(dice: Dice, machine: Machine, work_s: float, end_s: float) -> Tree | None:
    """In some cuts: large enough at the end to take a tenth to a third of the hose's flow."""
    if not dice.chance(0.4):
        return None
    start_s = work_s + dice.between(60, 0.5 * (end_s - work_s))
    stop_s = start_s + dice.between(240, end_s - start_s - 1) if end_s - start_s > 250 else end_s
    # By the tank's vacuum of about six velocity heads in the hose.
    speed = np.sqrt(6) * machine.flow / (np.pi / 4 * machine.tree["hose"]["bore_m"] ** 2)
    return {
        "place": dice.one_of(("a", "a", "b", "c")),
        "from_s": start_s,
        "to_s": stop_s,
        "area_m2": float(dice.between(0.1, 0.35) * machine.flow / speed),
    }

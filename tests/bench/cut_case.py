"""Random cuts on random machines: a hose in the spoil at steady throttle, and what befalls it.

Clogs, a nozzle lifted out of the spoil, a filter that loads, in some a leak that grows; or, with
all mishaps and no leak, also a hose that comes off, an engine that sags, spoil too heavy for the
air, throttle moves.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from cut_records import Array, Instruments
from dice import Dice
from instruments import air_sensors, draw_pickups, meter_sensor
from machines import Machine, Tree, draw_machine, toml
from pullcurve.bench.instrument import Meter
from pullcurve.bench.path import Path
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Events, Scenario
from pullcurve.bench.truth import conditions
from pullcurve.errors import ScenarioError
from pullcurve.physics.spoils import SPOILS

ATTEMPTS: Final = 60
CLEAN_S: Final = 40.0  # of a cut that tells the range of the sensor that suits
OFF_S: Final = 15.0  # the engine stands, and the zero is taken
WORK_S: Final = (20.0, 120.0)  # after full throttle, until the hose is in the spoil
FIRST_S: Final = 90.0  # after that, until the first mishap
QUIET_S: Final = 45.0  # between two mishaps, at least
MORE_QUIET_S: Final = (10.0, 90.0)
LEAST_CLOG, GREATEST_CLOG = 0.05, 0.5  # of the flow
GROWTH: Final = (0.6, 2.5)  # of the filter's loss, over the cut
LOAD: Final = (0.4, 1.3)  # of the hose's own loss
MOST_NEED: Final = 0.9  # of the loaded velocity at the slowest meant speed
MEAN_S: Final = 10.0  # over which air that is too slow counts
HEAVY_SHARE: Final = (0.75, 0.93)  # of the needed velocity that heavy spoil leaves
NO_TANK_S: Final = 1e12  # a step in which the tank fills at once
USUAL: Final = ("clog", "clog", "lift")
EVERYTHING: Final = ("clog", "hose_off", "sag", "heavy", "moved", "turned_down", "lift")


@dataclass(frozen=True)
class Mishap:
    """`size` is of the flow (a clog's, of that through the meter once the tank has followed), of
    the speed, or of the needed velocity."""

    kind: str
    start_s: float
    end_s: float  # when all is as it was; of a throttle turned down, when it has come to rest
    size: float = 0.0
    rate: float = 0.0  # of the speed, each second, at which it sags


@dataclass(frozen=True)
class Crew:
    """What a cut is like beside its machine."""

    kinds: tuple[str, ...] = USUAL
    loading: bool = True  # of the filter
    wandering: bool = False  # the load is now heavier, now lighter for a minute or two


@dataclass(frozen=True)
class Drawn:
    """A machine and its load of spoil, before anything happens to them."""

    machine: Machine
    base: Tree  # a scenario, but for its events
    load: Tree
    tools: Instruments
    rig: Tree
    own: float  # the hose's loss coefficient


@dataclass(frozen=True)
class Case:
    number: int
    plant: Plant
    tools: Instruments
    rig: str
    mishaps: tuple[Mishap, ...]
    leak_from_s: float | None
    leak_gone: Array  # share of the nozzle's flow that the leak takes, each second
    velocity: Array  # true, of the open air at the nozzle, each second, its mean over MEAN_S
    needed: float  # m/s, of the rig's spoil; 0 where it names none
    work_s: float

    @property
    def has_tank(self) -> bool:
        return "tank_air" in self.tools.roles


def draw_case(seed: int, number: int, duration_s: float = 1500.0, crew: Crew = Crew()) -> Case:
    for attempt in range(ATTEMPTS):
        try:
            return _draw(Dice(seed, number, attempt), crew, number, duration_s)
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


def _draw(dice: Dice, crew: Crew, number: int, duration_s: float) -> Case:
    drawn = draw_work(dice, number, duration_s)
    machine, rig = dict(drawn.base["machine"]), drawn.rig
    work_s = drawn.load["from_s"]
    mishaps = _mishaps(dice, crew.kinds, work_s + FIRST_S, duration_s - 60)
    bore_area = np.pi / 4 * machine["hose"]["bore_m"] ** 2
    leak, velocity, needed = None, 0.0, 0.0
    if "heavy" in crew.kinds:
        slowest = np.prod([1 - each.size for each in mishaps if each.kind == "turned_down"])
        velocity = sized(drawn, [])[1] / drawn.machine.density / bore_area
        spoil, needed = _spoil(MOST_NEED * float(slowest) * velocity)
        rig = rig | {"machine": rig["machine"] | {"spoil": spoil}}
    else:
        leak = _leak(dice, drawn.machine, work_s, duration_s)
    loads, lumps, off = _events(dice, drawn, mishaps, velocity, needed)
    if crew.wandering:
        loads = _wandering(dice, loads)
    machine["engine"], mishaps = _engine(dice, machine["engine"], mishaps)
    if not crew.loading:
        machine["filter"] = machine["filter"] | {"loading_pa_s_m3_per_s": 0.0}
    events = {"clogs": [*loads, *lumps], "hose_off": off, "leaks": [leak] if leak else []}
    plant = simulate(Scenario.model_validate(drawn.base | {"machine": machine, "events": events}))
    # What clogs and leak take is told by even spoil.
    metered, nozzle = _even(plant, [drawn.load])
    clogged, _ = _even(plant, [drawn.load, *lumps])
    return Case(
        number=number,
        plant=plant,
        tools=drawn.tools,
        rig=toml(rig),
        mishaps=tuple(_taken(each, 1 - clogged / metered) for each in mishaps),
        leak_from_s=leak["from_s"] if leak else None,
        leak_gone=1 - nozzle / _even(plant, [drawn.load], leaks=False)[1],
        velocity=_velocity(plant, float(bore_area)),
        needed=needed,
        work_s=work_s,
    )


def _taken(mishap: Mishap, lost: Array) -> Mishap:
    """A clog with what it takes of the flow in its last seconds."""
    late = slice(int(mishap.end_s - 2), int(mishap.end_s))
    return replace(mishap, size=float(lost[late].max())) if mishap.kind == "clog" else mishap


def _velocity(plant: Plant, bore_area: float) -> Array:
    truth = plant.truth()
    turning = truth["flow_ambient_m3_s"] > 0
    open_air = truth["mass_flow_kg_s"][turning] / truth["flow_ambient_m3_s"][turning]
    true = np.zeros_like(truth["time_s"])
    true[turning] = truth["port_mass_flow_kg_s"][turning] / open_air / bore_area
    tenths = round(10 * MEAN_S)
    summed = np.cumsum(np.concatenate((np.zeros(tenths), true)))
    return np.asarray((summed[tenths:] - summed[:-tenths])[::10] / tenths)


def _mishaps(dice: Dice, kinds: tuple[str, ...], first_s: float, last_s: float) -> list[Mishap]:
    """One after the other; a throttle that is turned down stays, so that there are few."""
    found: list[Mishap] = []
    at = first_s + dice.between(0, 30)
    while True:
        kind = dice.one_of(kinds)
        if kind == "turned_down" and any(each.kind == kind for each in found):
            kind = "moved"
        length, size = {
            "clog": lambda: (dice.ratio(5, 60), dice.ratio(LEAST_CLOG, GREATEST_CLOG)),
            "hose_off": lambda: (dice.ratio(8, 60), 0.0),
            "sag": lambda: (dice.between(50, 170), dice.between(0.02, 0.1)),
            "heavy": lambda: (dice.between(90, 200), dice.between(*HEAVY_SHARE)),
            "moved": lambda: (dice.between(20, 120), dice.between(0.1, 0.4)),
            "turned_down": lambda: (dice.between(0.5, 3), dice.between(0.03, 0.3)),
            "lift": lambda: (dice.between(10, 60), 0.0),
        }[kind]()
        if at + length > last_s:
            return found
        found.append(Mishap(kind, at, at + length, size))
        at += length + QUIET_S + dice.ratio(*MORE_QUIET_S)


def _spoil(most: float) -> tuple[str, float]:
    """Of the kinds that this air still carries, that which needs the most."""
    carried = [(spoil.velocity[0], name) for name, spoil in SPOILS.items()]
    carried = [each for each in carried if each[0] <= most]
    if not carried:
        raise ScenarioError("no spoil is light enough for this machine")
    needed, name = max(carried)
    return name, needed


def _events(
    dice: Dice, drawn: Drawn, mishaps: list[Mishap], velocity: float, needed: float
) -> tuple[list[Tree], list[Tree], list[tuple[float, float]]]:
    """The load, the lumps and heavy spoil that add to it, and when the hose is off.

    The load stops while the hose is off or the nozzle lifted. After the hose is on again the crew
    needs some seconds to get to the spoil.
    """
    lost: list[float] = []
    windows, away, off = [], [], []
    speed = 1.0
    for each in mishaps:
        if each.kind == "turned_down":
            speed *= 1 - each.size
        elif each.kind == "clog":
            lost.append(each.size)
            windows.append((each, dice.ratio(0.3, 2.0)))
        elif each.kind == "heavy":
            lost.append(float(np.clip(1 - each.size * needed / (velocity * speed), 0.05, 0.6)))
            windows.append((each, dice.between(15, 40)))
        elif each.kind == "hose_off":
            off.append((each.start_s, each.end_s - dice.between(2, 6)))
            away.append((each.start_s, each.end_s))
        elif each.kind == "lift":
            away.append((each.start_s, each.end_s))
    bounds = [drawn.load["from_s"], *(at for pair in away for at in pair), drawn.load["to_s"]]
    loads = [
        drawn.load | {"from_s": start, "to_s": end}
        for start, end in zip(bounds[::2], bounds[1::2], strict=True)
    ]
    for load in loads[1:]:
        load["rise_s"] = dice.ratio(0.3, 3)
    lumps = [
        {"from_s": each.start_s, "to_s": each.end_s, "extra_loss": loss, "rise_s": rise}
        for (each, rise), loss in zip(windows, sized(drawn, lost)[0], strict=True)
    ]
    return loads, lumps, off


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


def sized(drawn: Drawn, losses: list[float]) -> tuple[list[float], float]:
    """Loss coefficients of lumps that take about these shares of the flow where work begins; and
    the nozzle's flow there, kg/s. All with even spoil."""
    tried = drawn.own * np.array([0.0, 0.3, 0.8, 2.0, 5.0, 12.0, 20.0])
    machine = Scenario.model_validate(drawn.base).machine
    ones = np.ones(len(tried))
    blower_rpm = drawn.machine.engine_rpm * machine.belt_ratio * (1 - machine.belt_slip)
    now = conditions(
        *(Scenario.model_validate(drawn.base), drawn.load["from_s"] * ones, blower_rpm * ones),
        np.random.default_rng(0),
    )
    now = replace(now, clog_loss=drawn.load["extra_loss"] + tried)
    state = Path(machine, Meter.model_validate(drawn.machine.meter), now).solve(NO_TANK_S)
    lost = 1 - state.pipe_flow / state.pipe_flow[0]
    return np.interp(losses, lost, tried).tolist(), float(state.port_flow[0])


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


def _engine(dice: Dice, engine: Tree, mishaps: list[Mishap]) -> tuple[Tree, list[Mishap]]:
    """The engine with its throttle, and the mishaps with the rates at which it sags."""
    *points, (end_s, meant) = engine["throttle"]
    rated = []
    for each in mishaps:
        rated.append(each)
        if each.kind not in ("sag", "moved", "turned_down"):
            continue
        down = meant * (1 - each.size)
        takes_s = dice.ratio(2, 20) if each.kind == "sag" else dice.ratio(0.5, 3)
        points.append([each.start_s, meant])
        if each.kind == "turned_down":
            points.append([each.end_s, down])
            meant = down
        else:
            points += [[each.start_s + takes_s, down], [each.end_s - takes_s, down]]
            points.append([each.end_s, meant])
        if each.kind == "sag":
            rated[-1] = replace(each, rate=each.size / takes_s)
    return {**engine, "throttle": [*points, [end_s, meant]]}, rated

"""Random cuts with all that may happen but leaks: clogs, a hose that comes off, an engine that
sags, spoil too heavy for the air, throttle moves, the nozzle lifted out of the spoil."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from cut_case import (
    ATTEMPTS,
    FIRST_CLOG_S,
    GREATEST_CLOG,
    LEAST_CLOG,
    Drawn,
    between,
    draw_work,
    sized,
)
from cut_records import Array, Instruments
from dice import Dice
from machines import Tree, toml
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Scenario
from pullcurve.errors import ScenarioError
from pullcurve.physics.spoils import SPOILS

KINDS: Final = ("clog", "hose_off", "sag", "heavy", "moved", "turned_down", "lift")
QUIET_S: Final = 45.0  # between two mishaps, at least
MOST_NEED: Final = 0.9  # of the loaded velocity at the slowest meant speed
MEAN_S: Final = 10.0  # over which air that is too slow counts
HEAVY_SHARE: Final = (0.75, 0.93)  # of the needed velocity that heavy spoil leaves


@dataclass(frozen=True)
class Mishap:
    kind: str
    start_s: float
    end_s: float  # when all is as it was; of a throttle turned down, when it has come to rest
    size: float = 0.0  # of the flow, of the speed, of the needed velocity
    rate: float = 0.0  # of the speed, each second, at which it sags


@dataclass(frozen=True)
class MishapCase:
    number: int
    plant: Plant
    tools: Instruments
    rig: str
    mishaps: tuple[Mishap, ...]
    velocity: Array  # true, of the open air at the nozzle, each second, its mean over MEAN_S
    needed: float  # m/s, of the rig's spoil


def draw_mishaps(seed: int, number: int, duration_s: float = 1500.0) -> MishapCase:
    for attempt in range(ATTEMPTS):
        dice = Dice(seed, number, attempt, 2)
        try:
            return _draw(dice, number, duration_s)
        except ScenarioError:
            continue
    raise ScenarioError(f"cut {number}: no machine with a flow in {ATTEMPTS} attempts")


def _draw(dice: Dice, number: int, duration_s: float) -> MishapCase:
    drawn = draw_work(dice, number, duration_s)
    mishaps = _mishaps(dice, drawn.work_s + FIRST_CLOG_S, duration_s - 60)
    turned = [m.size for m in mishaps if m.kind == "turned_down"]
    slowest = float(np.prod([1 - size for size in turned]))
    _, nozzle_kg_s = sized(drawn, [LEAST_CLOG])
    bore = drawn.machine.tree["hose"]["bore_m"]
    velocity = nozzle_kg_s / drawn.machine.density / (np.pi / 4 * bore**2)
    spoil, needed = _spoil(MOST_NEED * slowest * velocity)
    events = _events(dice, drawn, mishaps, velocity, needed)
    engine, mishaps = _engine(dice, drawn, mishaps)
    machine = drawn.base["machine"] | {"engine": engine}
    plant = simulate(Scenario.model_validate(drawn.base | {"machine": machine, "events": events}))
    rig = drawn.rig | {"machine": drawn.rig["machine"] | {"spoil": spoil}}
    truth = plant.truth()
    turning = truth["flow_ambient_m3_s"] > 0
    open_air = truth["mass_flow_kg_s"][turning] / truth["flow_ambient_m3_s"][turning]
    true = np.zeros_like(truth["time_s"])
    true[turning] = truth["port_mass_flow_kg_s"][turning] / open_air / (np.pi / 4 * bore**2)
    tenths = round(10 * MEAN_S)
    summed = np.cumsum(np.concatenate((np.zeros(tenths), true)))
    mean = (summed[tenths:] - summed[:-tenths])[::10] / tenths
    return MishapCase(number, plant, drawn.tools, toml(rig), tuple(mishaps), mean, needed)


def _mishaps(dice: Dice, first_s: float, last_s: float) -> list[Mishap]:
    """One after the other; a throttle that is turned down stays, so that there are few."""
    found: list[Mishap] = []
    at = first_s + dice.between(0, 30)
    while True:
        kind = dice.one_of(KINDS)
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
        at += length + QUIET_S + dice.ratio(10, 90)


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
) -> Tree:
    """The load stops while the hose is off or the nozzle lifted; lumps and heavy spoil add to it.
    After the hose is on again the crew needs some seconds to get to the spoil."""
    lost, windows = [], []
    away, off = [], []
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
    losses, _ = sized(drawn, lost) if lost else ([], 0.0)
    parts = between(drawn.load, away)
    for part in parts[1:]:
        part["rise_s"] = dice.ratio(0.3, 3)
    lumps = [
        {"from_s": each.start_s, "to_s": each.end_s, "extra_loss": loss, "rise_s": rise}
        for (each, rise), loss in zip(windows, losses, strict=True)
    ]
    return {"clogs": [*parts, *lumps], "hose_off": off}


def _engine(dice: Dice, drawn: Drawn, mishaps: list[Mishap]) -> tuple[Tree, list[Mishap]]:
    """The engine with its throttle, and the mishaps with the rates at which it sags."""
    engine = drawn.base["machine"]["engine"]
    *points, (end_s, meant) = engine["throttle"]
    told = []
    for each in mishaps:
        told.append(each)
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
            told[-1] = replace(each, rate=each.size / takes_s)
    return {**engine, "throttle": [*points, [end_s, meant]]}, told

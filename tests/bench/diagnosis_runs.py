"""A machine of the diagnosis study the whole way: simulated, watched, logged, noted, reduced."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from diagnosis_machines import Subject
from diagnosis_points import HOLDS, INHG, PLATE_HOLDS
from direct_link import DirectLink
from population_dice import Dice
from population_hand import Stay
from population_instruments import absolute_sensor, meter_sensor, spoil
from population_machines import UNJITTERED, Drawn, Tree
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.world import World
from pullcurve.examine import Run, read_run
from pullcurve.recording import record
from pullcurve.run_log.notes import understand
from pullcurve.run_log.writing import LogWriter

START = datetime(2025, 6, 2, 9, 0, tzinfo=UTC)
TROUBLES = ("tubes_reversed", "water_in_line", "wrong_marks", "sensor_clipped")
TROUBLED = 0.08  # of the runs
IDLE = 0.3


@dataclass(frozen=True)
class Watched:
    """A run as it was read, the earlier one of the same machine, and the true engine speed in
    the fastest hold."""

    run: Run
    earlier: Run | None
    engine_rpm: float
    trouble: str | None


def watch(subject: Subject, dice: Dice, folder: Path) -> Watched:
    """Simulate, record and read the machine's run, and its earlier one where there is one."""
    trouble = dice.one_of(TROUBLES) if dice.chance(TROUBLED) else None
    rig = subject.rig
    if trouble == "wrong_marks":
        shaft = "marks_per_turn = 2" if subject.tach != "engine" else "marks_per_turn = 1"
        rig = rig.replace(shaft, "marks_per_turn = 3")
    sweeps = [HOLDS] if subject.plate == "none" else [HOLDS, PLATE_HOLDS]
    throttle, stays = _hand(dice, subject.engine_rpm, sweeps)
    sensors: list[Tree] = []
    drawn = _drawn(subject, subject.machine, throttle, stays, subject.choke)
    plant = _plant(dice, subject, drawn, trouble, sensors)
    path = folder / "run.runlog"
    _record(plant, path, rig, _said(subject, plant, stays, sweeps))
    earlier = None
    if subject.earlier:
        sound = replace(subject, plate="none", engine_rpm=subject.sound_engine_rpm)
        throttle, stays = _hand(dice, sound.engine_rpm, [HOLDS])
        drawn = _drawn(sound, subject.sound, throttle, stays, 0.0)
        before = folder / "earlier.runlog"
        _record(_plant(dice, sound, drawn, None, sensors), before, subject.rig, [])
        earlier = read_run(before)
    run = read_run(path)
    return Watched(run, earlier, _fastest(run, plant, subject), trouble)


def _hand(
    dice: Dice, top_rpm: float, sweeps: list[tuple[float, ...]]
) -> tuple[list[list[float]], list[list[Stay]]]:
    """Holds of 12 to 18 s; the engine stands before, between and after the sweeps."""
    points = [[0.0, 0.0]]
    stays: list[list[Stay]] = []

    def go(seconds: float, level: float) -> None:
        points.append([points[-1][0] + seconds, level * top_rpm])

    go(dice.between(9, 14), 0.0)
    for levels in sweeps:
        stays.append([])
        for level in levels:
            go(dice.between(1.0, 2.5), level * (1 + dice.normal(0.02)))
            go(dice.between(0.5, 1.5), level)
            start = points[-1][0]
            go(dice.between(12, 18), level)
            stays[-1].append(Stay(start, points[-1][0]))
        go(1.5, IDLE)
        go(1.0, 0.0)
        go(dice.between(10, 14), 0.0)
    go(0.5, 0.0)
    return points, stays


def _drawn(
    subject: Subject, tree: Tree, throttle: list[list[float]], stays: list[list[Stay]], choke: float
) -> Drawn:
    machine = {name: value for name, value in tree.items() if name != "said"}
    engine = machine["engine"] | {"throttle": throttle, "wander_rpm": 5e-4 * subject.engine_rpm}
    end_s = throttle[-1][0]
    events: Tree = {}
    if choke:
        events["clogs"] = [{"from_s": 0.0, "to_s": end_s + 2, "extra_loss": choke}]
    if len(stays) > 1:
        on_s = stays[0][-1].end_s + 6.0
        events["plates"] = [{"from_s": on_s, "to_s": end_s + 1, "loss": subject.plate_loss}]
    scenario = {
        "name": "diagnosis",
        "seed": 1,
        "duration_s": end_s,
        "start": START,
        "site": subject.site,
        "machine": machine | {"engine": engine},
        "meter": subject.meter,
        "events": events,
        "pickups": _pickups(subject),
    }
    return Drawn(scenario, {}, tuple(stay for sweep in stays for stay in sweep))


def _pickups(subject: Subject) -> list[Tree]:
    pickups = []
    if subject.tach != "engine":
        pickups.append({"role": "blower_shaft", "marks": 2, "uneven": [0.0, 0.01]})
    if subject.tach in ("engine", "both"):
        pickups.append({"role": "engine_shaft", "marks": 1})
    return [pickup | {"jitter_us": 6.0} for pickup in pickups]


def _plant(
    dice: Dice, subject: Subject, drawn: Drawn, trouble: str | None, sensors: list[Tree]
) -> Plant:
    """The plant with its sensors: those of `sensors`, or, while that is empty, new ones."""
    spoilt = dict(drawn.scenario)
    more = spoil(dice, trouble, Drawn(spoilt | {"events": {}}, {}, drawn.stays))
    spoilt["meter"] = more["meter"]
    spoilt["events"] = drawn.scenario["events"] | more.get("events", {})
    spoilt["board"] = {} if dice.chance(1 / 3) else {"plan": UNJITTERED}
    if not sensors:
        blank = [{"role": "meter_dp", "part": "HSC", "address": 0x28}]
        plant = simulate(Scenario.model_validate(spoilt | {"sensors": blank}))
        sensors += [meter_sensor(dice, trouble, plant), *_air_sensors(dice, subject)]
    return simulate(Scenario.model_validate(spoilt | {"sensors": sensors}))


def _air_sensors(dice: Dice, subject: Subject) -> list[Tree]:
    found = [absolute_sensor(dice, "ambient_air", "BME280", 0, 0x76)]
    if subject.position == "clean_pipe" or dice.chance(0.2):
        found.append(absolute_sensor(dice, "meter_air", "BMP280", 0, 0x77))
    if "blower_air" in subject.sensors:
        found.append(absolute_sensor(dice, "blower_air", "BMP280", 1, 0x76))
    if "tank_air" in subject.sensors:
        found.append(absolute_sensor(dice, "tank_air", "LPS22HB", 1, 0x5C))
    if "discharge_temperature" in subject.sensors:
        error = {"zero_error": dice.within(1.5), "noise": 0.06}
        role = {"role": "discharge_temperature", "part": "MCP9600", "bus": 1, "address": 0x67}
        found.append(role | error)
    return found


def _said(
    subject: Subject, plant: Plant, stays: list[list[Stay]], sweeps: list[tuple[float, ...]]
) -> list[tuple[str, str]]:
    """What the person notes, and when it holds."""
    said = []
    if len(stays) > 1:
        said.append((subject.plate_words, "sweep 2"))
    truth = pd.DataFrame(plant.truth())

    def at(stay: Stay, column: str) -> float:
        return float(truth[truth["time_s"].between(stay.start_s + 4, stay.end_s)][column].mean())

    if subject.tach == "typed":
        stay = stays[0][int(np.argmax(sweeps[0]))]
        speed = at(stay, "engine_speed_rpm")
        said.append((f"engine {5 * round(speed / 5):.0f} rpm", _middle(stay)))
    if subject.gauge:
        column = "vacuum_blower_pa" if subject.gauge == "blower inlet" else "vacuum_tank_pa"
        for stay in stays[0][::2]:
            reading = round(2 * at(stay, column) / INHG) / 2
            said.append((f"vacuum {reading:.1f} inHg at {subject.gauge}", _middle(stay)))
    return said


def _middle(stay: Stay) -> str:
    return f"{(stay.start_s + stay.end_s) / 2:.0f} s"


def _record(plant: Plant, path: Path, rig: str, said: list[tuple[str, str]]) -> None:
    scenario = plant.scenario
    link = DirectLink(scenario, World(scenario, plant))
    with link, LogWriter(path, now=scenario.start) as writer:
        writer.rig(scenario.start, rig)
        record(link, writer)
    after = scenario.start + timedelta(seconds=scenario.duration_s + 60)
    if said:
        with LogWriter(path, append=True, now=after) as writer:
            for words, when in said:
                writer.note(after, understand(words), when)


def _fastest(run: Run, plant: Plant, subject: Subject) -> float:
    points = run.points
    if points.empty:
        return subject.engine_rpm
    first = points[points["sweep"] == points["sweep"].iloc[0]]
    top = first.loc[first["speed_rpm"].idxmax()]
    truth = pd.DataFrame(plant.truth())
    inside = truth[truth["time_s"].between(top["start_s"], top["end_s"])]
    return float(inside["engine_speed_rpm"].mean())

"""A machine of the diagnosis study the whole way: simulated, watched, logged, noted, reduced."""

from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import pandas as pd

from diagnosis_machines import SHAFTS, Subject
from diagnosis_points import HOLDS, PLATE_HOLDS
from dice import Dice
from direct_link import DirectLink
from instruments import air_sensors, draw_pickups, meter_sensor, spoil
from machines import INHG, START, UNJITTERED, Tree, toml
from operators import Hand, Stay, sweep
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.world import World
from pullcurve.examine import Run, read_run
from pullcurve.recording import record
from pullcurve.run_log.notes import understand
from pullcurve.run_log.writing import LogWriter

TROUBLES = ("tubes_reversed", "water_in_line", "wrong_marks", "sensor_clipped")
TROUBLED = 0.08  # of the runs


@dataclass(frozen=True)
class Watched:
    """A run as it was read, the earlier one of the same machine, the true engine speed in the
    fastest hold, and the plant."""

    run: Run
    earlier: Run | None
    engine_rpm: float
    trouble: str | None
    plant: Plant


def watch(
    subject: Subject,
    dice: Dice,
    folder: Path,
    *,
    troubled: float = TROUBLED,
    sensors: list[Tree] | None = None,
) -> Watched:
    """Simulate, record and read the machine's run, and its earlier one where there is one.

    sensors: tables of a scenario, drawn where there are none.
    """
    trouble = dice.one_of(TROUBLES) if dice.chance(troubled) else None
    hand = sweep(
        dice, subject.engine_rpm, [HOLDS] if subject.plate == "none" else [HOLDS, PLATE_HOLDS]
    )
    sensors = sensors or []
    plant, pickups = _plant(dice, subject, hand, trouble, sensors)
    path = folder / "run.runlog"
    _record(plant, path, subject.rig | {"pickups": pickups}, _said(subject, plant, hand))
    earlier = None
    if subject.earlier:
        sound = replace(
            subject,
            plate="none",
            machine=subject.sound,
            engine_rpm=subject.sound_engine_rpm,
            choke=0.0,
        )
        hand = sweep(dice, sound.engine_rpm, [HOLDS])
        before = folder / "earlier.runlog"
        plant_before, pickups = _plant(dice, sound, hand, None, sensors)
        _record(plant_before, before, subject.rig | {"pickups": pickups}, [])
        earlier = read_run(before)
    run = read_run(path)
    return Watched(run, earlier, _fastest(run, plant, subject), trouble, plant)


def _plant(
    dice: Dice, subject: Subject, hand: Hand, trouble: str | None, sensors: list[Tree]
) -> tuple[Plant, Tree]:
    """The plant with its sensors, those of `sensors` or, while that is empty, new ones; and the
    rig's tables of its pickups."""
    events: Tree = {}
    if subject.choke:
        choke = {"from_s": 0.0, "to_s": hand.end_s + 2, "extra_loss": subject.choke}
        events["clogs"] = [choke]
    if subject.plate != "none":
        on_s = max(stay.end_s for stay in hand.stays if stay.sweep == 0) + 6.0
        plate = {"from_s": on_s, "to_s": hand.end_s + 1, "loss": subject.plate_loss}
        events["plates"] = [plate]
    pickups, rig_pickups = draw_pickups(dice, trouble, hand.stays, SHAFTS[subject.tach])
    engine = subject.machine["engine"] | {"throttle": hand.throttle}
    scenario = {
        "name": "diagnosis",
        "seed": 1,
        "duration_s": hand.end_s,
        "start": START,
        "site": subject.site,
        "machine": subject.machine | {"engine": engine},
        "meter": subject.meter,
        "events": events,
        "pickups": pickups,
        "board": {} if dice.chance(1 / 3) else {"plan": UNJITTERED},
    }
    spoilt = spoil(dice, trouble, scenario)
    spoilt.pop("link", None)
    if not sensors:
        blank = [{"role": "meter_dp", "part": "HSC", "address": 0x28}]
        plant = simulate(Scenario.model_validate(spoilt | {"sensors": blank}))
        roles = set(subject.sensors)
        if subject.position == "clean_pipe" or dice.chance(0.2):
            roles.add("meter_air")
        sensors += [meter_sensor(dice, trouble, plant), *air_sensors(dice, sorted(roles))]
    return simulate(Scenario.model_validate(spoilt | {"sensors": sensors})), rig_pickups


def _said(subject: Subject, plant: Plant, hand: Hand) -> list[tuple[str, str]]:
    """What the person notes, and when it holds."""
    said = []
    first = [stay for stay in hand.stays if stay.sweep == 0]
    if len(hand.stays) > len(first):
        said.append((subject.plate_words, "sweep 2"))
    truth = pd.DataFrame(plant.truth())

    def at(stay: Stay, column: str) -> float:
        return float(truth[truth["time_s"].between(stay.start_s + 4, stay.end_s)][column].mean())

    if subject.tach == "typed":
        stay = max(first, key=lambda stay: stay.level)
        speed = at(stay, "engine_speed_rpm")
        said.append((f"engine {5 * round(speed / 5):.0f} rpm", _middle(stay)))
    if subject.gauge:
        column = "vacuum_blower_pa" if subject.gauge == "blower inlet" else "vacuum_tank_pa"
        for stay in first[::2]:
            reading = round(2 * at(stay, column) / INHG) / 2
            said.append((f"vacuum {reading:.1f} inHg at {subject.gauge}", _middle(stay)))
    return said


def _middle(stay: Stay) -> str:
    return f"{(stay.start_s + stay.end_s) / 2:.0f} s"


def _record(plant: Plant, path: Path, rig: Tree, said: list[tuple[str, str]]) -> None:
    scenario = plant.scenario
    link = DirectLink(scenario, World(scenario, plant))
    with link, LogWriter(path, now=scenario.start) as writer:
        writer.rig(scenario.start, toml(rig))
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

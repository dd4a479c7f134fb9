"""One run of the population: machine, instrument, operator, rig file and trouble, as drawn."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import pandas as pd

from direct_link import DirectLink
from population_dice import Dice
from population_instruments import (
    air_sensors,
    draw_pickups,
    meter_sensor,
    spoil,
    typed_pressure,
)
from population_machines import Tree, draw_machine
from population_settled import Settled, settled_part
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.world import World
from pullcurve.errors import ScenarioError

ATTEMPTS = 50
SLOWEST_AIR_S = 3.0  # three time constants
LEAST_ALTITUDE_M = 500.0  # lower down a sea-level pressure is as good as the station's


@dataclass(frozen=True)
class Case:
    """What is simulated, and the rig's file for it."""

    scenario: Scenario
    plant: Plant
    rig: str
    trouble: str | None
    settled: tuple[Settled, ...]
    plastic: bool
    clock_jump: tuple[float, float] | None  # when, and by how much, in s

    def link(self) -> "StrayClock":
        """The way from the simulated board to the host."""
        return StrayClock(self)


class StrayClock(DirectLink):
    """The bench's link, as a host hears it whose clock jumps."""

    def __init__(self, case: Case) -> None:
        super().__init__(case.scenario, World(case.scenario, case.plant))
        self._jump = case.clock_jump

    def _host_time(self, now_us: int) -> datetime:
        now = super()._host_time(now_us)
        if self._jump is None or now_us * 1e-6 < self._jump[0]:
            return now
        return now + timedelta(seconds=self._jump[1])


def draw_case(seed: int, number: int, position: str, trouble: str | None) -> Case:
    """Run `number` of the population `seed`; the same for the same arguments.

    A machine that has no flow is thrown away and another one drawn.
    """
    for attempt in range(ATTEMPTS):
        dice = Dice(seed, number, attempt)
        try:
            return _draw(dice, f"population_{number}", position, trouble)
        except ScenarioError:
            continue
    raise ScenarioError(f"run {number}: no machine with a flow in {ATTEMPTS} attempts")


def _draw(dice: Dice, name: str, position: str, trouble: str | None) -> Case:
    least_altitude_m = LEAST_ALTITUDE_M if trouble == "sea_level_pressure" else 0.0
    drawn = draw_machine(dice, name, position, least_altitude_m)
    pickups, typed_marks = draw_pickups(dice, trouble, drawn.stays)
    spoilt = spoil(dice, trouble, drawn) | {"pickups": pickups}
    # Which range suits is known only once the pressures are: the plant minds no sensor.
    blank = [{"role": "meter_dp", "part": "HSC", "address": 0x28}]
    plant = simulate(Scenario.model_validate(spoilt | {"sensors": blank}))
    truth = pd.DataFrame(plant.truth())
    tank_m3 = plant.scenario.machine.tank_volume_m3
    settled = tuple(settled_part(truth, stay, tank_m3) for stay in drawn.stays)
    if max(part.fill_s for part in settled) > SLOWEST_AIR_S:
        raise ScenarioError("the tank fills too slowly")
    pressure = trouble != "sea_level_pressure" and not dice.chance(0.15)
    sensors = [meter_sensor(dice, trouble, plant)]
    sensors += air_sensors(dice, position, pressure=pressure)
    scenario = Scenario.model_validate(spoilt | {"sensors": sensors})
    rig = drawn.rig | {"marks": typed_marks}
    if not pressure:
        sea_level = trouble == "sea_level_pressure"
        rig["station_pressure"] = typed_pressure(dice, scenario.site, sea_level=sea_level)
    if len(pickups) > 1:
        rig["engine_marks"] = pickups[1]["marks"]
        rig["belt_ratio"] = scenario.machine.belt_ratio * (1 + dice.normal(0.003))
    jumps = trouble == "clock_jump" or dice.chance(0.04)
    jump = (dice.between(0, drawn.scenario["duration_s"]), dice.sign() * dice.ratio(0.5, 3600))
    return Case(
        scenario=scenario,
        plant=plant,
        rig=_rig_text(rig),
        trouble=trouble,
        settled=settled,
        plastic="discharge_coefficient" not in drawn.rig["meter"],
        clock_jump=jump if jumps else None,
    )


def _rig_text(rig: Tree) -> str:
    lines = ['name = "an invented machine of the population study"', "[meter]"]
    for key, value in rig["meter"].items():
        lines.append(f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}")
    lines += ["[site]", f'altitude = "{rig["altitude"]:.0f} m"']
    if "station_pressure" in rig:
        lines.append(f'station_pressure = "{rig["station_pressure"] / 1000:.2f} kPa"')
    lines += ["[pickups.blower_shaft]", f"marks_per_turn = {rig['marks']}"]
    if "engine_marks" in rig:
        lines += ["[pickups.engine_shaft]", f"marks_per_turn = {rig['engine_marks']}"]
        lines += ["[machine]", f"belt_ratio = {rig['belt_ratio']:.4f}"]
    return "\n".join(lines) + "\n"

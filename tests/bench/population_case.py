"""One run of the population: machine, instrument, operator, rig file and trouble, as drawn."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import pandas as pd

from dice import Dice
from direct_link import DirectLink
from instruments import air_sensors, draw_pickups, meter_sensor, spoil, typed_pressure
from machines import UNJITTERED, draw_machine, toml
from operators import ZEROS, draw_levels, sweep
from population_settled import Settled, settled_part
from pullcurve.bench.plant import Plant, simulate
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.world import World
from pullcurve.errors import ScenarioError

ATTEMPTS = 50
SLOWEST_AIR_S = 3.0  # three time constants
LEAST_ALTITUDE_M = 500.0  # lower down a sea-level pressure is as good as the station's
USED = (1.0, 4.0)  # times the sound slip, of one blower in three
LOADING = (0.0, 0.5)  # Pa s/m3 a second at 1 m3/s, of one filter in three


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
        try:
            return _draw(Dice(seed, number, attempt), number, position, trouble)
        except ScenarioError:
            continue
    raise ScenarioError(f"run {number}: no machine with a flow in {ATTEMPTS} attempts")


def _draw(dice: Dice, number: int, position: str, trouble: str | None) -> Case:
    machine = draw_machine(dice, number, position)
    sea_level = trouble == "sea_level_pressure"
    if sea_level and machine.site["altitude_m"] < LEAST_ALTITUDE_M:
        raise ScenarioError("too low for a wrong pressure to matter")
    hand = sweep(dice, machine.engine_rpm, [draw_levels(dice)], dice.one_of(ZEROS))
    shafts = ("blower_shaft", "engine_shaft") if dice.chance(0.25) else ("blower_shaft",)
    pickups, rig_pickups = draw_pickups(dice, trouble, hand.stays, shafts)
    drawn = machine.scenario(
        f"population_{number}",
        dice.whole(0, 2**31),
        hand.throttle,
        pickups=pickups,
        board={} if dice.chance(1 / 3) else {"plan": UNJITTERED},
    )
    if dice.chance(1 / 3):
        machine.tree["blower"]["slip_factor"] *= dice.between(*USED)
    if dice.chance(1 / 3):
        machine.tree["filter"]["loading_pa_s_m3_per_s"] = dice.between(*LOADING) / machine.flow
    spoilt = spoil(dice, trouble, drawn)
    # Which range suits is known only once the pressures are: the plant minds no sensor.
    blank = [{"role": "meter_dp", "part": "HSC", "address": 0x28}]
    plant = simulate(Scenario.model_validate(spoilt | {"sensors": blank}))
    truth = pd.DataFrame(plant.truth())
    tank_m3 = plant.scenario.machine.tank_volume_m3
    settled = tuple(settled_part(truth, stay, tank_m3) for stay in hand.stays)
    if max(part.fill_s for part in settled) > SLOWEST_AIR_S:
        raise ScenarioError("the tank fills too slowly")
    pressure = not (sea_level or dice.chance(0.15))
    roles = ["meter_air"] if position == "clean_pipe" or dice.chance(0.25) else []
    roles += ["blower_air"] if dice.chance(0.6) else []
    sensors = [meter_sensor(dice, trouble, plant), *air_sensors(dice, roles, pressure=pressure)]
    scenario = Scenario.model_validate(spoilt | {"sensors": sensors})
    rig = machine.rig | {"pickups": rig_pickups}
    if not pressure:
        typed_pa = typed_pressure(dice, scenario.site, sea_level=sea_level)
        rig["site"]["station_pressure"] = f"{typed_pa / 1000:.2f} kPa"
    jumps = trouble == "clock_jump" or dice.chance(0.04)
    jump = (dice.between(0, hand.end_s), dice.sign() * dice.ratio(0.5, 3600))
    return Case(
        scenario=scenario,
        plant=plant,
        rig=toml(rig),
        trouble=trouble,
        settled=settled,
        plastic=machine.plastic,
        clock_jump=jump if jumps else None,
    )

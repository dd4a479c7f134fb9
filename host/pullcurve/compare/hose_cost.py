"""What a hose costs, from a run with the meter on the port and one at the hose's end.

At equal speed the flow that the meter misses with the hose on has two parts. The hose's loss
deepens the vacuum, so the blower takes in less mass; and air that leaks into the hose does not
pass the meter. With the vacuum at the blower measured in both runs the two are told apart: the
blower's displacement is the same, and how its slip grows with the pressure ratio is known. A
leaking tank leaks with the open port too, and passes for slip there: of it only a part is seen.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from pullcurve.compare.comparison import COVERAGE, Pair, columns_of
from pullcurve.diagnosis.facts import MachineFacts, machine_facts
from pullcurve.diagnosis.verdict import Interval, interval
from pullcurve.examine import Run
from pullcurve.physics.air import DRY_AIR_GAS_CONSTANT
from pullcurve.physics.blower import slip_multiple

Array = NDArray[np.float64]

DRAWS: Final = 4000
BACK_PRESSURE_PA: Final = (0.0, 4000.0)  # of silencer and outlet, least and greatest (judgement)
MOST_LAMINAR: Final = 0.3
LEAST_SLIP: Final = 0.01  # of the speed
MODEL: Final = 0.003  # of the flow, what this leaves out, standard uncertainty (judgement)

Missing = Literal["vacuum_port_run", "vacuum_hose_run", "blower"]


@dataclass(frozen=True)
class HoseCost:
    """At the highest common speed. Mass flows in kg/s, vacua in Pa (NaN where not measured).

    `cost` is the flow of the open port less that with the hose. Of it, `taken` is what the blower
    takes in less, and `leak` what comes into the hose past the meter, and a part of what the tank
    leaks more; both None where `missing` says what lacks to tell them apart. `leak_share` is the
    leak over the blower's flow.
    """

    hose_run: Literal["first", "later"]
    speed_rpm: float
    open_port: float
    with_hose: float
    cost: Interval
    vacuum_blower: tuple[float, float]  # open port, with hose
    vacuum_tank: tuple[float, float]
    taken: Interval | None
    leak: Interval | None
    leak_share: Interval | None
    missing: Missing | None


def hose_cost(pair: Pair) -> HoseCost | None:
    """None unless one run was on the port and the other at the hose's end."""
    places = pair.first.rig.meter.position, pair.later.rig.meter.position
    if sorted(places) != ["hose_end", "port"]:
        return None
    swap = -1 if places[0] == "hose_end" else 1
    port, hose = pair.curves[::swap]
    names = ("first", "later")[::swap]
    row, columns = pair.table.iloc[-1], columns_of("mass_flow")
    speed = float(row["speed_rpm"])
    on_port = float(row[columns[names[0]]])
    with_hose = float(row[columns[names[1]]])
    u95 = float(row[columns["u95"]])
    at = np.array([speed])

    def vacua(column: str) -> tuple[float, float]:
        return float(port.at(column, at)[0]), float(hose.at(column, at)[0])

    vacuum = vacua("vacuum_blower_pa")
    facts = machine_facts(hose.run.rig)
    missing: Missing | None = None
    if np.isnan(vacuum[0]):
        missing = "vacuum_port_run"
    elif np.isnan(vacuum[1]):
        missing = "vacuum_hose_run"
    elif isinstance(facts, str):
        missing = "blower"
    taken = leak = share = None
    if missing is None and not isinstance(facts, str):
        ratio_u = float(row[columns["relative_u95"]]) / COVERAGE
        if names[0] == "later":  # of port over hose, so relative to the other one
            ratio_u *= with_hose / on_port
        taken, leak, share = _parts(
            facts,
            speed,
            on_port,
            with_hose,
            ratio_u,
            (_Place(port.run, vacuum[0]), _Place(hose.run, vacuum[1])),
            float(row[columns["u95_apart"]]) / COVERAGE / on_port,
        )
    return HoseCost(
        "first" if names[1] == "first" else "later",
        speed,
        on_port,
        with_hose,
        Interval(on_port - with_hose, on_port - with_hose - u95, on_port - with_hose + u95),
        vacuum,
        vacua("vacuum_tank_pa"),
        taken,
        leak,
        share,
        missing,
    )


class _Place:
    """Air at the blower's inlet in one run."""

    def __init__(self, run: Run, vacuum: float) -> None:
        points = run.points
        self.ambient = float(points["ambient_pressure_pa"].mean())
        self.temperature = float(points["ambient_temperature_k"].mean())
        self.pressure = self.ambient - vacuum
        self.u_pa = float(points["vacuum_blower_u95_pa"].mean()) / 2


def _parts(
    facts: MachineFacts,
    speed: float,
    on_port: float,
    with_hose: float,
    ratio_u: float,
    places: tuple[_Place, _Place],
    flow_u: float,
) -> tuple[Interval, Interval, Interval]:
    """What the blower takes in less with the hose on, what leaks in, and its share.

    With the open port N - N_s = m R T / (p V_d): the slip there holds wear, and what leaks in at
    the blower. It grows with the hose on as `slip_multiple` does. Then the mass that the blower
    takes in is that of the open port times the densities' ratio and that of N - N_s; what the
    meter at the hose's end shows less came in on the way.
    """
    generator = np.random.default_rng(0)

    def normal(u: float) -> Array:
        return u * generator.standard_normal(DRAWS)

    displacement = facts.displacement_m3 * np.exp(normal(float(facts.sheet_spread[0, 0])))
    back = generator.uniform(*BACK_PRESSURE_PA, DRAWS)
    laminar = generator.uniform(0.0, MOST_LAMINAR, DRAWS)
    pressures = [place.pressure + normal(place.u_pa) for place in places]
    density = [
        p / (DRY_AIR_GAS_CONSTANT * place.temperature)
        for p, place in zip(pressures, places, strict=True)
    ]
    turned = on_port * (1 + normal(flow_u)) / density[0] / displacement * 60
    slip = np.maximum(speed - turned, LEAST_SLIP * speed)
    multiple = [
        slip_multiple(p, place.ambient + back, place.temperature, laminar_share=laminar)
        for p, place in zip(pressures, places, strict=True)
    ]
    slip_then = slip * multiple[1] / multiple[0]
    intake = on_port * density[1] / density[0] * (speed - slip_then) / (speed - slip)
    intake = intake * (1 + normal(MODEL))
    metered = with_hose + on_port * normal(ratio_u)
    return (
        interval(on_port - intake),
        interval(intake - metered),
        interval((intake - metered) / intake),
    )

"""What a hose costs, from a run with the meter on the port and one at the hose's end.

At equal speed the flow that the meter misses with the hose on has two parts. The hose's loss
deepens the vacuum, so the blower takes in less mass; and air that leaks into the hose does not
pass the meter. With the vacuum at the blower measured in both runs the two are told apart: the
blower's displacement is the same, and how its slip grows with the pressure ratio is known. A
leaking tank leaks with the open port too, and passes for slip there: of it only a part is seen.
"""

from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from pullcurve.compare.result import COVERAGE, CommonSpeed, HoseCost, Missing
from pullcurve.compare.run_curve import RunCurve
from pullcurve.diagnosis.facts import MachineFacts, machine_facts
from pullcurve.diagnosis.verdict import interval
from pullcurve.examine import Run
from pullcurve.physics.air import DRY_AIR_GAS_CONSTANT
from pullcurve.physics.blower import slip_multiple
from pullcurve.results import Interval

Array = NDArray[np.float64]

DRAWS: Final = 4000
BACK_PRESSURE_PA: Final = (0.0, 4000.0)  # of silencer and outlet, least and greatest (judgement)
MOST_LAMINAR: Final = 0.3
LEAST_SLIP: Final = 0.01  # of the speed
MODEL: Final = 0.003  # of the flow, what this leaves out, standard uncertainty (judgement)


def hose_cost(first: RunCurve, later: RunCurve, top: CommonSpeed) -> HoseCost | None:
    """Compare the open port with the hose at the highest common speed.

    The flow of the open port less that with the hose has two parts: what the blower takes in
    less, and what comes into the hose past the meter with a part of what the tank leaks more.
    Both stay out where `missing` says what lacks to tell them apart. None unless one run was on
    the port and the other at the hose's end.
    """
    places = first.run.rig.meter.position, later.run.rig.meter.position
    if sorted(places) != ["hose_end", "port"]:
        return None
    hose_run: Literal["first", "later"] = "first" if places[0] == "hose_end" else "later"
    port, hose = (first, later) if hose_run == "later" else (later, first)
    flow = top.mass_flow_kg_s
    on_port, with_hose = (
        (flow.first, flow.later) if hose_run == "later" else (flow.later, flow.first)
    )
    at = np.array([top.speed_rpm])

    def vacua(column: str) -> tuple[float | None, float | None]:
        open_port, hosed = float(port.at(column, at)[0]), float(hose.at(column, at)[0])
        return (
            None if np.isnan(open_port) else open_port,
            None if np.isnan(hosed) else hosed,
        )

    blower, tank = vacua("vacuum_blower_pa"), vacua("vacuum_tank_pa")
    facts = machine_facts(hose.run.rig)
    missing: Missing | None = None
    taken = leak = share = None
    if blower[0] is None:
        missing = "vacuum_port_run"
    elif blower[1] is None:
        missing = "vacuum_hose_run"
    elif isinstance(facts, str):
        missing = "blower"
    else:
        ratio_u = flow.relative_u95 / COVERAGE
        if hose_run == "first":  # of port over hose, so relative to the other one
            ratio_u *= with_hose / on_port
        taken, leak, share = _parts(
            facts,
            top.speed_rpm,
            on_port,
            with_hose,
            ratio_u,
            (_Place(port.run, blower[0]), _Place(hose.run, blower[1])),
            flow.u95_apart / COVERAGE / on_port,
        )
    cost = on_port - with_hose
    return HoseCost(
        hose_run=hose_run,
        speed_rpm=top.speed_rpm,
        open_port_kg_s=on_port,
        with_hose_kg_s=with_hose,
        cost_kg_s=Interval(cost, cost - flow.u95, cost + flow.u95),
        vacuum_blower_open_port_pa=blower[0],
        vacuum_blower_with_hose_pa=blower[1],
        vacuum_tank_open_port_pa=tank[0],
        vacuum_tank_with_hose_pa=tank[1],
        taken_kg_s=taken,
        leak_kg_s=leak,
        leak_share=share,
        missing=missing,
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

"""The path solved another way: by mass flow from the open end on, with the air, by scipy.

The laws are those of `pullcurve.physics`, written out anew; of that package nothing is used.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

SEA, ROOM, R_AIR, KAPPA = 101325.0, 293.15, 287.05, 1.4


@dataclass(frozen=True)
class Machine:
    """A grit unit on a bore of 5 in: losses as K on that bore, areas in m², resistance in Pa s/m³.

    `hose`: f L / D and fittings of a hose whose air is accelerated too.
    """

    displacement: float = 0.0160
    slip: float = 115.0
    speed: float = 2750.0
    bore: float = 0.1270
    load: float = 0.0
    hose: float = 0.0
    leak_tank: float = 0.0
    pipe: float = 2.5
    resistance: float = 2440.0
    leak_blower: float = 0.0
    pressure: float = SEA


@dataclass(frozen=True)
class Answer:
    """Flows in kg/s, pressures in Pa, slip in rev/min, rise of the discharge in K."""

    nozzle: float
    tank_leak: float
    intake: float
    tank: float
    blower: float
    slip: float
    rise: float


def nozzle_flow(area: float, outside: float, inside: float) -> float:
    """Saint-Venant and Wantzel, from rest at ROOM, choked below the critical ratio."""
    tau = max(inside / outside, (2 / (KAPPA + 1)) ** (KAPPA / (KAPPA - 1)))
    head = KAPPA / (KAPPA - 1) * R_AIR * ROOM * (1 - tau ** ((KAPPA - 1) / KAPPA))
    density = outside / (R_AIR * ROOM) * tau ** (1 / KAPPA)
    return area * density * float(np.sqrt(2 * head))


def slip_speed(slip: float, outlet: float, inlet: float) -> float:
    """In psi and °R: S1 sqrt(dp 14.69595 / p1 T / 527.67)."""
    psi, rankine = 6894.757, ROOM * 1.8
    difference, absolute = (outlet - inlet) / psi, inlet / psi
    return slip * float(np.sqrt(difference * 14.69595 / absolute * rankine / 527.67))


def end_of_hose(mouth: float, loss: float, flux: float) -> float | None:
    """Pressure behind a hose: p² - q² = flux² R T (loss + 2 ln(p/q)); None where it is choked."""
    rt = R_AIR * ROOM
    sonic = flux * np.sqrt(rt)

    def excess(end: float) -> float:
        return mouth**2 - end**2 - flux**2 * rt * (loss + 2 * np.log(mouth / end))

    if flux == 0:
        return mouth
    if mouth <= sonic or excess(sonic) < 0:
        return None
    return float(brentq(excess, sonic, mouth, xtol=1e-9))


def walk(machine: Machine, flow: float) -> Answer | None:
    """From a flow into the nozzle to the blower; None where the path cannot pass it."""
    rt, area = R_AIR * ROOM, np.pi / 4 * machine.bore**2
    tank_square = machine.pressure**2 - machine.load * (flow / area) ** 2 * rt
    if tank_square <= 0:
        return None
    tank: float | None = float(np.sqrt(tank_square))
    if machine.hose:
        tank = end_of_hose(tank, machine.hose, flow / area)
    if tank is None:
        return None
    leak = nozzle_flow(machine.leak_tank, machine.pressure, tank)
    passed = flow + leak
    square = tank**2 - machine.pipe * (passed / area) ** 2 * rt
    square -= 2 * machine.resistance * passed * rt
    if square <= 0:
        return None
    inlet = float(np.sqrt(square))
    intake = passed + nozzle_flow(machine.leak_blower, machine.pressure, inlet)
    slip = slip_speed(machine.slip, machine.pressure, inlet)
    efficiency = 1 - slip / machine.speed
    ratio = machine.pressure / inlet
    rise = ROOM * (KAPPA - 1) / KAPPA * (ratio - 1) / efficiency
    return Answer(flow, leak, intake, tank, inlet, slip, rise)


def solve(machine: Machine) -> Answer:
    """Where the path brings what the blower takes."""

    def excess(flow: float) -> float:
        found = walk(machine, flow)
        if found is None:
            return 1.0
        density = found.blower / (R_AIR * ROOM)
        taken = density * machine.displacement * (machine.speed - found.slip) / 60
        return found.intake - taken

    most = machine.pressure / (R_AIR * ROOM) * machine.displacement * machine.speed / 60
    found = walk(machine, float(brentq(excess, 0.0, most, xtol=1e-14, rtol=1e-14)))
    assert found is not None
    return found

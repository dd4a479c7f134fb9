"""Which part of a hold counts as settled, from the truth of the plant."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from operators import Stay
from pullcurve.bench.moist_air import MOLAR_GAS_CONSTANT, MOLAR_MASS_DRY

SETTLED_BAND = 0.005  # of the stay's speed
AIR_CONSTANTS = 3.0
SHORTEST_S = 6.0
AROUND_S = 3.0  # the hand's touches near its aim, and the engine's lag behind it


@dataclass(frozen=True)
class Settled:
    """A stay and its settled part, which may be empty."""

    stay: Stay
    fill_s: float  # AIR_CONSTANTS time constants of the air
    start_s: float
    end_s: float

    @property
    def counts(self) -> bool:
        return self.end_s - self.start_s >= SHORTEST_S


def settled_part(truth: pd.DataFrame, stay: Stay, tank_m3: float) -> Settled:
    """The longest time around a stay in which the speed without its wander lies within
    SETTLED_BAND of the stay's median, less AIR_CONSTANTS time constants of the air."""
    held = truth[truth["time_s"].between(stay.start_s, stay.end_s)].median()
    around = truth[truth["time_s"].between(stay.start_s - AROUND_S, stay.end_s + AROUND_S)]
    time_s, speed = around["time_s"].to_numpy(), around["calm_speed_rpm"].to_numpy()
    near = np.abs(speed / held["calm_speed_rpm"] - 1) <= SETTLED_BAND
    change = np.flatnonzero(np.diff(np.concatenate(([False], near, [False])).astype(int)))
    runs = list(zip(change[::2], change[1::2], strict=True))
    low, high = max(runs, key=lambda run: run[1] - run[0])
    fill_s = AIR_CONSTANTS * _air_constant_s(held, tank_m3)
    return Settled(stay, fill_s, float(time_s[low]) + fill_s, float(time_s[high - 1]))


def _air_constant_s(truth: "pd.Series[float]", tank_m3: float) -> float:
    """Time constant of the tank: V/(R T) / [m (1/p + p/(p0^2 - p^2))].

    The linearised balance of a blower that takes air in proportion to the tank's pressure p and
    a way in whose flow goes with the root of p0^2 - p^2.
    """
    p0 = truth["ambient_pressure_pa"]
    p = p0 - truth["vacuum_tank_pa"]
    rt = MOLAR_GAS_CONSTANT / MOLAR_MASS_DRY * truth["ambient_temperature_k"]
    return float(tank_m3 / rt / (truth["port_mass_flow_kg_s"] * (1 / p + p / (p0**2 - p**2))))

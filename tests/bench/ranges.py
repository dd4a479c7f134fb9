"""What a random machine in good order may be, for all studies: python tests/bench/ranges.py

Prints the ranges, each with its basis.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

from dice import Dice


class Range(NamedTuple):
    """Even between two ends, or in the logarithm; or normal about 0 with the sd `high`."""

    low: float
    high: float
    unit: str
    basis: str
    law: str = "even"


SIZES = "judgement: engine-driven lobe blowers of a trailer, 0.1 to 1 m3/s"
SHEETS = "judgement after data sheets of lobe blowers, from memory"
FELT = "judgement"
# What a machine in good order may be.
RANGES: Final = {
    "altitude_m": Range(0, 2500, "m", "where people work"),
    "weather_pa": Range(0, 700, "Pa", "judgement: weather about ISO 2533:1975", "normal"),
    "temperature_k": Range(268, 311, "K", "-5 to 38 C, a working day"),
    "humidity": Range(0.1, 0.95, "1", FELT),
    "pressure_drift": Range(0, 0.05, "Pa/s", "judgement: fast weather, 2 hPa/h", "normal"),
    "temperature_drift": Range(0, 1e-3, "K/s", "judgement: a morning, 4 K/h", "normal"),
    "blower_rpm": Range(2000, 3700, "rev/min", SIZES),
    "belt_ratio": Range(0.8, 1.5, "1", FELT),
    "displacement_m3": Range(0.004, 0.016, "m3", SIZES, "log"),
    "displacement_error": Range(0, 0.003, "1", "judgement: castings", "normal"),
    "slip_share": Range(0.018, 0.055, "of the rated speed, at 1 psi", SHEETS, "log"),
    "slip_factor": Range(0.85, 1.15, "of the sheet's slip", "judgement: new against sheet"),
    "wide_slip_factor": Range(0.8, 1.5, "of the sheet's slip", "judgement: run in, 3 of 10"),
    "laminar": Range(0, 0.3, "of the slip", "judgement: narrow gaps, 1 of 3 of the wide"),
    "heat_loss": Range(0.05, 0.15, "of the gas power", FELT),
    "outlet_pa": Range(300, 3000, "Pa at full flow", "judgement: silencers"),
    "belt_slip": Range(0, 0.012, "1", "judgement: a tight belt"),
    "belt_with_load": Range(0, 0.5, "of the belt's slip", FELT),
    "relief_pa": Range(40e3, 55e3, "Pa", SHEETS),
    "full_load": Range(12e3, 30e3, "Pa: power over displaced flow", FELT),
    "droop": Range(0, 0.05, "of the speed", "governors of small engines, from memory"),
    "lag_s": Range(0.3, 1, "s", FELT),
    "wander": Range(2e-4, 1.5e-3, "of the speed", "judgement: governed, even load", "log"),
    "wander_s": Range(0.4, 3, "s", FELT, "log"),
    "slow_wander": Range(0, 5e-4, "of the speed", FELT),
    "slow_wander_s": Range(8, 30, "s", FELT),
    "hunting": Range(2e-4, 1.5e-3, "of the speed", "judgement: 3 of 10 governors hunt"),
    "hunting_s": Range(1.5, 5, "s", FELT),
    "filter_pa": Range(500, 3000, "Pa at full flow, clean", "judgement: cartridges", "log"),
    "filter_state": Range(0.8, 1.4, "of the clean loss", "judgement: in good order"),
    "tank_s": Range(3, 12, "s of full flow", SIZES),
    "port_over_pipe": Range(0.95, 1.1, "of the tube's pipe", "a tube is made to fit its port"),
    "port_m_s": Range(30, 50, "m/s in a working machine's port", "judgement: air carries spoil"),
    "port_loss": Range(0.1, 0.7, "K", "handbook entrances and expansions, from memory"),
    "clean_pipe_loss": Range(0.8, 3, "K", "handbook bends, from memory"),
    "leak": Range(0, 0.003, "of the port's area, each place", "judgement: gaskets in good order"),
    "hose_m": Range(5, 20, "m, corrugated half", FELT),
    "hose_over_port": Range(0.9, 1.2, "of the port's bore", "judgement: hoses of odd bores"),
    "mouth_loss": Range(0.3, 0.7, "K", "handbook mouths, from memory"),
    "beta": Range(0.5, 0.77, "1", "ISO 5167-4 wants 0.4 to 0.75; owners go a little past"),
    "dp_pa": Range(1200, 5000, "Pa at full flow", "sensors of 25 mbar to 1 psi", "log"),
    "coefficient_fall": Range(0, 0.012, "of C, each halving of Re under 2e5", "ISO 5167-4 B, form"),
    "recovery": Range(0.05, 0.2, "of (beta^-4 - 1)", "ISO 5167-4: 5 to 20 % of dp lost"),
    "line_s": Range(0.002, 0.04, "s", "judgement: tubing of 0.1 to 2 m"),
    "line_ratio": Range(0.7, 1.4, "throat's line to the other", FELT, "log"),
    "sensor_s": Range(0, 0.002, "s", "data sheets of the sensors"),
    "pulsation": Range(0, 0.15, "of the flow", "judgement: behind tank or hose"),
    "second": Range(0, 0.5, "of the first harmonic", FELT),
    "third": Range(0, 0.3, "of the first harmonic", FELT),
    "common_pulsation": Range(0, 0.2, "of dp, half of the tubes", FELT),
    "resonance": Range(0.3, 3, "of the lobes' frequency, half of the tubes", FELT, "log"),
    "quality": Range(0.8, 3, "1", FELT),
    # A cut shakes engine and flow.
    "working_wander": Range(3e-4, 3e-3, "of the speed", "judgement: governed, spoil", "log"),
    "working_slow_wander": Range(0, 2e-3, "of the speed", FELT),
    "working_noise": Range(0, 0.002, "of C", "judgement: turbulence in spoil's wake"),
}  # fmt: skip

# One machine in NEAR_EVERY lies within a tenth of one of these; 13, so that positions take turns.
NEAR_EVERY: Final = 13
NEAR: Final = 0.1
GRIT_UNITS: Final[tuple[Mapping[str, float], ...]] = (
    {
        "blower_rpm": 2750, "belt_ratio": 1.25, "displacement_m3": 0.0160, "slip_share": 115 / 2750,
        "filter_pa": 1500, "relief_pa": 40.6e3, "port_over_pipe": 127 / 144.6, "beta": 0.680,
        "hose_m": 21.3, "altitude_m": 620,
    },
    {
        "blower_rpm": 2300, "belt_ratio": 1.15, "displacement_m3": 0.0205, "slip_share": 90 / 2300,
        "filter_pa": 1200, "relief_pa": 40e3, "port_over_pipe": 150 / 148, "beta": 0.680,
        "hose_m": 25.0, "altitude_m": 240,
    },
)  # fmt: skip


class Draws:
    """Values from RANGES, or near those of one machine."""

    def __init__(self, dice: Dice, near: Mapping[str, float]) -> None:
        self._dice, self._near = dice, near

    def __call__(self, name: str) -> float:
        low, high, _, _, law = RANGES[name]
        if name in self._near:
            return self._near[name] * self._dice.between(1 - NEAR, 1 + NEAR)
        if law == "normal":
            return self._dice.normal(high)
        return self._dice.ratio(low, high) if law == "log" else self._dice.between(low, high)


def near_of(number: int) -> Mapping[str, float]:
    """The grit unit that machine `number` resembles; mostly none."""
    turn, rest = divmod(number, NEAR_EVERY)
    return {} if rest else GRIT_UNITS[turn % len(GRIT_UNITS)]


def main() -> None:
    for name, (low, high, unit, basis, law) in RANGES.items():
        ends = f"sd {high:g}" if law == "normal" else f"{low:g} to {high:g}"
        print(f"{name:20}{ends:>16}  {law:7}{unit:36}{basis}")


if __name__ == "__main__":
    main()

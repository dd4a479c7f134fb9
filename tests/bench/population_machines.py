"""Random machines and Venturi tubes for the population study; all of them are invented."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from population_dice import Dice
from population_hand import IDLE, Stay, sweep

POSITIONS = ("port", "hose_end", "clean_pipe")
PLASTIC_C, PLASTIC_U95 = 0.97, 0.04
PLASTIC_SLOPE_U95 = 0.004  # for each doubling of the Reynolds number; unknown to the rig
GREATEST_FALL = 0.012  # of a stated C for each halving of the Reynolds number below 2e5
UNJITTERED = {  # 200 Hz, on the slot's first instant
    "block_us": 100_000,
    "period_us": 5000,
    "jitter_us": 0,
    "slow_us": 500_000,
    "header_us": 10_000_000,
}

Tree = dict[str, Any]


@dataclass(frozen=True)
class Drawn:
    """A machine with its meter: the scenario's tables but for the sensors, and what the rig's
    file says of them."""

    scenario: Tree
    rig: Tree
    stays: tuple[Stay, ...]


def draw_machine(dice: Dice, name: str, position: str, least_altitude_m: float) -> Drawn:
    """A machine that may turn out to have no flow: then the bench refuses the scenario."""
    site = draw_site(dice, least_altitude_m)
    density = site["pressure_pa"] / (287.05 * site["temperature_k"])
    top_rpm = dice.between(2000, 3700)
    belt_ratio = dice.between(0.8, 1.5)
    displacement = dice.ratio(0.004, 0.016)
    lobes = dice.one_of((2, 2, 3))
    flow = 0.85 * displacement * top_rpm / 60  # about what will come, m3/s
    meter, rig_meter = draw_meter(dice, position, flow, density, 2 * lobes * top_rpm / 60)
    hand = sweep(dice, top_rpm / belt_ratio)
    engine_rpm = top_rpm / belt_ratio
    port = meter["pipe_bore_m"] * dice.between(0.95, 1.1)
    machine = {
        "engine": {
            "idle_rpm": IDLE * engine_rpm,
            "governed_rpm": 1.03 * engine_rpm,
            "droop": dice.between(0, 0.05),
            "full_load_w": dice.ratio(15e3, 40e3),
            "lag_s": dice.between(0.3, 1.0),
            "wander_rpm": dice.ratio(2e-4, 1.5e-3) * engine_rpm,
            "wander_time_s": dice.ratio(0.4, 3),
            "slow_wander_rpm": dice.between(0, 5e-4) * engine_rpm,
            "slow_wander_time_s": dice.between(8, 30),
            "hunting_rpm": dice.between(2e-4, 1.5e-3) * engine_rpm if dice.chance(0.3) else 0.0,
            "hunting_period_s": dice.between(1.5, 5),
            "throttle": hand.throttle,
        },
        "belt_ratio": belt_ratio,
        "belt_slip": dice.between(0, 0.015),
        "belt_slip_at_load": dice.between(0, 0.015),
        "blower": {
            "displacement_m3": displacement,
            "slip_speed_rpm": dice.ratio(40, 200),
            "slip_factor": dice.one_of((1.0, 1.0, dice.between(1, 4))),
            "laminar_share": dice.one_of((0.0, 0.0, dice.between(0, 0.3))),
            "lobes": lobes,
            "outlet_pa_s2_kg2": dice.between(300, 3000) / (flow * density) ** 2,
        },
        "filter": {
            "linear_pa_s_m3": dice.ratio(300, 5000) / flow,
            "loading_pa_s_m3_per_s": dice.one_of((0.0, 0.0, dice.between(0, 0.5) / flow)),
        },
        # Three time constants of tank and way in are a second or two.
        "tank_volume_m3": dice.between(3, 12) * flow,
        "port_bore_m": port,
        "port_loss": dice.between(0.1, 0.6),
        "clean_pipe_loss": dice.between(0.8, 3),
        "leaks": {leak: dice.ratio(1e-6, 4e-5) for leak in ("a_m2", "b_m2", "c_m2")},
    }
    if position == "hose_end" or (position == "clean_pipe" and dice.chance(0.6)):
        machine["hose"] = {
            "length_m": dice.between(5, 20),
            "bore_m": port * dice.between(0.9, 1.2),
            "friction_factor": dice.ratio(0.02, 0.045),
            "loss": dice.between(0.6, 1.8),
        }
    scenario = {
        "name": name,
        "seed": dice.whole(0, 2**31),
        "duration_s": hand.end_s,
        "start": datetime(2025, 6, 2, 9, 0, tzinfo=UTC),
        "site": site,
        "machine": machine,
        "meter": meter,
        "board": {} if dice.chance(1 / 3) else {"plan": UNJITTERED},
    }
    rig = {"altitude": site["altitude_m"] + dice.between(-20, 20), "meter": rig_meter}
    return Drawn(scenario, rig, hand.stays)


def draw_site(dice: Dice, least_altitude_m: float) -> Tree:
    altitude = dice.between(least_altitude_m, 2500)
    return {
        "altitude_m": altitude,
        # ISO 2533:1975 and the weather
        "pressure_pa": 101325 * (1 - altitude / 44330.77) ** 5.255880 + dice.normal(700),
        "temperature_k": dice.between(268, 311),
        "humidity": dice.between(0.1, 0.95),
        "pressure_drift_pa_per_s": dice.normal(0.05),
        "temperature_drift_k_per_s": dice.normal(0.001),
    }


def draw_meter(
    dice: Dice,
    position: str,
    flow: float,
    density: float,
    top_lobe_hz: float,
    plastics: float = 1 / 3,
) -> tuple[Tree, Tree]:
    """The tube as it is, and as the rig's file says it is; a share of them of plastic pipe."""
    beta = dice.between(0.5, 0.77)
    wanted_pa = dice.ratio(1500, 5000)  # at top speed
    throat_area = flow / 0.97 * np.sqrt(density * (1 - beta**4) / (2 * wanted_pa))
    throat = float(np.sqrt(4 / np.pi * throat_area))
    pipe = throat / beta
    plastic = dice.chance(plastics)
    stated = PLASTIC_C if plastic else dice.one_of((0.984, 0.995, 0.985))
    u95 = PLASTIC_U95 if plastic else dice.one_of((0.01, 0.015))
    bore_u95 = dice.one_of((0.05e-3, 0.1e-3, 0.1e-3, 0.2e-3))
    inlet, inlet_u95 = dice.one_of(((0.5, 0.5), (0.5, 0.5), (0.05, 0.1)))
    in_pipe = position == "clean_pipe"
    upstream_s = dice.between(0.005, 0.04)
    meter = {
        "position": position,
        "pipe_bore_m": pipe,
        "throat_bore_m": throat,
        "discharge_coefficient": stated * (1 + dice.normal(u95 / 2)),
        "coefficient_fall": 0.0 if plastic else dice.between(0, GREATEST_FALL),
        "coefficient_slope": dice.normal(PLASTIC_SLOPE_U95 / 2) if plastic else 0.0,
        "inlet_loss": 0.3 if in_pipe else max(inlet + dice.normal(inlet_u95 / 2), 0.02),
        "recovery_loss": dice.between(0.05, 0.2) * (beta**-4 - 1),
        "line_time_constant_s": upstream_s,
        "throat_line_time_constant_s": min(max(upstream_s * dice.ratio(0.7, 1.4), 0.005), 0.04),
        "sensor_time_constant_s": dice.between(0, 0.002),
        **_pulsation(dice, top_lobe_hz),
    }
    rig: Tree = {
        "kind": "venturi",
        "position": position,
        "pipe_bore": f"{1e3 * (pipe + dice.normal(bore_u95 / 2)):.3f} mm",
        "throat_bore": f"{1e3 * (throat + dice.normal(bore_u95 / 2)):.3f} mm",
        "bore_uncertainty": f"{1e3 * bore_u95:.3f} mm",
    }
    if not plastic:
        rig["discharge_coefficient"] = stated
        rig["discharge_coefficient_uncertainty"] = f"{100 * u95:.1f} %"
        rig["discharge_coefficient_source"] = "an invented certificate"
    if not in_pipe:
        rig["inlet_loss"], rig["inlet_loss_uncertainty"] = inlet, inlet_u95
    return meter, rig


def _pulsation(dice: Dice, top_lobe_hz: float) -> Tree:
    """Up to 15 % of the flow at the speed at which the pipe answers most."""
    first = dice.between(0, 0.15)
    shares = (1.0, dice.between(0, 0.5), dice.between(0, 0.3))
    resonance = None
    greatest = [1.0, 1.0, 1.0]
    if dice.chance(0.5):
        hz, quality = dice.ratio(0.3, 3) * top_lobe_hz, dice.between(0.8, 3)
        resonance = {"frequency_hz": hz, "quality": quality}
        ratio = np.outer([1, 2, 3], np.linspace(0.4, 1, 50)) * top_lobe_hz / hz
        greatest = np.abs(1 / (1 - ratio**2 + 1j * ratio / quality)).max(axis=1).tolist()
    return {
        "pulsation": [
            {"amplitude": first * share / max(great, 1.0), "phase_rad": dice.between(0, 6.28)}
            for share, great in zip(shares, greatest, strict=True)
        ],
        "common_pulsation": [{"amplitude": dice.between(0, 0.2) if dice.chance(0.5) else 0.0}],
        **({"resonance": resonance} if resonance else {}),
    }

"""Random suction machines with their sites and Venturi tubes, for all studies; all are invented.

A machine is in good order unless its study spoils it. The wide population differs from the plain
one in what counts as good order, in the laws of blower and filter, in the data sheets and in the
meters.
"""

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from dice import Dice
from pullcurve.bench.elements import narrow_gap_slip, slip_ratio_per_square
from pullcurve.physics.hose import COUPLING_LOSS, FRICTION, JET_LOSS
from ranges import RANGES, Draws, near_of

Tree = dict[str, Any]

POSITIONS: Final = ("port", "hose_end", "clean_pipe")
START: Final = datetime(2025, 9, 16, 8, 0, tzinfo=UTC)
IDLE: Final = 0.3  # of the speed at full throttle
CFM, INHG = 4.719474e-4, 3386.389
SHEET_PRESSURE, SHEET_TEMPERATURE = 101325.0, 293.15
PLASTIC_C, PLASTIC_U95 = 0.97, 0.04
PLASTIC_SLOPE_U95 = 0.004  # for each doubling of the Reynolds number; unknown to the rig
UNJITTERED: Final = {  # 200 Hz, on the slot's first instant
    "block_us": 100_000,
    "period_us": 5000,
    "jitter_us": 0,
    "slow_us": 500_000,
    "header_us": 10_000_000,
}


@dataclass(frozen=True)
class Machine:
    """A machine in good order with its site and meter, and what its owner writes of them.

    `site`, `tree` and `meter` are tables of a scenario, the engine without its throttle; `rig` is
    the rig's file but for its pickups.
    """

    position: str
    site: Tree
    tree: Tree
    meter: Tree
    rig: Tree
    engine_rpm: float  # at full throttle
    rated_rpm: float  # of the blower
    flow: float  # m3/s, about what will come
    density: float
    plastic: bool

    @property
    def port_area(self) -> float:
        return float(np.pi / 4 * self.tree["port_bore_m"] ** 2)

    def scenario(self, name: str, seed: int, throttle: list[list[float]], **tables: Any) -> Tree:
        """A scenario's tables but for the sensors; `tables` come on top."""
        engine = self.tree["engine"] | {"throttle": throttle}
        return {
            "name": name,
            "seed": seed,
            "duration_s": throttle[-1][0],
            "start": START,
            "site": self.site,
            "machine": self.tree | {"engine": engine},
            "meter": self.meter,
        } | tables


def draw_machine(
    dice: Dice, number: int, position: str, *, wide: bool = True, working: bool = False
) -> Machine:
    """A machine that may turn out to have no flow: then the bench refuses the scenario.

    working: with a hose that carries spoil, and the unrest that a cut brings.
    """
    draw = Draws(dice, near_of(number))
    site = draw_site(draw)
    density = site["pressure_pa"] / (287.05 * site["temperature_k"])
    rated_rpm, belt_ratio = draw("blower_rpm"), draw("belt_ratio")
    displacement = draw("displacement_m3")
    lobes = dice.one_of((2, 2, 3))
    flow = 0.85 * displacement * rated_rpm / 60
    plastic = dice.chance(1 / 3 if wide else 0.0)
    meter, rig_meter = _meter(
        *(dice, draw, position, flow, density, 2 * lobes * rated_rpm / 60), plastic=plastic
    )
    port = meter["pipe_bore_m"] * draw("port_over_pipe")
    if working:
        port = float(np.sqrt(4 / np.pi * flow / draw("port_m_s")))
        meter["coefficient_noise"] = draw("working_noise")
    area = np.pi / 4 * port**2
    has_hose = position == "hose_end" or (position == "clean_pipe" and dice.chance(0.6))
    hose, rig_hose = _hose(dice, draw, position, port) if has_hose or working else ({}, [])
    clean_pa, state = draw("filter_pa"), draw("filter_state")
    linear = dice.one_of((0.0, 1.0, dice.between(0, 1))) if wide else 0.0
    factor = "wide_slip_factor" if wide and dice.chance(0.3) else "slip_factor"
    belt_slip, with_load = draw("belt_slip"), draw("belt_with_load")
    relief = draw("relief_pa")
    engine_rpm = rated_rpm / belt_ratio
    tree = {
        "engine": _engine(dice, draw, engine_rpm, working=working)
        | {"full_load_w": draw("full_load") * displacement * rated_rpm / 60},
        "belt_ratio": belt_ratio,
        "belt_slip": belt_slip * (1 - with_load),
        "belt_slip_at_load": belt_slip * with_load,
        "blower": {
            "displacement_m3": displacement * (1 + draw("displacement_error")),
            "slip_speed_rpm": rated_rpm * draw("slip_share"),
            "slip_factor": draw(factor),
            "laminar_share": draw("laminar") if wide and dice.chance(1 / 3) else 0.0,
            "lobes": lobes,
            "heat_loss": draw("heat_loss"),
            "outlet_pa_s2_kg2": draw("outlet_pa") / (flow * density) ** 2,
        },
        "filter": {
            "linear_pa_s_m3": max(state * clean_pa / flow * linear, 1e-3),
            "square_pa_s2_m6": state * clean_pa / flow**2 * (1 - linear),
        },
        "tank_volume_m3": draw("tank_s") * flow,
        "port_bore_m": port,
        "port_loss": draw("port_loss"),
        "clean_pipe_loss": draw("clean_pipe_loss"),
        "leaks": {f"{place}_m2": area * draw("leak") for place in "abc"},
        # It weeps a little from a tenth below its setting.
        "relief": {"vacuum_pa": 0.9 * relief, "slope_kg_s_pa": 2e-6},
    } | ({"hose": hose} if hose else {})
    rig_blower: Tree = {"displacement": f"{1e3 * displacement:.3f} L"}
    if dice.chance(0.85):
        rig_blower["rating"] = _sheet(dice, tree["blower"], displacement, rated_rpm, wide=wide)
    rig_machine: Tree = {
        "belt_ratio": round(belt_ratio * (1 + dice.within(0.003)), 4),
        "rated_speed": f"{rated_rpm:.0f} rpm",
        "port_bore": f"{1e3 * port:.1f} mm",
        "relief_vacuum": f"{relief / 1e3:.1f} kPa",
        "lobes": lobes,
        "blower": rig_blower,
    } | ({"hose": rig_hose} if hose else {})
    if dice.chance(0.85):
        stated = clean_pa * (1 + dice.normal(0.03)) / 1e3
        rig_machine["filter"] = {"clean_loss": f"{stated:.2f} kPa", "at_flow": _cfm(flow)}
    rig = {
        "name": "an invented machine of a study",
        "meter": rig_meter,
        "site": {"altitude": f"{site['altitude_m'] + dice.between(-20, 20):.0f} m"},
        "machine": rig_machine,
    }
    return Machine(
        position, site, tree, meter, rig, engine_rpm, rated_rpm, flow, density, plastic
    )  # fmt: skip


def draw_site(draw: Draws) -> Tree:
    altitude = draw("altitude_m")
    return {
        "altitude_m": altitude,
        # ISO 2533:1975 and the weather
        "pressure_pa": 101325 * (1 - altitude / 44330.77) ** 5.255880 + draw("weather_pa"),
        "temperature_k": draw("temperature_k"),
        "humidity": draw("humidity"),
        "pressure_drift_pa_per_s": draw("pressure_drift"),
        "temperature_drift_k_per_s": draw("temperature_drift"),
    }


def _engine(dice: Dice, draw: Draws, rpm: float, *, working: bool) -> Tree:
    kind = "working_" if working else ""
    return {
        "idle_rpm": IDLE * rpm,
        "governed_rpm": 1.03 * rpm,
        "droop": draw("droop"),
        "lag_s": draw("lag_s"),
        "wander_rpm": draw(f"{kind}wander") * rpm,
        "wander_time_s": draw("wander_s"),
        "slow_wander_rpm": draw(f"{kind}slow_wander") * rpm,
        "slow_wander_time_s": draw("slow_wander_s"),
        "hunting_rpm": draw("hunting") * rpm if dice.chance(0.3) else 0.0,
        "hunting_period_s": draw("hunting_s"),
    }


def _hose(dice: Dice, draw: Draws, position: str, port: float) -> tuple[Tree, list[Tree]]:
    """The hose as it is, and as the rig's file says it is."""
    wall = dice.one_of(("smooth", "corrugated", "unknown"))
    median, factor = FRICTION[wall]
    couplings = dice.whole(0, 3)
    mouth = 0.0 if position == "hose_end" else draw("mouth_loss")
    length = draw("hose_m") / (2 if wall == "corrugated" else 1)
    bore = port * draw("hose_over_port")
    hose = {
        "length_m": length,
        "bore_m": bore,
        "friction_factor": median * dice.ratio(1 / factor, factor),
        "friction_power": dice.between(0, 0.2) if wall == "smooth" else dice.between(0, 0.08),
        "loss": JET_LOSS + mouth + couplings * dice.between(*COUPLING_LOSS),
    }
    stated = {"length": f"{length:.1f} m", "bore": f"{1e3 * bore:.0f} mm", "wall": wall}
    return hose, [stated | {"couplings": couplings}]


def _meter(
    dice: Dice,
    draw: Draws,
    position: str,
    flow: float,
    density: float,
    lobe_hz: float,
    *,
    plastic: bool,
) -> tuple[Tree, Tree]:
    """The tube as it is, and as the rig's file says it is."""
    beta = draw("beta")
    throat_area = flow / 0.97 * np.sqrt(density * (1 - beta**4) / (2 * draw("dp_pa")))
    throat = float(np.sqrt(4 / np.pi * throat_area))
    pipe = throat / beta
    stated = PLASTIC_C if plastic else dice.one_of((0.984, 0.995, 0.985))
    u95 = PLASTIC_U95 if plastic else dice.one_of((0.01, 0.015))
    bore_u95 = dice.one_of((0.05e-3, 0.1e-3, 0.1e-3, 0.2e-3))
    inlet, inlet_u95 = dice.one_of(((0.5, 0.5), (0.5, 0.5), (0.05, 0.1)))
    in_pipe = position == "clean_pipe"
    upstream_s = draw("line_s")
    line = RANGES["line_s"]
    meter = {
        "position": position,
        "pipe_bore_m": pipe,
        "throat_bore_m": throat,
        "discharge_coefficient": stated * (1 + dice.normal(u95 / 2)),
        "coefficient_fall": 0.0 if plastic else draw("coefficient_fall"),
        "coefficient_slope": dice.normal(PLASTIC_SLOPE_U95 / 2) if plastic else 0.0,
        "inlet_loss": 0.3 if in_pipe else max(inlet + dice.normal(inlet_u95 / 2), 0.02),
        "recovery_loss": draw("recovery") * (beta**-4 - 1),
        "line_time_constant_s": upstream_s,
        "throat_line_time_constant_s": float(
            np.clip(upstream_s * draw("line_ratio"), line.low, line.high)
        ),
        "sensor_time_constant_s": draw("sensor_s"),
        **_pulsation(dice, draw, lobe_hz),
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


def _pulsation(dice: Dice, draw: Draws, lobe_hz: float) -> Tree:
    """The first harmonic's amplitude is that at the speed at which the pipe answers most."""
    first, shares = draw("pulsation"), (1.0, draw("second"), draw("third"))
    resonance: Tree = {}
    greatest = [1.0, 1.0, 1.0]
    if dice.chance(0.5):
        hz, quality = draw("resonance") * lobe_hz, draw("quality")
        resonance = {"resonance": {"frequency_hz": hz, "quality": quality}}
        ratio = np.outer([1, 2, 3], np.linspace(0.4, 1, 50)) * lobe_hz / hz
        greatest = np.abs(1 / (1 - ratio**2 + 1j * ratio / quality)).max(axis=1).tolist()
    common = draw("common_pulsation") if dice.chance(0.5) else 0.0
    return resonance | {
        "pulsation": [
            {"amplitude": first * share / max(great, 1.0), "phase_rad": dice.between(0, 6.28)}
            for share, great in zip(shares, greatest, strict=True)
        ],
        "common_pulsation": [{"amplitude": common}],
    }


def _sheet(dice: Dice, blower: Tree, displacement: float, rated_rpm: float, *, wide: bool) -> Tree:
    """Flow over speed and vacuum by the blower's own law, rounded as sheets are."""
    back, stated = 0.0, True
    step = dice.one_of((1, 2, 5))
    if wide:
        back = dice.one_of((0.0, dice.between(0, 4000)))
        stated = dice.chance(0.5)
        step = dice.one_of((1, 5, 10, 20))
    square = slip_ratio_per_square(np.array(SHEET_TEMPERATURE), np.array(1.0))
    laminar = blower["laminar_share"]
    rows = []
    for share in (0.5, 0.75, 1.0):
        speed = round(share * rated_rpm)
        for vacuum in (0, 2, 4, 8, 12):
            p1 = SHEET_PRESSURE - vacuum * INHG
            ratio = (SHEET_PRESSURE + back) / p1
            root = np.sqrt((ratio - 1) / square)
            narrow = narrow_gap_slip(np.array(p1), np.array(ratio))
            slip = blower["slip_speed_rpm"] * ((1 - laminar) * root + laminar * narrow)
            flow = displacement * (speed - float(slip)) / 60 / CFM
            if flow > 0.5 * displacement * speed / 60 / CFM:
                rows.append([speed, vacuum, step * round(flow / step)])
    sheet: Tree = {"basis": "inlet", "flow_unit": "cfm", "vacuum_unit": "inHg", "rows": rows}
    return sheet | ({"back_pressure": f"{back / 1e3:.1f} kPa"} if stated else {})


def _cfm(flow: float) -> str:
    return f"{flow / CFM:.0f} cfm"


def toml(tree: Tree, table: str = "") -> str:
    """The text of a rig's file."""
    lines, tables = [], []
    for key, value in tree.items():
        name = f"{table}.{key}" if table else key
        if isinstance(value, dict):
            tables.append(f"[{name}]\n{toml(value, name)}")
        elif isinstance(value, list) and isinstance(value[0], dict):
            tables += [f"[[{name}]]\n{toml(each, name)}" for each in value]
        else:
            lines.append(f"{key} = {json.dumps(value)}\n")
    return "".join([*lines, *tables])

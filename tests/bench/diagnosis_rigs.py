"""What a person writes into the rig of a machine of the diagnosis study."""

from typing import Any

import numpy as np

from population_dice import Dice
from pullcurve.bench.elements import narrow_gap_slip, slip_ratio_per_square

CFM, INHG = 4.719474e-4, 3386.389
SHEET_PRESSURE, SHEET_TEMPERATURE = 101325.0, 293.15


def rig_text(
    dice: Dice,
    subject: Any,
    displacement: float,
    rated_rpm: float,
    clean_pa: float,
    flow: float,
) -> str:
    """The rig: meter, pickups, and of the machine what its owner knows."""
    meter, machine = subject.rig_meter, subject.machine
    lines = ['name = "an invented machine of the diagnosis study"', "[meter]"]
    for key, value in meter.items():
        lines.append(f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}")
    lines += ["[site]", f'altitude = "{subject.site["altitude_m"]:.0f} m"']
    if subject.tach != "engine":
        lines += ["[pickups.blower_shaft]", "marks_per_turn = 2"]
    if subject.tach in ("engine", "both"):
        lines += ["[pickups.engine_shaft]", "marks_per_turn = 1"]
    ratio = machine["belt_ratio"] * (1 + dice.within(0.003))
    lines += [
        "[machine]",
        f"belt_ratio = {ratio:.4f}",
        f'rated_speed = "{rated_rpm:.0f} rpm"',
        f'port_bore = "{1e3 * machine["port_bore_m"]:.1f} mm"',
        f'relief_vacuum = "{machine["said"]["relief"] / 1e3:.1f} kPa"',
        f"lobes = {machine['blower']['lobes']}",
        "[machine.blower]",
        f'displacement = "{1e3 * displacement:.3f} L"',
    ]
    if dice.chance(0.85):
        lines += _sheet(dice, subject, displacement, rated_rpm)
    hose = machine["said"]["hose"]
    if hose:
        lines += [
            "[[machine.hose]]",
            f'length = "{hose["length_m"]:.1f} m"',
            f'bore = "{1e3 * hose["bore_m"]:.0f} mm"',
            f'wall = "{hose["wall"]}"',
            f"couplings = {hose['couplings']}",
        ]
    if dice.chance(0.85):
        stated = clean_pa * (1 + dice.normal(0.03))
        lines += [
            "[machine.filter]",
            f'clean_loss = "{stated / 1e3:.2f} kPa"',
            f'at_flow = "{flow / CFM:.0f} cfm"',
        ]
    return "\n".join(lines) + "\n"


def _sheet(dice: Dice, subject: Any, displacement: float, rated_rpm: float) -> list[str]:
    """Flow over speed and vacuum by the blower's own law, rounded as sheets are."""
    blower = subject.machine["blower"]
    back, stated = 0.0, True
    step = dice.one_of((1, 2, 5))
    if subject.wide:
        back = dice.one_of((0.0, dice.between(0, 4000)))
        stated = dice.chance(0.5)
        step = dice.one_of((1, 5, 10, 20))
    rows = []
    for share in (0.5, 0.75, 1.0):
        speed = round(share * rated_rpm)
        for vacuum in (0, 2, 4, 8, 12):
            p1 = SHEET_PRESSURE - vacuum * INHG
            ratio = (SHEET_PRESSURE + back) / p1
            square = slip_ratio_per_square(np.array(SHEET_TEMPERATURE), np.array(1.0))
            root = np.sqrt((ratio - 1) / square)
            narrow = narrow_gap_slip(np.array(p1), np.array(ratio))
            slip = blower["slip_speed_rpm"] * (
                (1 - blower["laminar_share"]) * root + blower["laminar_share"] * narrow
            )
            flow = displacement * (speed - float(slip)) / 60 / CFM
            if flow > 0.5 * displacement * speed / 60 / CFM:
                rows.append([speed, vacuum, step * round(flow / step)])
    return [
        "[machine.blower.rating]",
        'basis = "inlet"',
        'flow_unit = "cfm"',
        'vacuum_unit = "inHg"',
        *([f'back_pressure = "{back / 1e3:.1f} kPa"'] if stated else []),
        f"rows = {rows}",
    ]

"""Kinds of spoil: what each needs to be carried, from where that is known, and how it fails.

The answer to "does this flow still carry it" at one place of the hose. Handbook velocities are
for thin dust in ducts, the others judgement; correlations of `conveying` widen the band.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import conveying
from pullcurve.physics.air import Array, Values
from pullcurve.physics.conveying import Band

_FT_MIN: Final = 0.00508  # m/s


class Spoil(NamedTuple):
    """Grains of one kind: density in kg/m³, usual and largest size in m, velocity in m/s."""

    density: float
    size: float
    largest: float
    velocity: tuple[float, float]  # recommended, least and greatest
    source: str
    caution: str = ""


_HANDBOOK: Final = "ACGIH, Industrial Ventilation, 1998, duct design velocities, as reprinted"
_LEAST: Final = "common practice, no source: least velocities, and 20 % above them"
_JUDGEMENT: Final = "judgement"
_THIN: Final = "for thin dust in ducts, not for heavy loads"
_FAST: Final = "wears hose and bends; a stone that catches holds the next"


def _above(least: float, greatest: float) -> tuple[float, float]:
    """Velocities in m/s, 20 % above least ones in ft/min."""
    margin = conveying.SALTATION_MARGIN
    return round(margin * least * _FT_MIN, 1), round(margin * greatest * _FT_MIN, 1)


SPOILS: Final[Mapping[str, Spoil]] = MappingProxyType(
    {
        "dust": Spoil(2650, 50e-6, 0.2e-3, (18, 20), _HANDBOOK, _THIN),
        "blasting dust": Spoil(2650, 0.1e-3, 0.3e-3, (20, 23), _HANDBOOK, _THIN),
        "moist dust": Spoil(2650, 0.1e-3, 0.3e-3, (23, 30), _HANDBOOK, "sticks and builds up"),
        "cement": Spoil(3100, 20e-6, 0.1e-3, _above(2000, 2200), _LEAST),
        "fly ash": Spoil(2200, 30e-6, 0.2e-3, _above(2200, 2400), _LEAST),
        "fine granular": Spoil(1500, 0.5e-3, 2e-3, _above(2600, 3000), _LEAST),
        "dry sand": Spoil(2650, 0.5e-3, 2e-3, (25, 30), _JUDGEMENT),
        "dry grit": Spoil(2700, 1e-3, 2.5e-3, (25, 30), _JUDGEMENT),
        "garnet": Spoil(4000, 0.4e-3, 1e-3, (25, 30), _JUDGEMENT),
        "steel grit": Spoil(7500, 0.7e-3, 1.7e-3, (28, 35), _JUDGEMENT),
        "moist fines": Spoil(2200, 1e-3, 5e-3, (30, 35), _JUDGEMENT, "sticks and builds up"),
        "gravel": Spoil(2650, 20e-3, 40e-3, (45, 50), _JUDGEMENT, _FAST),
        "clay lumps": Spoil(
            2000, 20e-3, 40e-3, (45, 50), _JUDGEMENT, "wet clay fails by sticking, not by velocity"
        ),
    }
)


@dataclass(frozen=True, eq=False)
class Carrying:
    """One place of the hose against what a kind of spoil needs; arrays, SI.

    Between `needed.low` and `needed.high` it is doubtful. The largest stone is that which the
    air lifts upright: a sphere with a margin of 1.3 (low), broken stone that just hangs (high),
    half the bore at most.
    """

    velocity: Array
    needed: Band
    needed_flow: Band  # m³/s at the air's state there
    pickup: Band  # to move a layer that has come to rest; NaN where no formula holds
    largest_stone: Band  # m
    carries: NDArray[np.bool_]  # more than the band
    falls_short: NDArray[np.bool_]  # less than the band


def carrying(
    flow: Values,
    bore: Values,
    spoil: Spoil,
    *,
    density: Values,
    viscosity: Values,
    solids_flow: Values = 1.0,
    lifts: bool = True,
) -> Carrying:
    """Whether a flow in m³/s at one place, of air in the state there, carries the spoil.

    Needed is the greatest of: the recommended velocity; 1.2 times saltation of its usual size,
    where correlations hold; and, if the hose lifts, v_t of its largest size, from broken stone
    (0.8) to a sphere with margin (1.5). solids_flow: kg/s; its fourth root at most moves the
    answer.
    """
    area = np.pi / 4 * np.asarray(bore, dtype=np.float64) ** 2
    velocity = np.asarray(flow, dtype=np.float64) / area
    air = (density, viscosity)
    grains = (spoil.size, spoil.density, *air, bore)
    salts = conveying.saltation_band(solids_flow, *grains)
    terminal = conveying.terminal_velocity(spoil.largest, spoil.density, *air) * float(lifts)
    margin, (least, most) = conveying.SALTATION_MARGIN, conveying.LIFT_MARGIN
    broken = conveying.ANGULAR[1]
    needed = Band(
        np.fmax(np.fmax(margin * salts.low, spoil.velocity[0]), broken * terminal),
        np.fmax(np.fmax(margin * salts.high, spoil.velocity[1]), most * terminal),
    )
    sphere, stone = (
        np.minimum(
            conveying.largest_lifted(velocity, spoil.density, *air, share), np.asarray(bore) / 2
        )
        for share in (least, broken)
    )
    return Carrying(
        velocity=velocity,
        needed=needed,
        needed_flow=Band(needed.low * area, needed.high * area),
        pickup=conveying.pickup_band(*grains),
        largest_stone=Band(sphere, stone),
        carries=velocity >= needed.high,
        falls_short=velocity < needed.low,
    )

"""The result of a comparison: what its JSON file holds and its page is made from.

Values are SI; the unit ends each name. `u95` is the half-width of the 95 % interval, `u95_apart`
what it would be if nothing cancelled. Relative changes are over the first run's value. Names as
in DEVELOPERS.md.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, ClassVar, Final, Literal

import pandas as pd
from pydantic import ConfigDict, Field

from pullcurve.results import STRICT, Interval, NotNegative, Number, doc
from pullcurve.rig.meter import Position

# `open_air` is the flow in the state of the open air: a blower takes in volume, so thin air
# takes nothing from it, and what is left of a difference is the machine's.
COVERAGE: Final = 2.0  # half-widths over standard uncertainties

Missing = Literal["vacuum_port_run", "vacuum_hose_run", "blower"]
HeldBy = Literal["both", "first", "later"]
Quantity = Literal["mass_flow", "standard_flow", "flow_inlet", "flow_open_air"]
QUANTITIES: Final[dict[Quantity, str]] = {
    "mass_flow": "kg_s",
    "standard_flow": "m3_s",
    "flow_inlet": "m3_s",
    "flow_open_air": "m3_s",
}


def columns_of(quantity: Quantity) -> dict[str, str]:
    """Name each part of `Compared`, and its column in a table."""
    unit = QUANTITIES[quantity]
    return {
        "first": f"{quantity}_first_{unit}",
        "later": f"{quantity}_later_{unit}",
        "difference": f"{quantity}_difference_{unit}",
        "u95": f"{quantity}_difference_u95_{unit}",
        "u95_apart": f"{quantity}_difference_u95_apart_{unit}",
        "relative": f"{quantity}_relative",
        "relative_u95": f"{quantity}_relative_u95",
        "relative_u95_apart": f"{quantity}_relative_u95_apart",
    }


@dataclass(frozen=True)
class ComparedPoint:
    """A settled point that states a flow."""

    point: Number
    speed_rpm: float
    standard_flow_m3_s: float
    standard_flow_u95_m3_s: NotNegative
    compared: Annotated[bool, doc("false where another hose or plate was on")]


@dataclass(frozen=True)
class ComparedRun:
    """One of the runs."""

    log_name: str
    log_sha256: str
    rig_name: str
    started: datetime | None
    board_id: str
    position: Position
    hose: Annotated[bool, doc("whether the compared points had the hose on")]
    plate: Annotated[str, doc("bore of the plate that was on, ? where none was said")]
    one_state: Annotated[
        bool, doc("false where no one state of a machine explains the run, as in a cut")
    ]
    ambient_pressure_pa: float
    ambient_temperature_k: float
    ambient_humidity: float
    verdict: Annotated[str, doc("label of its diagnosis, empty without one")]
    why_no_verdict: str
    troubles: Annotated[tuple[str, ...], doc("kinds of troubles of the measurement")]
    points: Annotated[tuple[ComparedPoint, ...], doc("by rising speed")]


@dataclass(frozen=True)
class Change:
    """The mean over the common speeds of the difference over the first run's value."""

    relative: float
    u95: NotNegative
    u95_apart: NotNegative
    certain: Annotated[bool, doc("whether it is more than its u95")]

    @classmethod
    def of(cls, relative: float, u95: float, u95_apart: float) -> "Change":
        return cls(relative, u95, u95_apart, certain=abs(relative) > u95)


@dataclass(frozen=True)
class Compared:
    """One quantity in both runs at one speed."""

    first: float
    later: float
    difference: float
    u95: NotNegative
    u95_apart: NotNegative
    relative: float
    relative_u95: NotNegative
    relative_u95_apart: NotNegative


@dataclass(frozen=True)
class CommonSpeed:
    """Both runs at one speed of the blower."""

    speed_rpm: float
    held_by: Annotated[
        HeldBy, doc("which run has a settled point there; the other one lies between points")
    ]
    mass_flow_kg_s: Compared
    standard_flow_m3_s: Compared
    flow_inlet_m3_s: Compared
    flow_open_air_m3_s: Compared

    def quantity(self, quantity: Quantity) -> Compared:
        compared: Compared = getattr(self, f"{quantity}_{QUANTITIES[quantity]}")
        return compared


@dataclass(frozen=True)
class CauseChange:
    """The size of a cause in both runs; sizes as in a run's diagnosis."""

    name: str
    first: Interval
    later: Interval
    difference: Interval
    certain: Annotated[bool, doc("whether the difference's interval leaves zero out")]


@dataclass(frozen=True)
class HoseCost:
    """What the hose costs at the highest common speed, port run against hose-end run."""

    hose_run: Literal["first", "later"]
    speed_rpm: float
    open_port_kg_s: float
    with_hose_kg_s: float
    cost_kg_s: Interval
    vacuum_blower_open_port_pa: float | None
    vacuum_blower_with_hose_pa: float | None
    vacuum_tank_open_port_pa: float | None
    vacuum_tank_with_hose_pa: float | None
    taken_kg_s: Annotated[Interval | None, doc("what the blower takes in less")]
    leak_kg_s: Annotated[
        Interval | None,
        doc("what comes into the hose past the meter, and a part of what the tank leaks"),
    ]
    leak_share: Annotated[Interval | None, doc("the leak over the blower's intake")]
    missing: Annotated[Missing | None, doc("what lacks to tell leak from loss")]


@dataclass(frozen=True)
class Pair:
    """A later run against the first one."""

    later: Annotated[int, Field(ge=2, description="number of the later run")]
    same_meter: bool
    same_meter_because: str
    moved: Annotated[bool, doc("the meter stood at another place")]
    speeds: tuple[CommonSpeed, ...]
    mass_flow: Change
    standard_flow: Change
    flow_inlet: Change
    flow_open_air: Change
    air: Annotated[float, doc("relative change of the open air's density between the runs")]
    left_out: Annotated[tuple[str, ...], doc("points that are not compared, in words")]
    cause_changes: tuple[CauseChange, ...]
    why_no_causes: str
    baseline: Annotated[bool, doc("the first run served the later one as healthy baseline")]
    hose: HoseCost | None

    @property
    def change(self) -> dict[Quantity, Change]:
        """The mean change of each quantity."""
        return {quantity: getattr(self, quantity) for quantity in QUANTITIES}

    @property
    def table(self) -> pd.DataFrame:
        """`speeds` as a table, the columns of `columns_of` for each quantity."""
        return pd.DataFrame(
            [
                {"speed_rpm": at.speed_rpm, "held_by": at.held_by}
                | {
                    column: getattr(at.quantity(quantity), part)
                    for quantity in QUANTITIES
                    for part, column in columns_of(quantity).items()
                }
                for at in self.speeds
            ]
        )


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Everything that is said of two or more runs."""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    schema_version: Literal[2] = 2
    reference_conditions: str
    runs: tuple[ComparedRun, ...]
    pairs: tuple[Pair, ...]
    pullcurve: str

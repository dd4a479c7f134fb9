"""The result of a comparison: what its JSON file holds and its page is made from.

Values are SI; the unit ends each name. `u95` is the half-width of the 95 % interval, `u95_apart`
what it would be if nothing cancelled. Relative changes are over the first run's value. Names as
in DEVELOPERS.md.
"""

from datetime import datetime
from typing import Literal

from pydantic import Field

from pullcurve.report.diagnosis_result import Interval
from pullcurve.report.fields import Frozen, NotNegative

Position = Literal["port", "hose_end", "clean_pipe"]


class ComparedPoint(Frozen):
    """A settled point that states a flow."""

    point: int = Field(ge=1)
    speed_rpm: float
    standard_flow_m3_s: float
    standard_flow_u95_m3_s: NotNegative
    compared: bool = Field(description="false where another hose or plate was on")


class ComparedRun(Frozen):
    """One of the runs."""

    log_name: str
    log_sha256: str
    rig_name: str
    started: datetime | None
    board_id: str
    position: Position
    hose: bool = Field(description="whether the compared points had the hose on")
    plate: str = Field(description="bore of the plate that was on, ? where none was said")
    one_state: bool = Field(
        description="false where no one state of a machine explains the run, as in a cut"
    )
    ambient_pressure_pa: float
    ambient_temperature_c: float
    ambient_humidity: float
    verdict: str = Field(description="label of its diagnosis, empty without one")
    why_no_verdict: str
    troubles: tuple[str, ...] = Field(description="kinds of troubles of the measurement")
    points: tuple[ComparedPoint, ...] = Field(description="by rising speed")


class Change(Frozen):
    """The mean over the common speeds of the difference over the first run's value."""

    relative: float
    u95: NotNegative
    u95_apart: NotNegative
    certain: bool = Field(description="whether it is more than its u95")


class Compared(Frozen):
    """One quantity in both runs at one speed."""

    first: float
    later: float
    difference: float
    u95: NotNegative
    u95_apart: NotNegative
    relative: float
    relative_u95: NotNegative
    relative_u95_apart: NotNegative


class CommonSpeed(Frozen):
    """Both runs at one speed of the blower."""

    speed_rpm: float
    held_by: Literal["both", "first", "later"] = Field(
        description="which run has a settled point there; the other one lies between points"
    )
    mass_flow_kg_s: Compared
    standard_flow_m3_s: Compared
    flow_inlet_m3_s: Compared
    flow_open_air_m3_s: Compared


class CauseChange(Frozen):
    """The size of a cause in both runs; sizes as in a run's diagnosis."""

    name: str
    first: Interval
    later: Interval
    difference: Interval
    certain: bool = Field(description="whether the difference's interval leaves zero out")


class HoseCost(Frozen):
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
    taken_kg_s: Interval | None = Field(description="what the blower takes in less")
    leak_kg_s: Interval | None = Field(
        description="what comes into the hose past the meter, and a part of what the tank leaks"
    )
    leak_share: Interval | None = Field(description="the leak over the blower's intake")
    missing: Literal["vacuum_port_run", "vacuum_hose_run", "blower"] | None = Field(
        description="what lacks to tell leak from loss"
    )


class Pair(Frozen):
    """A later run against the first one."""

    later: int = Field(ge=2, description="number of the later run")
    same_meter: bool
    same_meter_because: str
    moved: bool = Field(description="the meter stood at another place")
    speeds: tuple[CommonSpeed, ...]
    mass_flow: Change
    standard_flow: Change
    flow_inlet: Change
    flow_open_air: Change
    air: float = Field(description="relative change of the open air's density between the runs")
    left_out: tuple[str, ...] = Field(description="points that are not compared, in words")
    cause_changes: tuple[CauseChange, ...]
    why_no_causes: str
    baseline: bool = Field(description="the first run served the later one as healthy baseline")
    hose: HoseCost | None


class Comparison(Frozen):
    """Everything that is said of two or more runs."""

    schema_version: Literal[1] = 1
    reference_conditions: str
    runs: tuple[ComparedRun, ...]
    pairs: tuple[Pair, ...]
    pullcurve: str

"""What a watch says: alarms, each with its time, size and certainty."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["clog", "hose_off", "filter_loading", "leak", "speed_sag", "slow_nozzle"]
Place = Literal["A", "B", "C"]


@dataclass(frozen=True)
class Forecast:
    """When a filter reaches its limit, board seconds; None: not within any time that counts."""

    limit: str  # typed, doubled or flow: what the limit is
    at_s: float | None
    earliest_s: float | None
    latest_s: float | None


@dataclass(frozen=True)
class Event:
    """One alarm. Times are board seconds since the first block.

    `start_s` is when it began as far as was known when it was spoken at `spoken_s`; `end_s` is
    None while it lasts. `size` is what it took of the flow at this speed (a clog, once it goes
    on, at its worst; negative: what it added), of the speed for a sag, of the wanted velocity
    for a slow nozzle; for a loading filter the growth of its loss, or of the whole path's where
    no sensor is in the tank.
    `sure` is the probability that the scatter does not show as much, for a clog or hose off in 12 h
    of work; None for a sag, since a speed is measured and not inferred. `places`: where a leak
    may be, as far as the sensors tell. `seen_afterwards`: found when the whole log was gone
    through, not live. `stays`: it ended as it was, and is taken as the new level.
    """

    number: int
    kind: Kind
    start_s: float
    spoken_s: float
    end_s: float | None
    size: float
    size_u95: float
    sure: float | None
    places: tuple[Place, ...] = ()
    forecast: Forecast | None = None
    measured_by: str = ""
    stays: bool = False
    seen_afterwards: bool = False

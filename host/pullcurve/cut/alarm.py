"""What a watch says: alarms, each with its time, size and certainty."""

from dataclasses import dataclass
from typing import Annotated, Literal

from pullcurve.results import doc

Kind = Literal["clog", "hose_off", "filter_loading", "leak", "speed_sag", "slow_nozzle"]
Place = Literal["A", "B", "C"]
Limit = Literal["typed", "doubled", "flow"]


@dataclass(frozen=True)
class Forecast:
    """When a filter reaches its limit, board seconds; null: not within two days. The interval is
    of 95 %."""

    limit: Limit
    at_s: float | None
    earliest_s: float | None
    latest_s: float | None


@dataclass(frozen=True)
class CutAlarm:
    """One alarm. Times are board seconds since the first block."""

    number: int
    kind: Kind
    start_s: Annotated[float, doc("when it began, as far as was known when it was spoken")]
    spoken_s: Annotated[float, doc("when a live watcher would have spoken")]
    end_s: Annotated[float | None, doc("null while it lasts")]
    size: Annotated[
        float,
        doc(
            "share of the flow at this speed that it took, a clog that is over at its worst, "
            "negative what it added; of the speed for a sag, of the wanted velocity for a "
            "slow nozzle; for a filter growth of its loss, or of the whole path's where no "
            "sensor is in the tank"
        ),
    ]
    size_u95: float
    sure: Annotated[
        float | None,
        doc(
            "probability that scatter does not show as much, for a clog or hose off in 12 h "
            "of work; null where nothing is inferred"
        ),
    ]
    places: Annotated[
        tuple[Place, ...], doc("where a leak may be, as far as the sensors tell")
    ] = ()
    forecast: Forecast | None = None
    measured_by: str = ""
    stays: Annotated[bool, doc("it ended as it was: taken as the new level")] = False
    seen_afterwards: Annotated[bool, doc("found only when the whole log was gone through")] = False

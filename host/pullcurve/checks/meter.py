"""What the differential-pressure sensor, its zero and the meter show.

Thresholds are judgements unless a source is named.
"""

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from pullcurve.checks.catalogue import Consequence, Finding, Kind, Limit, found
from pullcurve.measure.air_state import AMBIGUOUS_PA
from pullcurve.measure.clipping import CLIPPED_SHARE
from pullcurve.measure.measurement import Measurement
from pullcurve.measure.meter import STATED_REYNOLDS, VENTURI_TUBES, element_kind, straight_lengths
from pullcurve.physics import air, venturi
from pullcurve.physics.air import Values
from pullcurve.physics.flow_equation import MeterState
from pullcurve.physics.primary_elements import SHORT_PIPE_UNCERTAINTY, limits
from pullcurve.physics.primary_elements import Limit as StandardLimit
from pullcurve.rig.meter import Meter

MOVED_SPANS: Final = 0.004  # of the span, by which a zero may move in a run without being named
SUDDEN_SPANS: Final = 0.003  # and Pa, by which drift and warmth move no zero in a run
SUDDEN_PA: Final = 15.0
# A plain tube is held against the widest limits of the three kinds.
_TUBE_LIMITS: Final = (
    StandardLimit("pipe bore", 0.050, 1.200, "ISO 5167-4:2003, 1"),
    StandardLimit("diameter ratio", 0.30, 0.75, "ISO 5167-4:2003, 5.5"),
    StandardLimit("Reynolds number", STATED_REYNOLDS, 2e6, "ISO 5167-4:2003, 5.5"),
    StandardLimit("pressure ratio", venturi.LEAST_PRESSURE_RATIO, 1.0, "ISO 5167-4:2003, 5.6"),
)


def typed_pressure(run: Measurement) -> Iterator[Finding]:
    """A station pressure that was typed and that no weather gives."""
    typed = run.rig.site.station_pressure
    if run.around is None or run.around.pressure.source != "assumed" or typed is None:
        return
    sea_level = abs(typed - air.STANDARD_PRESSURE) < AMBIGUOUS_PA
    yield found(
        Kind.SEA_LEVEL_PRESSURE if sea_level else Kind.IMPOSSIBLE_PRESSURE,
        typed=typed,
        altitude=run.rig.site.altitude,
        standard=float(air.standard_pressure(run.rig.site.altitude)),
    )


def sensor(run: Measurement) -> Iterator[Finding]:
    """Tubes the wrong way round, or else clipping and water in a line."""
    reversed_tubes = list(_tubes_reversed(run))
    yield from reversed_tubes
    if not reversed_tubes:
        yield from _clipping(run)
        yield from _water(run)


def _tubes_reversed(run: Measurement) -> Iterator[Finding]:
    """Negative while the blower turns; a one-sided sensor stands at its lower end instead."""
    table = run.channels.table
    speed = table["speed_rpm"]
    limit = 3 * run.zeros.half_width_pa() + 0.005 * run.channels.span_pa
    at_top = table["zeroed_dp_pa"][(speed > 0) & (speed >= 0.8 * speed.max())]
    if len(at_top) and at_top.median() < -limit:
        yield found(Kind.TUBES_REVERSED, fall=float(abs(at_top.median())))


def _clipping(run: Measurement) -> Iterator[Finding]:
    table = run.channels.table
    clipped = table["clipped_block"].to_numpy(bool)
    if not clipped.any():
        return
    share = run.points["clipped_share"] if len(run.points) else pd.Series(dtype=float)
    withheld = int((share > CLIPPED_SHARE).sum())
    yield found(
        Kind.SENSOR_CLIPPED,
        case="run",
        spoils="withheld" if withheld else "none",
        clipped=int(clipped.sum()),
        blocks=len(table),
        holds=withheld,
        end=float(table.loc[clipped, "greatest_pa"].median()),
    )


def _water(run: Measurement) -> Iterator[Finding]:
    """An offset that the engine-off zeros do not take off, or where no sweep could tell one, a
    zero that moved by more than a sensor's own does."""
    for offset in run.offsets:
        if not offset.named:
            continue
        if offset.turning_only:
            case = "turning"
        elif offset.from_s is None:
            case = "goes"
        else:
            case = "comes_and_goes" if offset.to_s else "stays"
        yield found(
            Kind.WATER_IN_LINE,
            case=case,
            start_s=offset.from_s,
            end_s=offset.to_s,
            offset=offset.greatest_pa,
            comes=offset.from_s or 0.0,
            goes=offset.to_s or 0.0,
        )
    moved = _zero_moved(run)
    if not run.offsets and abs(moved) > max(SUDDEN_SPANS * run.channels.span_pa, SUDDEN_PA):
        yield found(Kind.WATER_IN_LINE, case="zero", moved=moved)


def zero(run: Measurement) -> Iterator[Finding]:
    """A zero that was not taken, or that moved."""
    if run.zeros.table.empty:
        yield found(Kind.NO_ZERO)
    moved = _zero_moved(run)
    if abs(moved) > MOVED_SPANS * run.channels.span_pa:
        yield found(Kind.ZERO_MOVED, moved=moved)


def _zero_moved(run: Measurement) -> float:
    zeros = run.zeros.table["zero_pa"]
    return float(zeros.iloc[-1] - zeros.iloc[0]) if len(zeros) > 1 else 0.0


def flow_and_limits(run: Measurement) -> Iterator[Finding]:
    """Points without a flow, and limits of use that are crossed."""
    if run.flows is None:
        return
    if not run.flows.state.converged.all():
        yield found(Kind.NO_SOLUTION)
    yield from limits_crossed(run.rig.meter, run.flows.state)


def limits_crossed(meter: Meter, state: MeterState) -> list[Finding]:
    """Every limit of use that is crossed, by the meter or by a point; each once.

    For a C that the rig states they are for information: it was found for this very meter.
    """
    values: dict[str, Values] = {
        "pipe bore": meter.pipe_bore,
        "throat bore": meter.throat_bore,
        "diameter ratio": meter.beta,
        "Reynolds number": state.reynolds,
        "pressure ratio": state.pressure_ratio,
        "differential pressure": state.pressure * (1 - state.pressure_ratio),
    }
    if meter.straight_length is not None:
        values["straight length"] = meter.straight_length / meter.pipe_bore
    crossed = []
    for limit in _limits(meter):
        value = limit.crossed_by(values.get(limit.quantity, np.nan))
        if value is not None:
            crossed.append(_crossed(meter, Limit(limit.quantity, value, *limit[1:])))
    return crossed


def _limits(meter: Meter) -> tuple[StandardLimit, ...]:
    if meter.kind != "venturi":
        return limits(element_kind(meter), meter.pipe_bore, meter.throat_bore)
    straight = straight_lengths(meter)
    if straight is None:
        return _TUBE_LIMITS
    _, full = straight.at(meter.beta)
    return (*_TUBE_LIMITS, StandardLimit("straight length", full, np.inf, straight.source))


def _crossed(meter: Meter, limit: Limit) -> Finding:
    case, spoils = _cost(meter, limit)
    if case == "short_pipe":
        added = 100 * SHORT_PIPE_UNCERTAINTY
        return found(Kind.METER_LIMIT, case=case, limit=limit, added=added)
    # A Reynolds number is outside at low speed with any meter: no trouble.
    trouble = spoils == "widened" and limit.quantity != "Reynolds number"
    kind = Kind.METER_LIMIT if trouble else Kind.OUTSIDE_LIMIT
    return found(kind, case=case, spoils=spoils, limit=limit)


def _cost(meter: Meter, limit: Limit) -> tuple[str, Consequence]:
    """What a crossed limit costs: the case of its words, and whether intervals are wider."""
    if limit.quantity == "pressure ratio":
        return "expansibility", "none"
    if meter.discharge_coefficient is None:
        return "formula", "widened"
    if limit.quantity == "straight length":
        return "short_pipe", "widened"
    falls = limit.quantity == "Reynolds number" and meter.kind in VENTURI_TUBES
    if falls and limit.value < limit.least:
        return "falls", "widened"
    return "as_stated", "none"

"""The limits of use that a meter, or a point measured with it, does not keep, in words."""

from typing import Final, Literal, NamedTuple

import numpy as np

from pullcurve.measure.meter import (
    STATED_REYNOLDS,
    VENTURI_TUBES,
    element_kind,
    straight_lengths,
)
from pullcurve.physics import venturi
from pullcurve.physics.air import Values
from pullcurve.physics.flow_equation import MeterState
from pullcurve.physics.primary_elements import SHORT_PIPE_UNCERTAINTY, Limit, limits
from pullcurve.rig.meter import Meter

# A plain tube is held against the widest limits of the three kinds.
_TUBE_LIMITS: Final = (
    Limit("pipe bore", 0.050, 1.200, "ISO 5167-4:2003, 1"),
    Limit("diameter ratio", 0.30, 0.75, "ISO 5167-4:2003, 5.5"),
    Limit("Reynolds number", STATED_REYNOLDS, 2e6, "ISO 5167-4:2003, 5.5"),
    Limit("pressure ratio", venturi.LEAST_PRESSURE_RATIO, 1.0, "ISO 5167-4:2003, 5.6"),
)

Consequence = Literal["none", "widened"]


class Finding(NamedTuple):
    """A limit of use that is crossed.

    Bores in m, a straight length in bores of the pipe, pressures in Pa. `consequence`:
    whether the intervals are wider for it.
    """

    quantity: str
    value: float  # the one farthest outside
    least: float
    greatest: float
    source: str
    sentence: str
    consequence: Consequence


def findings(meter: Meter, state: MeterState) -> list[Finding]:
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
    found = []
    for limit in _limits(meter):
        value = limit.crossed_by(values.get(limit.quantity, np.nan))
        if value is not None:
            cost, consequence = _cost(meter, limit, value)
            sentence = f"{_crossing(limit, value)} {cost}"
            found.append(Finding(limit.quantity, value, *limit[1:], sentence, consequence))
    return found


def _limits(meter: Meter) -> tuple[Limit, ...]:
    if meter.kind != "venturi":
        return limits(element_kind(meter), meter.pipe_bore, meter.throat_bore)
    straight = straight_lengths(meter)
    if straight is None:
        return _TUBE_LIMITS
    _, full = straight.at(meter.beta)
    return (*_TUBE_LIMITS, Limit("straight length", full, np.inf, straight.source))


def _cost(meter: Meter, limit: Limit, value: float) -> tuple[str, Consequence]:
    """What a crossed limit costs, in a sentence."""
    if limit.quantity == "pressure ratio":
        return "The expansibility is computed beyond what its source states.", "none"
    if meter.discharge_coefficient is None:
        return "The uncertainty that its source states is not claimed: a wider one is.", "widened"
    if limit.quantity == "straight length":
        added = 100 * SHORT_PIPE_UNCERTAINTY
        return f"{added:.1f} % is added to the stated coefficient's uncertainty.", "widened"
    falls = limit.quantity == "Reynolds number" and meter.kind in VENTURI_TUBES
    if falls and value < limit.least:
        return "The interval allows for a coefficient that changes below.", "widened"
    return "The coefficient in the rig is taken as it is.", "none"


def _crossing(limit: Limit, value: float) -> str:
    ends = [_shown(limit.quantity, end, 4) for end in (limit.least, limit.greatest)]
    if np.isinf(limit.greatest):
        wanted = f"at least {ends[0]}"
    elif limit.least == 0:
        wanted = f"at most {ends[1]}"
    else:
        wanted = f"{ends[0]} to {ends[1]}"
    # As many digits as tell the value from the limit.
    shown = (_shown(limit.quantity, value, digits) for digits in range(3, 17))
    told = next((text for text in shown if text not in ends), ends[0])
    return f"{limit.quantity.capitalize()} {told}: wanted {wanted} ({limit.source})."


def _shown(quantity: str, value: float, digits: int) -> str:
    if quantity.endswith("bore"):
        return f"{value * 1000:.{digits}g} mm"
    if quantity == "Reynolds number":
        return f"{float(f'{value:.{digits}g}'):,.0f}".replace(",", " ")
    unit = {"straight length": " bores of the pipe", "differential pressure": " Pa"}
    return f"{value:.{max(digits, 4)}g}{unit.get(quantity, '')}"

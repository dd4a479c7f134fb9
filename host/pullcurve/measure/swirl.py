"""Whether the flow into the meter is straight, as far as a rig and the readings can tell.

Swirl and eddies ahead of a meter change its coefficient by per cents, and nothing that one
meter reads tells by how much. What it does tell: eddies make the differential pressure
restless although the speed stands still; and a clogged straightener, or a nest in the mouth,
lowers the pressure at the upstream tap. A steady swirl leaves no trace at all.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.measure.air_state import Surroundings
from pullcurve.measure.flow import Flows
from pullcurve.measure.meter import falls_short, of_no_standard
from pullcurve.physics.primary_elements import SHORT_PIPE_UNCERTAINTY
from pullcurve.rig.meter import OPEN_INLETS, Meter

Array = NDArray[np.float64]

# Relative, 95 %. Judgements, but for the first, which ISO 5167 adds for pipe that is too short.
UNSTATED = SHORT_PIPE_UNCERTAINTY
NONE_THERE = 0.02  # neither a straightener nor enough straight pipe
DISTURBED = 0.05  # with eddies that the readings show; swirl of 20 degrees does 2 % to 5 %
RESTLESS = 0.01  # of the differential pressure, as half-second means
OF_RIPPLE = 0.2  # the same over the ripple: what of that may come through as slow
MEAN_S = 0.5
LEAST_POINTS = 3
CLOGGED = 0.5  # velocity heads beyond what the rig says
BEYOND = 1.5  # of the rig's uncertainty of them, besides twice that of the reading


def restlessness(inside: pd.DataFrame) -> float:
    """Relative standard deviation of half-second means of the differential pressure, less what
    the square of the speed explains, and the pressure ahead of the tube: spoil in the hose moves
    the whole flow, and so both pressures; eddies move one.

    inside: a hold's channels.
    """
    values = inside["zeroed_dp_pa"].to_numpy()
    speed = inside["speed_rpm"].to_numpy()
    width = max(1, round(MEAN_S / float(inside["length_s"].median())))
    count = len(values) // width
    if count < 4 or not np.nansum(values) or not np.nansum(speed):  # the shaft may stand
        return 0.0
    relative = values / np.nanmean(values) - (speed / np.nanmean(speed)) ** 2
    means = _means(relative, width)
    ahead = _means(inside.get("meter_pressure_pa", pd.Series(np.zeros(len(values)))), width)
    known = np.isfinite(means) & np.isfinite(ahead)
    if known.sum() >= 4 and np.ptp(ahead[known]) > 0:
        off = ahead[known] - ahead[known].mean()
        means = means[known] - off * (off @ means[known]) / (off @ off)
    return float(np.nanstd(means)) if np.isfinite(means).any() else 0.0


def _means(values: Array | pd.Series, width: int) -> Array:
    count = len(values) // width
    first = np.asarray(values, dtype=np.float64)[: count * width]
    return np.asarray(first.reshape(count, width).mean(axis=1))


def is_disturbed(points: pd.DataFrame) -> bool:
    """Whether eddies show: in half of the holds or more."""
    limit = np.maximum(RESTLESS, OF_RIPPLE * points["pulsation_ratio"])
    return len(points) >= LEAST_POINTS and bool((points["restlessness"] > limit).mean() >= 0.5)


def lacks_straightener(meter: Meter) -> bool:
    """Whether the rig says that there is none, and enough straight pipe neither."""
    long_enough = meter.straight_length is not None and not falls_short(meter)
    return meter.straightener is False and not long_enough


def is_unstated(meter: Meter) -> bool:
    """Whether the rig tells neither of a straightener nor of straight pipe."""
    told = meter.straightener is not None or meter.straight_length is not None
    return not told and meter.kind not in OPEN_INLETS and not of_no_standard(meter)


def straightness_u95(meter: Meter, *, disturbed: bool) -> float:
    """What is uncertain about the flow because it may not be straight, relative.

    The 4 % of a plastic tube outside any standard allow for a missing straightener, not for
    eddies.
    """
    if disturbed:
        return DISTURBED
    if lacks_straightener(meter) and not of_no_standard(meter):
        return NONE_THERE
    return UNSTATED if is_unstated(meter) else 0.0


def inlet_loss(meter: Meter, flows: Flows, around: Surroundings) -> tuple[float, float] | None:
    """Loss from the open air to the upstream tap in velocity heads, as measured, and its
    standard uncertainty; None where no sensor tells it.

    K = (p0 - p1) / (rho1 V1^2 / 2) - 1, Bernoulli's equation; by least squares over the points.
    """
    tap = around.places.get("tap")
    if meter.position == "clean_pipe" or tap is None or not tap.compared:
        return None
    speed = flows.state.mass_flow / (flows.state.density * np.pi / 4 * meter.pipe_bore**2)
    head = flows.state.density * speed**2 / 2
    if not np.isfinite(head).all() or not head.any():
        return None
    weight = head / (head @ head)
    loss = float(weight @ (around.pressure.value - tap.pressure)) - 1
    return loss, float(np.abs(weight).sum() * tap.half_width.max() / np.sqrt(3))


def is_clogged(meter: Meter, seen: tuple[float, float] | None) -> bool:
    """Whether the mouth costs more than the rig allows for."""
    if seen is None:
        return False
    loss, u = seen
    return loss - meter.inlet_loss > max(CLOGGED, BEYOND * meter.inlet_loss_uncertainty + 2 * u)

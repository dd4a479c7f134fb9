"""What a sample says of the way in and of the blower, whatever the throttle does.

The way in is a chain of losses: p_in^2 - p_out^2 = K m^2 R T / A^2 (isothermal flow of a gas
through a loss K on the area A; the square law of hose and fittings). Its resistance

    (p0^2 - p1^2) / (m^2 T)

stays what it is when only the speed changes, but for the filter, whose loss goes with the flow
itself. A clog or a loading filter raises it, air that comes in ahead of the meter lowers it.
The blower takes V (N - S X) / 60 of the air at its inlet, X the root that its slip goes with:
its own residual sees what comes in behind the meter, which no resistance does.
Sources: Crane TP-410, equation 1-6 in its isothermal form, from memory, and slip with dp, p1
and T under the root (common practice, no source).
"""

import math
from typing import Final

from pullcurve.cut.samples import SAMPLE_S, Sample

LEAST_FLOW_KG_S: Final = 1e-3
GAS_CONSTANT: Final = 287.05  # of dry air, J/(kg K)
# Velocity heads from the tank's still air to the meter's tap: one, and an entry's loss, with the
# half-width of a rectangular distribution (judgement).
PIPE_ENTRY, PIPE_ENTRY_HALF_WIDTH = 1.2, 0.3
LEAST_DROP: Final = 1e-3  # of the ambient pressure: less is no path but an open inlet


def resistance(sample: Sample) -> float:
    """ln of (p0^2 - p1^2) / (m^2 T), from the open air to the meter; NaN without a flow."""
    return _resistance(sample, sample.ambient_pa, sample.tap_pa)


class Storage:
    """Resistance at once, although the tank gives air away or fills while it changes.

    The meter sees what the blower takes; what comes in by the hose is that plus what the tank
    gains, V / (R T) dp/dt, and p goes as the pressure at the meter does, about. V is taken as
    TANK_S seconds of flow (judgement; machines have 3 to 12): with too little the change shows
    late, with too much the scatter grows.
    """

    TANK_S: Final = 5.0
    LEAST_LEFT: Final = 0.2  # of the flow

    def __init__(self) -> None:
        self._before: Sample | None = None

    def resistance(self, sample: Sample) -> float:
        """As `resistance`, with the tank's gain since the sample before."""
        before, self._before = self._before, sample
        plain = resistance(sample)
        if before is None or sample.after_gap or not math.isfinite(plain):
            return plain
        gain = self.TANK_S * (sample.tap_pa - before.tap_pa) / sample.ambient_pa / SAMPLE_S
        if not math.isfinite(gain):
            return plain
        return plain - 2 * math.log(max(1 + gain, self.LEAST_LEFT))


def hose_resistance(sample: Sample) -> float:
    """The same from the open air to the tank; NaN without a sensor there."""
    return _resistance(sample, sample.ambient_pa, sample.tank_pa)


def filter_resistance(sample: Sample, pipe_area_m2: float) -> float:
    """ln of (pt^2 - p1^2) / (m T), from the tank to the meter, without what the air needs to get
    up to speed in the meter's pipe: a filter's loss goes with the flow, not with its square."""
    mass = sample.mass_flow_kg_s
    speed_up = PIPE_ENTRY * GAS_CONSTANT * sample.ambient_k * (mass / pipe_area_m2) ** 2
    left = sample.tank_pa**2 - sample.tap_pa**2 - speed_up
    if not (mass > LEAST_FLOW_KG_S and left > 0):
        return math.nan
    return math.log(left / (mass * sample.ambient_k))


def _resistance(sample: Sample, before: float, behind: float) -> float:
    mass = sample.mass_flow_kg_s
    if not (mass > LEAST_FLOW_KG_S and before - behind > LEAST_DROP * sample.ambient_pa):
        return math.nan
    return math.log((before**2 - behind**2) / (mass**2 * sample.ambient_k))


def swallowed(sample: Sample) -> tuple[float, float]:
    """Mass flow over density over speed, m3 a turn (times 287.05 J/(kg K) left out), and X/N."""
    ratio = sample.ambient_pa / sample.tap_pa
    if not (sample.speed_rpm > 0 and sample.mass_flow_kg_s > LEAST_FLOW_KG_S and ratio > 1):
        return math.nan, math.nan
    turn = 60 * sample.mass_flow_kg_s * sample.ambient_k / sample.tap_pa / sample.speed_rpm
    slip_root = math.sqrt(14.696 * (ratio - 1) * sample.ambient_k / 293.15)
    return turn, slip_root / sample.speed_rpm


def openness(sample: Sample) -> float:
    """p1^2 over p0^2 - p1^2: how much of the way from the open to nothing is the blower's."""
    return sample.tap_pa**2 / (sample.ambient_pa**2 - sample.tap_pa**2)


def flow_lost(rise: float, openness_now: float) -> float:
    """What share of the flow a rise of ln resistance has taken, at the same speed.

    A blower that takes the same volume however thin the air is (slip left out: it makes the
    loss a little greater) takes p1 k of mass; with p0^2 - p1^2 = R m^2 the flow is
    p0 / sqrt(1/k^2 + R). `openness_now` is that of the air with the rise in it.
    """
    return 1 - math.sqrt((openness_now + math.exp(-rise)) / (openness_now + 1))


def rise_for(lost: float, openness_before: float) -> float:
    """The rise of ln resistance that takes a share of the flow; the inverse of `flow_lost`."""
    return math.log((openness_before + 1) / (1 - lost) ** 2 - openness_before)

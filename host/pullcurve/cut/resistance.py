"""Throttle-independent residuals of one sample: resistance of the intake path, intake of a turn.

The intake path is a chain of losses, p_in^2 - p_out^2 = (K/A^2) m^2 R T (`physics.hose`). Its
K/A^2 stays what it is when only the speed changes, but for the filter, whose loss goes with the
flow itself. A clog or a loading filter raises it, air that comes in ahead of the meter lowers it.
The blower takes V (N - S X) / 60 of the air at its inlet, X the slip over that at 1 psi
(`physics.blower`): its own residual sees what comes in behind the meter, which no resistance does.
"""

import math
from typing import Final

from pullcurve.cut.samples import SAMPLE_S, Sample
from pullcurve.physics.air import DRY_AIR_GAS_CONSTANT
from pullcurve.physics.blower import slip_root
from pullcurve.physics.hose import resistance_between, term_between

LEAST_FLOW_KG_S: Final = 1e-3
# Velocity heads from the tank's still air to the meter's tap: one, and an entry's loss, with the
# half-width of a rectangular distribution (judgement).
PIPE_ENTRY, PIPE_ENTRY_HALF_WIDTH = 1.2, 0.3
LEAST_DROP: Final = 1e-3  # of the ambient pressure: less is no path but an open inlet


def rt(sample: Sample) -> float:
    """R T of the air that the sample saw, J/kg, as of dry air."""
    return DRY_AIR_GAS_CONSTANT * sample.ambient_k


def resistance(sample: Sample) -> float:
    """ln of K/A^2 [1/m4] from the open air to the meter; NaN without a flow."""
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
    """ln of the linear resistance [Pa s/m3] from the tank to the meter, without what the air needs
    to get up to speed in the meter's pipe: a filter's loss goes with the flow itself."""
    mass = sample.mass_flow_kg_s
    if not mass > LEAST_FLOW_KG_S:
        return math.nan
    entry = PIPE_ENTRY / pipe_area_m2**2
    left = float(resistance_between(sample.tank_pa, sample.tap_pa, mass, rt(sample), entry))
    return math.log(left) if left > 0 else math.nan


def _resistance(sample: Sample, before: float, behind: float) -> float:
    mass = sample.mass_flow_kg_s
    if not (mass > LEAST_FLOW_KG_S and before - behind > LEAST_DROP * sample.ambient_pa):
        return math.nan
    return math.log(term_between(before, behind, mass, rt(sample)))


def intake_per_turn(sample: Sample) -> tuple[float, float]:
    """Volume at the inlet that the blower takes in a turn [m3], and X/N [min]."""
    ratio = sample.ambient_pa / sample.tap_pa
    if not (sample.speed_rpm > 0 and sample.mass_flow_kg_s > LEAST_FLOW_KG_S and ratio > 1):
        return math.nan, math.nan
    turn = 60 * sample.mass_flow_kg_s * rt(sample) / sample.tap_pa / sample.speed_rpm
    return turn, float(slip_root(ratio, sample.ambient_k)) / sample.speed_rpm


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

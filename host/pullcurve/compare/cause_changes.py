"""What the diagnoses of two runs say of the machine's change."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.compare.result import CauseChange
from pullcurve.compare.run_curve import same_meter
from pullcurve.diagnosis.diagnose import Diagnosis, diagnose
from pullcurve.diagnosis.priors import CAUSES
from pullcurve.diagnosis.verdict import interval, sizes
from pullcurve.examine import Run
from pullcurve.results import Interval

Array = NDArray[np.float64]

DRAWS: Final = 4000
# Slip beyond healthy and air that comes in behind the meter, together, over the healthy flow:
# sharper than either, for a flow alone does not tell them apart.
LOST: Final = "lost_beyond_healthy"


def diagnose_both(
    first: Run, later: Run, known: Diagnosis | str | None = None
) -> tuple[Diagnosis | str, Diagnosis | str, bool]:
    """The diagnosis of each run. known: what `diagnose` gave of the first.

    The first is the later one's baseline where it is called healthy, and both are of one machine
    and meter as far as the rigs tell; the last value says so.
    """
    before = diagnose(first) if known is None else known
    healthy = not isinstance(before, str) and before.verdict.decided and not before.verdict.label
    one = first.rig.name == later.rig.name and first.rig.machine == later.rig.machine
    baseline = healthy and one and same_meter(first, later)[0]
    return before, diagnose(later, first if baseline else None), baseline


def cause_changes(first: Diagnosis | str, later: Diagnosis | str) -> tuple[CauseChange, ...] | str:
    """Compare each cause at the fastest hold of each run's first sweep, and LOST, of all that each
    run leaves open, so that a cause that may be there or not is between nothing and its size; or
    say why they cannot be compared. What the two runs say is taken as independent, which for one
    machine is wider than it need be."""
    if isinstance(first, str):
        return f"The first run has no diagnosis. {first}"
    if isinstance(later, str):
        return f"The later run has no diagnosis. {later}"
    for which, run in (("first", first), ("later", later)):
        if run.verdict.vetoed_by:
            return (
                f"There is no verdict on the machine in the {which} run: its own report says what "
                "stands against one."
            )
    generator = np.random.default_rng(0)
    found = []
    for name in (LOST, *CAUSES):
        one, other = _samples(name, first), _samples(name, later)
        apart = generator.choice(other, DRAWS) - generator.choice(one, DRAWS)
        change = _interval(apart)
        certain = change.low > 0 or change.high < 0
        found.append(CauseChange(name, _interval(one), _interval(other), change, certain))
    return tuple(found)


def _samples(name: str, found: Diagnosis) -> Array:
    evidence, believed = found.evidence, found.posterior
    if name != LOST:
        return sizes(name, evidence, believed)
    state, top, setting = believed.state, evidence.top, evidence.setting
    speed, slip = state.speed_rpm[:, top], state.healthy_slip_rpm[:, top]
    healthy = believed.x["displacement"][:, 0] * (speed - slip) / 60
    gas = setting.gas_constant[top] * setting.temperature[top] * believed.x["warming"][:, 0]
    metered = state.metered_flow[:, top] * gas / state.inlet_pressure[:, top]
    return np.asarray(1 - metered / healthy)


def _interval(samples: Array) -> Interval:
    """As `verdict.interval`, for samples that may be nothing in most cases."""
    found = interval(samples)
    low = max(min(found.low, found.value), float(samples.min()))
    return Interval(found.value, low, min(max(found.high, found.value), float(samples.max())))

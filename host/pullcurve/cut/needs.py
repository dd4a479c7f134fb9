"""What the work asks for, as far as the rig says."""

from dataclasses import dataclass

from pullcurve.physics.spoils import SPOILS
from pullcurve.rig.models import Rig


@dataclass(frozen=True)
class Needs:
    """None where nobody said.

    hose_bore_m: at the nozzle, where the air is densest and so slowest; velocity_m_s: the least
    that the spoil needs there; filter_limit_pa: the loss at which the filter is due;
    filter_clean_pa_s_m3: loss of the clean filter over its flow.
    """

    hose_bore_m: float | None = None
    velocity_m_s: float | None = None
    filter_limit_pa: float | None = None
    filter_clean_pa_s_m3: float | None = None


def needs_of(rig: Rig, filter_limit_pa: float | None = None) -> Needs:
    """A spoil that is not among the known kinds asks for nothing."""
    machine = rig.machine
    spoil = SPOILS.get((machine.spoil or "").strip().lower())
    clean = machine.filter
    return Needs(
        machine.hose[0].bore if machine.hose else None,
        spoil.velocity[0] if spoil else None,
        filter_limit_pa,
        clean.clean_loss / clean.at_flow if clean else None,
    )

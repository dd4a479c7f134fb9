"""A flow that is not straight, and a mouth that costs too much."""

from collections.abc import Iterator

from pullcurve.checks.catalogue import Finding, Kind, found
from pullcurve.measure.measurement import Measurement
from pullcurve.measure.meter import of_no_standard
from pullcurve.measure.swirl import (
    UNSTATED,
    inlet_loss,
    is_clogged,
    is_disturbed,
    is_unstated,
    lacks_straightener,
)


def straightener(run: Measurement) -> Iterator[Finding]:
    """A straightener that is missing or clogged."""
    meter, points = run.rig.meter, run.points
    if run.flows is None or run.around is None:
        return
    if is_disturbed(points):
        yield found(
            Kind.STRAIGHTENER_CLOGGED if meter.straightener else Kind.STRAIGHTENER_MISSING,
            case="unsteady",
            unsteady=100 * float(points["restlessness"].median()),
        )
    elif lacks_straightener(meter):
        yield found(
            Kind.STRAIGHTENER_MISSING,
            case="stated",
            spoils="none" if of_no_standard(meter) else "widened",
        )
    loss = inlet_loss(meter, run.flows, run.around)
    if loss is not None and is_clogged(meter, loss):
        yield found(
            Kind.STRAIGHTENER_CLOGGED,
            case="loss",
            spoils="none",
            seen=loss[0],
            said=meter.inlet_loss,
        )


def unstated(run: Measurement) -> Iterator[Finding]:
    """A rig that tells nothing of what is ahead of the meter."""
    if run.flows is not None and is_unstated(run.rig.meter):
        yield found(Kind.STRAIGHT_FLOW_UNSTATED, allowed=100 * UNSTATED)

"""What measured the channels, and how far each instrument may be off.

A board's header and the parts' data sheets give it (`of_board`); whoever brings a table of channels
from another logger types it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from pullcurve.rig.sensor_parts import SENSOR_PARTS, DifferentialPressureAccuracy
from pullcurve.stream.header import Header

QUANTITIES = ("pressure", "temperature", "humidity")


@dataclass(frozen=True)
class Instruments:
    """The instruments behind the channels of one run.

    Attributes
    ----------
    differential_pressure
        Accuracy of the sensor on the meter, of its span.
    range_pa
        Rated ends of its range, the lower one first, Pa.
    count_pa
        Its resolution, Pa.
    bounds
        How wrong the instrument that plays a role may be in a quantity: Pa, K, or humidity 0 to 1,
        by (role, quantity).
    period_us, jitter_us
        When it is read: a reading each period, at a random instant less than the jitter after the
        period begins; microseconds.
    """

    differential_pressure: DifferentialPressureAccuracy
    range_pa: tuple[float, float]
    count_pa: float
    bounds: Mapping[tuple[str, str], float] = field(default_factory=dict)
    period_us: int = 5000
    jitter_us: int = 5000

    @property
    def span_pa(self) -> float:
        """The whole range, end to end, Pa."""
        return self.range_pa[1] - self.range_pa[0]

    def bound(self, role: str, quantity: str) -> float | None:
        """How wrong the instrument that plays a role may be; None where none is known."""
        return self.bounds.get((role, quantity))


def of_board(header: Header, count_pa: float) -> Instruments | None:
    """The instruments that a board announces, by their parts' data sheets; None where the part on
    the meter is not known."""
    sensor = header.sensor("meter_dp")
    part = SENSOR_PARTS.get(sensor.part) if sensor else None
    if sensor is None or part is None or part.differential_pressure is None:
        return None
    channel = sensor.channels[0]
    bounds: dict[tuple[str, str], float] = {}
    for each in header.sensors:
        for quantity in QUANTITIES:
            accuracy = getattr(SENSOR_PARTS.get(each.part), quantity, None)
            if accuracy is not None:
                bounds.setdefault((each.role, quantity), float(accuracy.bound))
    return Instruments(
        part.differential_pressure,
        (min(channel.value_low, channel.value_high), max(channel.value_low, channel.value_high)),
        count_pa,
        bounds,
        header.period_us,
        header.jitter_us,
    )

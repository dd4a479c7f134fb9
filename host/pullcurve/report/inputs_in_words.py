"""The inputs of the uncertainty in words, and what makes each of them better known."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pullcurve.measure.inputs import Source
from pullcurve.measure.points import Contribution

INPUTS: Final[dict[Source, str]] = {
    Source.DISCHARGE_COEFFICIENT: "discharge coefficient",
    Source.C_REYNOLDS_SLOPE: "coefficient's fall at low flow",
    Source.PIPE_BORE: "pipe bore",
    Source.THROAT_BORE: "throat bore",
    Source.INLET_LOSS: "loss at the meter's inlet",
    Source.DIFFERENTIAL_PRESSURE: "scatter of the readings",
    Source.SENSOR_ZERO: "zero of the pressure sensor",
    Source.WATER_IN_LINE: "offset that water in a line may make",
    Source.SENSOR_GAIN: "gain of the pressure sensor",
    Source.SENSOR_LINEARITY: "linearity of the pressure sensor",
    Source.SWIRL: "swirl in the flow to the meter",
    Source.PULSATION: "pulsation",
    Source.ALIASING: "readings in step with the lobes",
    Source.STATION_PRESSURE: "pressure of the open air",
    Source.AIR_TEMPERATURE: "temperature of the open air",
    Source.HUMIDITY: "humidity of the open air",
    Source.DENSITY_FORMULA: "formula of the air's density",
    Source.ISENTROPIC_EXPONENT: "isentropic exponent of the air",
    Source.EXPANSIBILITY_FORMULA: "formula of the expansibility",
    Source.VACUUM_TAP: "vacuum at the meter's tap",
    Source.VACUUM_PORT: "vacuum at the port",
    Source.VACUUM_INLET: "vacuum at the blower's inlet",
    Source.PRESSURE_TAP: "pressure at the meter's tap",
    Source.PRESSURE_PORT: "pressure at the port",
    Source.PRESSURE_INLET: "pressure at the blower's inlet",
    Source.METER_LOSS: "pressure lost in the meter",
    Source.WARMING: "warming of the air on its way",
    Source.LOSSES_PORT: "losses between meter and port",
    Source.LOSSES_INLET: "losses between meter and blower",
    Source.SHARE_PORT: "share of the losses ahead of the port",
}
REACHES: Final = {
    "point": "each hold by itself",
    "run": "all holds of this run",
    "meter": "all runs with this meter",
}


@dataclass(frozen=True)
class Remedy:
    """Something a person can do, and the inputs that it makes better known."""

    words: str
    inputs: frozenset[Source]


REMEDIES: Final = (
    Remedy(
        "calibrating this meter, by a traverse on the spot or in a laboratory",
        frozenset(
            (
                Source.DISCHARGE_COEFFICIENT,
                Source.C_REYNOLDS_SLOPE,
                Source.PIPE_BORE,
                Source.THROAT_BORE,
            )
        ),
    ),
    Remedy(
        "a straightener ahead of the meter, and saying so in the rig",
        frozenset((Source.SWIRL,)),
    ),
    Remedy(
        "measuring both bores again, four diameters each, with an inside micrometer",
        frozenset((Source.PIPE_BORE, Source.THROAT_BORE)),
    ),
    Remedy(
        "zeros of 10 s or more with the engine off, before and after each sweep, with the board "
        "warm and in the shade",
        frozenset((Source.SENSOR_ZERO,)),
    ),
    Remedy(
        "draining and drying the lines to the sensor, and holds at more speeds, slow ones among "
        "them, that tell an offset from the curve",
        frozenset((Source.WATER_IN_LINE,)),
    ),
    Remedy(
        "a better differential-pressure sensor, or one whose range the readings fill",
        frozenset((Source.SENSOR_GAIN, Source.SENSOR_LINEARITY, Source.SENSOR_ZERO)),
    ),
    Remedy(
        "longer holds, or the same speeds held again", frozenset((Source.DIFFERENTIAL_PRESSURE,))
    ),
    Remedy(
        "short lines of one length to the sensor, so that it sees the pulsation as it is",
        frozenset((Source.PULSATION,)),
    ),
    Remedy("a jitter in the board's sampling plan", frozenset((Source.ALIASING,))),
    Remedy(
        "a good sensor for pressure, temperature and humidity of the open air, in the shade "
        "(role ambient_air)",
        frozenset((Source.STATION_PRESSURE, Source.AIR_TEMPERATURE, Source.HUMIDITY)),
    ),
    Remedy(
        "an absolute-pressure sensor at the meter's upstream tap (role meter_air)",
        frozenset((Source.INLET_LOSS,)),
    ),
    Remedy(
        "a zero with the engine off, in which the pressure sensors are compared",
        frozenset((Source.PRESSURE_TAP, Source.VACUUM_TAP)),
    ),
)


def input_words(source: Source) -> str:
    return INPUTS[source]


def best_remedy(budget: Sequence[Contribution]) -> tuple[Remedy, float]:
    """The remedy whose inputs hold most of the variance, and how much they hold."""
    shares = [
        sum(part.share for part in budget if part.source in remedy.inputs) for remedy in REMEDIES
    ]
    greatest = max(shares)
    return REMEDIES[shares.index(greatest)], greatest

"""The inputs of the uncertainty in words, and what makes each of them better known."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pullcurve.measure.points import Contribution

# What the reduction calls an input, and what the page calls it.
INPUTS: Final = {
    "discharge coefficient": "discharge coefficient",
    "fall of C": "coefficient's fall at low flow",
    "pipe bore": "pipe bore",
    "throat bore": "throat bore",
    "inlet loss": "loss at the meter's inlet",
    "differential pressure": "scatter of the readings",
    "sensor zero": "zero of the pressure sensor",
    "water in a line": "offset that water in a line may make",
    "sensor gain": "gain of the pressure sensor",
    "sensor linearity": "linearity of the pressure sensor",
    "straight flow": "swirl in the flow to the meter",
    "pulsation": "pulsation",
    "readings in step": "readings in step with the lobes",
    "station pressure": "pressure of the open air",
    "air temperature": "temperature of the open air",
    "humidity": "humidity of the open air",
    "density formula": "formula of the air's density",
    "isentropic exponent": "isentropic exponent of the air",
    "expansibility formula": "formula of the expansibility",
    "vacuum, tap": "vacuum at the meter's tap",
    "vacuum, port": "vacuum at the port",
    "vacuum, inlet": "vacuum at the blower's inlet",
    "pressure, tap": "pressure at the meter's tap",
    "pressure, port": "pressure at the port",
    "pressure, inlet": "pressure at the blower's inlet",
    "loss of the meter": "pressure lost in the meter",
    "warming": "warming of the air on its way",
    "losses, port": "losses between meter and port",
    "losses, inlet": "losses between meter and blower",
    "share, port": "share of the losses ahead of the port",
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
    inputs: frozenset[str]


REMEDIES: Final = (
    Remedy(
        "calibrating this meter, by a traverse on the spot or in a laboratory",
        frozenset(("discharge coefficient", "fall of C", "pipe bore", "throat bore")),
    ),
    Remedy(
        "a straightener ahead of the meter, and saying so in the rig",
        frozenset(("straight flow",)),
    ),
    Remedy(
        "measuring both bores again, four diameters each, with an inside micrometer",
        frozenset(("pipe bore", "throat bore")),
    ),
    Remedy(
        "zeros of 10 s or more with the engine off, before and after each sweep, with the board "
        "warm and in the shade",
        frozenset(("sensor zero",)),
    ),
    Remedy(
        "draining and drying the lines to the sensor, and holds at more speeds, slow ones among "
        "them, that tell an offset from the curve",
        frozenset(("water in a line",)),
    ),
    Remedy(
        "a better differential-pressure sensor, or one whose range the readings fill",
        frozenset(("sensor gain", "sensor linearity", "sensor zero")),
    ),
    Remedy("longer holds, or the same speeds held again", frozenset(("differential pressure",))),
    Remedy(
        "short lines of one length to the sensor, so that it sees the pulsation as it is",
        frozenset(("pulsation",)),
    ),
    Remedy("a jitter in the board's sampling plan", frozenset(("readings in step",))),
    Remedy(
        "a good sensor for pressure, temperature and humidity of the open air, in the shade "
        "(role ambient_air)",
        frozenset(("station pressure", "air temperature", "humidity")),
    ),
    Remedy(
        "an absolute-pressure sensor at the meter's upstream tap (role meter_air)",
        frozenset(("inlet loss",)),
    ),
    Remedy(
        "a zero with the engine off, in which the pressure sensors are compared",
        frozenset(("pressure, tap", "vacuum, tap")),
    ),
)


def input_words(source: str) -> str:
    return INPUTS.get(source, source)


def best_remedy(budget: Sequence[Contribution]) -> tuple[Remedy, float]:
    """The remedy whose inputs hold most of the variance, and how much they hold."""
    shares = [
        sum(part.share for part in budget if part.source in remedy.inputs) for remedy in REMEDIES
    ]
    greatest = max(shares)
    return REMEDIES[shares.index(greatest)], greatest

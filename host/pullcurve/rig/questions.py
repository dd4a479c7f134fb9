"""What is asked of a person to describe a rig, in plain words, one thing at a time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from pydantic import ValidationError

from pullcurve.rig.machine_questions import MACHINE_QUESTIONS
from pullcurve.rig.meter import OPEN_INLETS
from pullcurve.rig.models import Role, Sensors
from pullcurve.rig.question import (
    Answers,
    Question,
    always,
    number,
    two_ends,
    whole_number,
    yes_or_no,
)
from pullcurve.rig.sensor_parts import SENSOR_PARTS

CAUTION: Final = (
    "What follows is measured at the machine. First stop the engine, lock it out and wait "
    "until the vacuum is gone. Never reach or look into an open inlet of a machine that can "
    "start. Guards of belts and pulleys come off only then, and go back on before it runs."
)


def _in_pipe(answers: Answers) -> bool:
    return answers["meter.kind"] not in OPEN_INLETS


def _open_end(answers: Answers) -> bool:
    return _in_pipe(answers) and answers["meter.position"] != "clean_pipe"


def _calibrated(answers: Answers) -> bool:
    return answers["calibrated"] == "yes"


def _watched(shaft: str) -> Callable[[Answers], bool]:
    return lambda answers: answers["shafts"] in {shaft, "both"}


def _unmeasured(quantity: str) -> Callable[[Answers], bool]:
    """Whether no sensor in the open air measures a quantity."""

    def unmeasured(answers: Answers) -> bool:
        part = answers.get("sensors.ambient_air.part")
        return part is None or getattr(SENSOR_PARTS[str(part)], quantity) is None

    return unmeasured


def _parts(role: Role) -> dict[str, str]:
    """The parts that can play a role, by the model's own rule."""
    fit = {}
    for name in SENSOR_PARTS:
        try:
            Sensors.model_validate({role: {"part": name}})
        except ValidationError:
            continue
        fit[name] = ""
    return fit


def _sensor(
    role: Role,
    example: str,
    words: str,
    comment: str,
    without: str,
    asked: Callable[[Answers], bool] = always,
) -> Question:
    return Question(
        f"sensors.{role}.part",
        words,
        examples=(example,),
        without=without,
        comment=comment,
        choices=_parts(role),
        asked=asked,
    )


_POSITIONS: Final[dict[str, str]] = {
    "port": "in the open air, straight on the machine's port, hose off",
    "hose_end": "in the open air, at the far end of the hose",
    "clean_pipe": "in the pipe between filter and blower, where no spoil comes",
}
_KINDS: Final[dict[str, str]] = {
    "venturi": "a tube of plastic pipe, or any tube whose coefficient is known",
    "venturi_as_cast": "a cast tube to ISO 5167-4",
    "venturi_machined": "a tube with a machined convergent to ISO 5167-4",
    "venturi_welded": "a tube of rough-welded sheet to ISO 5167-4",
    "orifice": "a plate with a sharp-edged hole to ISO 5167-2",
    "nozzle_isa_1932": "an ISA 1932 nozzle to ISO 5167-3",
    "nozzle_long_radius": "a long radius nozzle to ISO 5167-3",
    "venturi_nozzle": "a Venturi nozzle to ISO 5167-3",
    "bellmouth": "a rounded inlet that draws straight from the open",
    "conical_inlet": "a conical inlet to ISO 5801 that draws straight from the open",
}
_TAPS: Final[dict[str, str]] = {
    "corner": "at the faces of the plate",
    "flange": "1 in ahead of the plate and 1 in behind it",
    "d_and_half_d": "one bore ahead and half a bore behind",
}
_YES_NO: Final = {"yes": "", "no": ""}


_THE_METER: Final = (
    Question(
        "name",
        "What shall the report call this? Machine, place of the meter and its size, say.",
        examples=("grit unit 3, port, 145 mm tube",),
        without="unnamed rig",
        comment="free words, printed on the report",
    ),
    Question("meter.kind", "What kind of meter is it?", default="venturi", choices=_KINDS),
    Question(
        "meter.taps",
        "Where are the plate's two pressures taken?",
        choices=_TAPS,
        asked=lambda answers: answers["meter.kind"] == "orifice",
        needed=always,
    ),
    Question(
        "meter.position",
        "Where does the meter stand?",
        caution=CAUTION,
        comment="port: open air, on the machine's port, hose off; hose_end: open air, far end of "
        "the hose; clean_pipe: between filter and blower",
        choices=_POSITIONS,
        needed=always,
    ),
    Question(
        "meter.pipe_bore",
        "Inside diameter of the pipe at the upstream tap. Measure it at four angles and take the "
        "mean; a pipe table or the name of the pipe will not do.",
        examples=("5.693 in", "5 11/16 in", "144.60 mm"),
        comment="inside, at the upstream tap: measured, not from a pipe table",
        asked=_in_pipe,
        needed=always,
    ),
    Question(
        "meter.throat_bore",
        "Inside diameter of the throat or the plate's hole, at four angles again. It counts most: "
        "1 % of it is 2 % to 3 % of the flow.",
        examples=("3.870 in", "98.30 mm"),
        comment="inside, measured: 1 % of it is 2 % to 3 % of the flow",
        needed=always,
    ),
    Question(
        "meter.bore_uncertainty",
        "How far off may a bore be, nineteen times out of twenty? Inside caliper: "
        "0.2 mm. Bore gauge or inside micrometer: 0.05 mm.",
        examples=("0.1 mm",),
        default="0.2 mm",
        comment="of each bore",
    ),
    Question(
        "meter.straight_length",
        "How long is the straight pipe ahead of the upstream tap?",
        examples=("1.2 m", "4 ft"),
        without="taken as long enough",
        comment="straight pipe ahead of the upstream tap",
        asked=_in_pipe,
    ),
    Question(
        "meter.straightener",
        "Does a flow straightener (a nest of tubes, an egg crate) sit in the pipe ahead of the "
        "upstream tap?",
        yes_or_no,
        examples=("yes",),
        without="0.5 % is allowed for that, unless straight_length is stated",
        comment="true where a flow straightener sits ahead of the upstream tap, false where not",
        choices=_YES_NO,
        asked=_in_pipe,
    ),
    Question(
        "calibrated",
        "Did anybody calibrate or traverse the meter, so that its discharge coefficient is known? "
        "If not, the standard of its kind gives it; for a tube of plastic pipe 0.97 with 4 % is "
        "taken.",
        default="no",
        choices=_YES_NO,
    ),
    Question(
        "meter.discharge_coefficient",
        "The discharge coefficient. Tubes and nozzles have 0.9 to 1, orifice plates 0.6.",
        number,
        examples=("0.984",),
        comment="how the meter compares with theory: these three keys, or none of them; with none "
        "the standard of its kind gives it, for a tube of plastic pipe 0.97 with 4 % is taken",
        asked=_calibrated,
        needed=always,
    ),
    Question(
        "meter.discharge_coefficient_uncertainty",
        "How far off may it be, nineteen times out of twenty?",
        examples=("1.5 %",),
        comment="relative",
        asked=_calibrated,
        needed=always,
    ),
    Question(
        "meter.discharge_coefficient_source",
        "Where does it come from? Certificate and date, standard and year, or who traversed it.",
        examples=("traverse on site, 3 May, log-Tchebycheff, 2 x 6 points",),
        asked=_calibrated,
        needed=always,
    ),
    Question(
        "meter.inlet_loss",
        "What does the tube's open end cost ahead of the upstream tap, in velocity heads? Rounded "
        "mouth: 0.05. Plain pipe end: 0.5. With a straightener: 1 or more.",
        number,
        examples=("0.05",),
        default="0.5",
        comment="what the open end costs ahead of the upstream tap, in velocity heads: 0.05 for a "
        "rounded mouth, 0.5 for a plain pipe end, 1 or more with a straightener",
        asked=_open_end,
    ),
    Question(
        "meter.inlet_loss_uncertainty",
        "How far off may that be, in velocity heads?",
        number,
        examples=("0.2",),
        default="0.5",
        comment="in velocity heads",
        asked=_open_end,
    ),
)
_THE_SHAFTS: Final = (
    Question(
        "shafts",
        "Which shaft carries marks for a pickup?",
        default="blower",
        choices={"blower": "best: no belt in between", "engine": "", "both": ""},
    ),
    *(
        Question(
            f"pickups.{shaft}_shaft.marks_per_turn",
            f"How many marks pass the pickup in one turn of the {shaft}'s shaft? Turn it by hand "
            "and count.",
            whole_number,
            examples=("2",),
            comment="reflecting marks or slots that pass the pickup in one turn",
            asked=_watched(shaft),
            needed=always,
        )
        for shaft in ("blower", "engine")
    ),
)
_NO_SENSOR: Final = "no such sensor"
_THE_SENSORS: Final = (
    _sensor(
        "meter_dp",
        "HSC",
        "Which part measures the meter's differential pressure?",
        "at the tube, positive from the upstream tap to the throat",
        "the board announces what it finds",
    ),
    Question(
        "sensors.meter_dp.range",
        "Its two rated ends, as its label or order code says.",
        two_ends,
        examples=("-1 psi to 1 psi",),
        without="the board announces what it finds",
        comment="its two rated ends",
        asked=lambda answers: "sensors.meter_dp.part" in answers,
    ),
    _sensor(
        "ambient_air",
        "BME280",
        "Which part measures the open air beside the machine, in the shade?",
        "in the open air, in the shade",
        _NO_SENSOR,
    ),
    _sensor(
        "meter_air",
        "BMP280",
        "Which part measures the absolute pressure at the meter's upstream tap? A meter in the "
        "clean pipe cannot do without.",
        "absolute, at the meter's upstream tap",
        _NO_SENSOR,
        _in_pipe,
    ),
    _sensor(
        "blower_air",
        "BMP280",
        "Which part measures the absolute pressure at the blower's inlet? It tells the vacuum.",
        "absolute, at the blower's inlet",
        _NO_SENSOR,
    ),
    _sensor(
        "tank_air",
        "LPS22HB",
        "Which part measures the absolute pressure in the tank?",
        "absolute, in the tank",
        _NO_SENSOR,
    ),
    _sensor(
        "discharge_temperature",
        "MCP9600",
        "Which part measures the temperature at the blower's outlet?",
        "at the blower's outlet",
        _NO_SENSOR,
    ),
)
_THE_SITE: Final = (
    Question(
        "site.altitude",
        "How high above the sea is the site? A map will do.",
        examples=("620 m", "2030 ft"),
        comment="above mean sea level; the check on the pressure needs it",
        needed=always,
    ),
    Question(
        "site.station_pressure",
        "What does a barometer on the site show? Not the weather report's figure: that one is "
        "reduced to sea level.",
        examples=("94.1 kPa", "27.79 inHg"),
        without="the sensor in the open air tells it",
        comment="absolute, on the site, not reduced to sea level; where no sensor tells it",
        needed=_unmeasured("pressure"),
    ),
    Question(
        "site.temperature",
        "Temperature of the open air, in the shade.",
        examples=("12 C", "54 F"),
        without="the sensor in the open air tells it",
        comment="of the open air, in the shade; where no sensor tells it",
        needed=_unmeasured("temperature"),
    ),
    Question(
        "site.humidity",
        "Relative humidity of the open air, where no sensor tells it.",
        examples=("55 %",),
        without="anything from 0 % to 100 % where no sensor tells it",
        comment="relative, of the open air; where no sensor tells it",
    ),
)
# The site comes last: by then the rest makes a whole rig, and the pressure can be held
# against the altitude.
QUESTIONS: Final[tuple[Question, ...]] = (
    *_THE_METER,
    *_THE_SHAFTS,
    *MACHINE_QUESTIONS,
    *_THE_SENSORS,
    *_THE_SITE,
)

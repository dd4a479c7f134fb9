"""What is asked of a person about the machine itself: belt, speeds, blower, hose and filter.

All but the belt ratio may be left out: a measurement needs none of it, the ledger of where the
promised flow went does.
"""

from __future__ import annotations

from typing import Final, get_args

from pullcurve.rig.machine import Lobes, Spoil
from pullcurve.rig.question import (
    Answers,
    GoBack,
    Question,
    always,
    hose_pieces,
    number,
    sheet_rows,
    whole_number,
)

_UNKNOWN: Final = "unknown"


def _slower(text: str) -> str:
    if text == "no":
        raise GoBack("Then it is the other way round: blower turns to one turn of the engine.")
    return text


def _has_sheet(answers: Answers) -> bool:
    return answers["sheet"] == "yes"


_THE_WHOLE: Final = (
    Question(
        "machine.belt_ratio",
        "How many turns does the blower make to one turn of the engine? With a belt: diameter of "
        "the engine's pulley over that of the blower's, so 1.25 for 7.5 in on 6 in.",
        number,
        examples=("1.25",),
        without=_UNKNOWN,
        comment="blower turns to one turn of the engine",
        needed=lambda answers: answers["shafts"] == "engine",
    ),
    Question(
        "slower",
        "That makes the blower turn slower than the engine. Does it?",
        _slower,
        choices={"yes": "", "no": ""},
        asked=lambda answers: float(str(answers.get("machine.belt_ratio", 1))) < 1,
        needed=always,
    ),
    Question(
        "machine.governed_speed",
        "At which speed does the governor hold the engine at full throttle? The engine's plate or "
        "its papers say.",
        examples=("2200 rpm",),
        without=_UNKNOWN,
        comment="of the engine, at full throttle",
    ),
    Question(
        "machine.rated_speed",
        "At which speed of the blower was the flow promised? It stands beside the flow in the "
        "brochure, or is the highest of the data sheet.",
        examples=("2750 rpm",),
        without=_UNKNOWN,
        comment="of the blower, as in the promise",
    ),
    Question(
        "machine.brochure_flow",
        "Which flow was the machine sold with? The brochure's one figure.",
        examples=("1500 cfm",),
        without=_UNKNOWN,
        comment="what the machine was sold with",
    ),
    Question(
        "machine.port_bore",
        "Inside diameter of the machine's suction port.",
        examples=("5 in",),
        without=_UNKNOWN,
        comment="inside, of the suction port",
    ),
    Question(
        "machine.relief_vacuum",
        "At which vacuum does the relief valve open? Its plate or the manual says; do not try it.",
        examples=("12 inHg",),
        without=_UNKNOWN,
        comment="at which the relief valve opens, by its plate",
    ),
    Question(
        "machine.lobes",
        "How many lobes has one rotor of the blower? The data sheet says.",
        whole_number,
        examples=("2",),
        without=_UNKNOWN,
        comment="of one rotor",
        choices={str(count): "" for count in get_args(Lobes)},
    ),
    Question(
        "machine.spoil",
        "What is sucked up? The nearest of these.",
        examples=("dry grit",),
        without=_UNKNOWN,
        comment="what is sucked up, the nearest of the kinds known",
        choices=dict.fromkeys(get_args(Spoil), ""),
    ),
    Question(
        "machine.hose",
        "Which hose goes with it, from nozzle to port? For each piece its length, bore and wall "
        "(smooth or corrugated inside, or unknown), then wide bends, sharp elbows and couplings if "
        "there are any; a semicolon before the next piece.",
        hose_pieces,
        examples=(
            "70 ft of 5 in smooth",
            "60 ft of 5 in smooth, 2 bends; 10 ft of 6 in corrugated, 1 coupling",
        ),
        without=_UNKNOWN,
        comment="its pieces from nozzle to port; also bends (wide), elbows (sharp) and couplings",
    ),
)
_THE_BLOWER: Final = (
    Question(
        "machine.blower.displacement",
        "What does one turn of the blower displace? The data sheet calls it displacement, or cubic "
        "feet (litres) a revolution.",
        examples=("0.565 ft3", "16.0 L"),
        without=_UNKNOWN,
        comment="of one turn, by the data sheet",
    ),
    Question(
        "sheet",
        "Have you the blower's data sheet, with flow at some speed and vacuum? One figure of it "
        "helps much.",
        default="no",
        choices={"yes": "", "no": ""},
    ),
    Question(
        "machine.blower.rating.basis",
        "What does the sheet mean by flow?",
        default="inlet",
        examples=("inlet",),
        comment="inlet: the volume at the blower's own inlet (usual); free_air: the same air as it "
        "was outside",
        choices={
            "inlet": "the volume at the blower's own inlet: usual, and meant by icfm",
            "free_air": "the same air as it was outside: free air, scfm",
        },
        asked=_has_sheet,
        shown=True,
    ),
    Question(
        "machine.blower.rating.flow_unit",
        "The sheet's unit of flow.",
        examples=("cfm", "m3/h", "m3/min"),
        default="cfm",
        asked=_has_sheet,
        shown=True,
    ),
    Question(
        "machine.blower.rating.vacuum_unit",
        "The sheet's unit of vacuum.",
        examples=("inHg", "mbar", "kPa"),
        default="inHg",
        asked=_has_sheet,
        shown=True,
    ),
    Question(
        "machine.blower.rating.rows",
        "One figure of the sheet or more: speed in rpm, vacuum, flow, in the sheet's units and as "
        "printed; semicolons between them. A long table can go into a CSV file later.",
        sheet_rows,
        examples=("2750 0 1555", "2750 0 1555; 2750 8 1405; 2750 12 1350"),
        comment="speed in rpm, vacuum, flow, as printed; or in place of rows the name of a CSV "
        'file beside this one, table = "my_blower.csv", with the heading speed,vacuum,flow',
        asked=_has_sheet,
        needed=always,
        shown=True,
    ),
    Question(
        "machine.filter.clean_loss",
        "How much pressure does the filter cost when it is clean? The filter's papers say, or two "
        "gauges before and behind a new one.",
        examples=("6 inH2O", "1.5 kPa"),
        without=_UNKNOWN,
        comment="what the clean filter costs",
    ),
    Question(
        "machine.filter.at_flow",
        "At which flow does it cost that?",
        examples=("1300 cfm",),
        comment="at this flow",
        asked=lambda answers: "machine.filter.clean_loss" in answers,
        needed=always,
        shown=True,
    ),
)
MACHINE_QUESTIONS: Final = (*_THE_WHOLE, *_THE_BLOWER)

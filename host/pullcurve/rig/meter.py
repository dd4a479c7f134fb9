"""The table [meter] of a rig file: the differential-pressure meter and where it stands."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Annotated, Any, Final, Literal

from pydantic import (
    Field,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticKnownError

from pullcurve.rig.fields import Bore, Length, RelativeUncertainty, Table, between

# For a tube that no standard covers and nobody calibrated: a judgement, not a standard.
DEFAULT_COEFFICIENT: Final[dict[str, str | float]] = {
    "discharge_coefficient": 0.97,
    "discharge_coefficient_uncertainty": "4 %",
    "discharge_coefficient_source": "none given: plastic tube outside any standard, by judgement",
}

# Where such a kind has no C stated, its standard's formula gives it.
_BY_STANDARD: Final = dict.fromkeys(DEFAULT_COEFFICIENT)

MeterKind = Literal[
    "venturi",
    "venturi_as_cast",
    "venturi_machined",
    "venturi_welded",
    "orifice",
    "nozzle_isa_1932",
    "nozzle_long_radius",
    "venturi_nozzle",
    "bellmouth",
    "conical_inlet",
]
# They draw from the open; their differential pressure is the room's less the throat's.
OPEN_INLETS: Final = frozenset({"bellmouth", "conical_inlet"})
Taps = Literal["corner", "flange", "d_and_half_d"]
Position = Literal["port", "hose_end", "clean_pipe"]
POSITION_WORDS: Final[dict[Position, str]] = {
    "port": "on the machine's port",
    "hose_end": "at the hose's end",
    "clean_pipe": "in the clean pipe",
}


def _for_kinds(fits: Callable[[str], bool], sentence: str, *, needed: bool) -> WrapValidator:
    """A key that some kinds of meter have, and of those that have it perhaps each must."""

    def check(value: Any, handler: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Any:
        kind = info.data.get("kind")
        absent = value is None or value == inf
        if kind is not None and absent and needed and fits(kind):
            raise PydanticKnownError("missing")
        if kind is not None and not absent and not fits(kind):
            raise ValueError(f"{sentence}: take this key out")
        return value if absent else handler(value)

    return WrapValidator(check)


def _in_pipe(kind: str) -> bool:
    return kind not in OPEN_INLETS


_NO_PIPE: Final = "this kind draws from the open and has no pipe ahead"


class Meter(Table):
    """The differential-pressure meter and where it stands.

    pipe_bore is infinite for an inlet that draws from the open: it has no pipe ahead. The
    three facts about C are all there, or None where C follows from the kind's own standard.
    inlet_loss means something for a pipe's end in open air only; elsewhere it is not used.
    """

    kind: MeterKind = Field(
        description='the kind of meter: "venturi" (a tube of plastic pipe, or any tube with a '
        'stated coefficient), "venturi_as_cast", "venturi_machined", "venturi_welded", '
        '"orifice", "nozzle_isa_1932", "nozzle_long_radius", "venturi_nozzle", "bellmouth" or '
        '"conical_inlet"'
    )
    taps: Annotated[
        Taps | None,
        _for_kinds(
            lambda kind: kind == "orifice",
            "of all kinds only an orifice plate has a choice of taps",
            needed=True,
        ),
    ] = Field(
        default=None,
        validate_default=True,
        description='where the orifice plate\'s pressures are taken: "corner", "flange" (1 in '
        'from its faces) or "d_and_half_d" (one bore ahead, half a bore behind)',
    )
    position: Position = Field(
        description='where the meter stands: "port" (open air, on the machine\'s port, hose off), '
        '"hose_end" (open air, far end of the hose) or "clean_pipe" (between filter and blower)'
    )
    pipe_bore: Annotated[
        Bore,
        _for_kinds(_in_pipe, _NO_PIPE, needed=True),
    ] = Field(
        default=inf,
        validate_default=True,
        description='the measured bore at the upstream tap, such as "5.693 in"',
    )
    throat_bore: Length = Field(
        description='the measured bore of the throat, or of the plate\'s hole, such as "3.870 in"'
    )
    bore_uncertainty: Length = Field(
        default=0.0002,
        description='how well each bore is known (95 %), such as "0.1 mm"; 0.2 mm where it is '
        "left out: inside caliper, mean of four diameters (judgement)",
    )
    straight_length: Annotated[
        Length | None,
        between(0.0, 50.0, "no plausible length of a straight pipe: 0 m to 50 m"),
        _for_kinds(_in_pipe, _NO_PIPE, needed=False),
    ] = Field(
        default=None,
        validate_default=True,
        description='straight pipe ahead of the upstream tap, such as "1.2 m"; taken as enough '
        "where it is left out",
    )
    straightener: Annotated[
        bool | None,
        _for_kinds(_in_pipe, _NO_PIPE, needed=False),
    ] = Field(
        default=None,
        validate_default=True,
        strict=True,
        description="true where a flow straightener (a nest of tubes, an egg crate) sits in the "
        "pipe ahead of the upstream tap, false where none does",
    )
    discharge_coefficient: float | None = Field(
        description="a number such as 0.984, with its uncertainty and source: all three, or none "
        "of them for what the kind's standard says (for a plastic tube, 0.97 and 4 %)"
    )
    discharge_coefficient_uncertainty: RelativeUncertainty | None = Field(
        description='relative, 95 %, such as "1.0 %"; it belongs to discharge_coefficient'
    )
    discharge_coefficient_source: str | None = Field(
        min_length=1,
        description="where the discharge coefficient comes from: the standard and its year, the "
        "certificate, the traverse and its date",
    )
    inlet_loss: Annotated[float, between(0.0, 5.0, "no plausible loss coefficient: 0 to 5")] = (
        Field(
            default=0.5,
            description="loss of the tube's inlet in velocity heads of its pipe, a number: 0.05 "
            "rounded, 0.5 flush, 1 or more with a straightener",
        )
    )
    inlet_loss_uncertainty: Annotated[
        float, between(0.0, 5.0, "no plausible uncertainty of a loss coefficient: 0 to 5")
    ] = Field(default=0.5, description="how well inlet_loss is known (95 %), a number such as 0.2")

    @property
    def beta(self) -> float:
        """Diameter ratio, throat to pipe; 0 for an inlet that draws from the open."""
        return self.throat_bore / self.pipe_bore

    @model_validator(mode="before")
    @classmethod
    def _coefficient_of_the_kind(cls, data: Any) -> Any:
        if isinstance(data, dict) and not DEFAULT_COEFFICIENT.keys() & data.keys():
            plastic = data.get("kind") == "venturi"
            return {**data, **(DEFAULT_COEFFICIENT if plastic else _BY_STANDARD)}
        return data

    @field_validator("position")
    @classmethod
    def _draws_from_the_open(cls, position: Position, info: ValidationInfo) -> Position:
        if position == "clean_pipe" and info.data.get("kind") in OPEN_INLETS:
            raise ValueError(
                f"a {info.data['kind'].replace('_', ' ')} draws from the open, so it stands on the "
                'port or at the hose\'s end: "port" or "hose_end"'
            )
        return position

    @field_validator("throat_bore")
    @classmethod
    def _throat_fits_pipe(cls, throat: float, info: ValidationInfo) -> float:
        if throat <= 0.0:
            raise ValueError("the throat's bore must be more than zero")
        pipe = info.data.get("pipe_bore")
        if pipe is None:
            return throat
        if pipe == inf:
            if not 0.02 <= throat <= 0.6:
                raise ValueError("no plausible bore of an inlet: 20 mm to 600 mm (0.8 to 24 in)")
            return throat
        if throat >= pipe:
            raise ValueError(
                f"the throat ({throat * 1000:.4g} mm) must be smaller than the pipe "
                f"({pipe * 1000:.4g} mm): are the two bores swapped?"
            )
        if not 0.2 <= throat / pipe <= 0.85:
            raise ValueError(
                f"throat over pipe is {throat / pipe:.3f}: a meter has 0.2 to 0.85; are both "
                "bores in the unit they were measured in?"
            )
        return throat

    @field_validator("bore_uncertainty")
    @classmethod
    def _bores_known(cls, uncertainty: float, info: ValidationInfo) -> float:
        throat = info.data.get("throat_bore")
        if uncertainty <= 0.0 or (throat is not None and uncertainty > 0.05 * throat):
            raise ValueError(
                f"{uncertainty * 1000:.4g} mm is no plausible uncertainty of a bore (95 %): more "
                "than zero, at most a twentieth of the throat"
            )
        return uncertainty

    @field_validator("discharge_coefficient")
    @classmethod
    def _plausible(cls, coefficient: float | None, info: ValidationInfo) -> float | None:
        low, high = (0.55, 0.85) if info.data.get("kind") == "orifice" else (0.8, 1.05)
        if coefficient is not None and not low <= coefficient <= high:
            raise ValueError(f"no plausible discharge coefficient: {low} to {high}")
        return coefficient

    @field_validator("inlet_loss", "inlet_loss_uncertainty")
    @classmethod
    def _inlet_in_open_air(cls, value: float, info: ValidationInfo) -> float:
        if info.data.get("position") == "clean_pipe":
            raise ValueError(
                "a meter in the clean pipe has no open inlet: take this key out, the pressure at "
                "its upstream tap is measured by meter_air"
            )
        if info.data.get("kind") in OPEN_INLETS:
            raise ValueError(
                f"a {info.data['kind'].replace('_', ' ')} has no pipe ahead that could lose "
                "anything: take this key out"
            )
        return value

"""The table [machine] of a rig file: engine, belt, blower, hose, filter, and what was promised."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, Final, Literal, get_args

import numpy as np
from pydantic import Field, model_validator

from pullcurve.quantities import to_si
from pullcurve.rig.fields import (
    Bore,
    Flow,
    Length,
    Pressure,
    RelativeUncertainty,
    Speed,
    Table,
    between,
    misfit,
    quantity,
)
from pullcurve.rig.rating import Rating

Wall = Literal["smooth", "corrugated", "unknown"]
Lobes = Literal[2, 3]
# The kinds that `physics.spoils` knows, in its order.
Spoil = Literal[
    "dust",
    "blasting dust",
    "moist dust",
    "cement",
    "fly ash",
    "fine granular",
    "dry sand",
    "dry grit",
    "garnet",
    "steel grit",
    "moist fines",
    "gravel",
    "clay lumps",
]
Count = Annotated[int, between(0, 50, "no plausible number in one hose: 0 to 50")]

# What a displacement is known to where its uncertainty is left out, at best (judgement).
SHARPEST_DISPLACEMENT: Final = 0.01
# Beyond these, two facts contradict each other (judgement).
_DISPLACEMENT_OFF: Final = 0.10  # of displacement against the sheet's flows
_MOST_SLIP_SHARE: Final = 0.6  # of the speed, at any figure of a sheet
_BROCHURE_ABOVE: Final = 1.5  # times what the blower displaces
_UPSIDE_DOWN: Final = (0.10, 0.02)  # speeds apart by more, and by less with the ratio's inverse


class Blower(Table):
    """The rotary-lobe blower, as its data sheet or plate describes it."""

    displacement: (
        Annotated[
            float,
            quantity("volume"),
            between(1e-4, 1.0, "no plausible displacement of one turn: 0.1 to 1000 L (35 ft3)"),
        ]
        | None
    ) = Field(
        default=None,
        description='the volume that one turn displaces, such as "0.565 ft3" or "16.0 L"',
    )
    displacement_uncertainty: RelativeUncertainty | None = Field(
        default=None,
        description='relative, 95 %, such as "1 %"; where it is left out, half of the last digit '
        "that is given, and 1 % at least",
    )
    rating: Rating | None = Field(
        default=None, description="the table [machine.blower.rating], the data sheet's figures"
    )

    @model_validator(mode="before")
    @classmethod
    def _uncertainty_by_the_digits(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        digits = re.search(r"[0-9]+(\.[0-9]*)?|\.[0-9]+", str(data.get("displacement", "")))
        if digits is None or "displacement_uncertainty" in data or float(digits[0]) == 0.0:
            return data
        last = 10.0 ** -len(digits[0].partition(".")[2])
        share = max(SHARPEST_DISPLACEMENT, min(0.30, 0.5 * last / float(digits[0])))
        return {**data, "displacement_uncertainty": f"{100 * share:.3g} %"}

    @model_validator(mode="after")
    def _sheet_fits_displacement(self) -> Blower:
        if self.displacement is None:
            if self.displacement_uncertainty is not None:
                raise misfit(
                    "there is no displacement that this could belong to", "displacement_uncertainty"
                )
            return self
        if self.rating is None:
            return self
        share = self.rating.inlet_flow_m3_s * 60 / (self.displacement * self.rating.speed_rpm)
        number = int(np.argmax(share))
        if share[number] > 1 + _DISPLACEMENT_OFF or share[number] < 1 - _MOST_SLIP_SHARE:
            speed, vacuum, flow = self.rating.rows[number]
            raise misfit(
                f"at {speed:g} rpm this displaces {self._displaced(speed)} "
                f"{self.rating.flow_unit}, and the data sheet has {flow:g} at {vacuum:g} "
                f"{self.rating.vacuum_unit}: no blower gives "
                f"{'more than' if share[number] > 1 else 'so little of what'} it displaces; are "
                "the units those of the sheet?",
                "displacement",
            )
        return self

    def _displaced(self, speed_rpm: float) -> str:
        flow = (self.displacement or 0.0) * speed_rpm / 60
        unit = self.rating.flow_unit if self.rating else "m3/s"
        return f"{flow / to_si(f'1 {unit}', 'volume_flow'):.4g}"


class HoseSegment(Table):
    """A piece of hose of one bore and one wall."""

    length: Annotated[
        Length, between(0.05, 500.0, "no plausible length of a hose: 5 cm to 500 m")
    ] = Field(description='of this piece, such as "70 ft"')
    bore: Bore = Field(description='inside, such as "5 in"')
    wall: Wall = Field(
        default="unknown", description='the inside: "smooth", "corrugated" or "unknown"'
    )
    bends: Count = Field(default=0, description="wide bends of 90 degrees, a whole number")
    elbows: Count = Field(default=0, description="sharp elbows of 90 degrees, a whole number")
    couplings: Count = Field(
        default=0, description="couplings within this piece and at its end, a whole number"
    )


class Filter(Table):
    """The filter between tank and clean pipe, when it was clean."""

    clean_loss: Annotated[
        Pressure, between(1.0, 30e3, "no plausible loss of a clean filter: 1 Pa to 30 kPa")
    ] = Field(description='pressure that the clean filter costs, such as "6 inH2O" or "1.5 kPa"')
    at_flow: Flow = Field(
        description='flow at the filter that it costs that at, such as "1300 cfm"'
    )


class Machine(Table):
    """What is known of the suction machine; all may be left out.

    Speeds are in rev/min. `hose` holds its pieces in the order of the air, from nozzle to port.
    """

    belt_ratio: (
        Annotated[
            float,
            between(0.2, 5.0, "no plausible belt ratio, blower turns per engine turn: 0.2 to 5"),
        ]
        | None
    ) = Field(default=None, description="blower turns per engine turn, a number such as 1.25")
    rated_speed_rpm: Speed | None = Field(
        default=None,
        alias="rated_speed",
        description='the blower\'s speed that the promised flow belongs to, such as "2750 rpm"',
    )
    governed_speed_rpm: Speed | None = Field(
        default=None,
        alias="governed_speed",
        description='the engine\'s speed at full throttle, by its governor, such as "2200 rpm"',
    )
    port_bore: Bore | None = Field(
        default=None, description='inside, of the machine\'s suction port, such as "5 in"'
    )
    relief_vacuum: (
        Annotated[
            Pressure, between(3e3, 100e3, "no plausible setting of a relief valve: 3 to 100 kPa")
        ]
        | None
    ) = Field(default=None, description='vacuum at which the relief valve opens, such as "12 inHg"')
    brochure_flow: Flow | None = Field(
        default=None, description='the flow that the machine was sold with, such as "1500 cfm"'
    )
    lobes: Lobes | None = Field(default=None, description="lobes of one rotor, 2 or 3")
    spoil: Spoil | None = Field(
        default=None,
        description=f"what is sucked up, the nearest of these: {', '.join(get_args(Spoil))}",
    )
    blower: Blower = Field(
        default_factory=lambda: Blower.model_validate({}), description="the table [machine.blower]"
    )
    hose: tuple[HoseSegment, ...] = Field(
        default=(),
        strict=False,
        description="tables [[machine.hose]], one a piece, from nozzle to port",
    )
    filter: Filter | None = Field(default=None, description="the table [machine.filter]")

    @model_validator(mode="after")
    def _facts_fit_together(self) -> Machine:
        for key, sentence in (*self._speeds(), *self._promise()):
            raise misfit(sentence, key)
        return self

    def _speeds(self) -> Iterator[tuple[str, str]]:
        ratio, rated, governed = self.belt_ratio, self.rated_speed_rpm, self.governed_speed_rpm
        if ratio is None or rated is None or governed is None:
            return
        apart, turned = (abs(governed * way / rated - 1) for way in (ratio, 1 / ratio))
        if apart > _UPSIDE_DOWN[0] and turned < _UPSIDE_DOWN[1]:
            yield (
                "belt_ratio",
                f"{ratio:.4g} makes {governed * ratio:.0f} rpm of the engine's {governed:.0f}, and "
                f"the rated speed is {rated:.0f}: the ratio is upside down; write {1 / ratio:.4g}, "
                "blower turns to one turn of the engine (or leave governed_speed out)",
            )

    def _promise(self) -> Iterator[tuple[str, str]]:
        displaced = self.displaced_at_rated_speed
        if displaced is None or self.brochure_flow is None:
            return
        if self.brochure_flow > _BROCHURE_ABOVE * displaced:
            yield (
                "brochure_flow",
                f"this is {self.brochure_flow / displaced:.1f} times what the blower displaces at "
                f"its rated speed, {displaced / to_si('1 cfm', 'volume_flow'):.0f} cfm: are its "
                "unit and the displacement right?",
            )

    @property
    def displaced_at_rated_speed(self) -> float | None:
        """What the blower would move at its rated speed without any slip, m3/s; None where the
        rig does not say."""
        if self.rated_speed_rpm is None or self.blower.displacement is None:
            return None
        return self.rated_speed_rpm / 60 * self.blower.displacement

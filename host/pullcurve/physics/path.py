"""The air's path from the nozzle to the blower, and where blower and path agree.

A path is a sequence of steps in the order of the air. `Place` marks a station whose state is
wanted; the other steps change the pressure or let air in. Fields of steps may be arrays: they
broadcast, so that thousands of machines are solved at once.

The solver goes against the air: the blower's inlet pressure gives the blower's intake, and
each step then the pressure and flow ahead of it; the right inlet pressure is the one that ends
in the open air. A step's pressure rises with flow and inlet pressure, so there is one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple, Protocol, Self, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import air, blower, hose
from pullcurve.physics.air import Array, Values

_LEAST_INLET: Final = 1e-6  # of the open air's pressure
_TOLERANCE: Final = 1e-12  # of the bracket
_CLOSED: Final = 1e-7  # of the open air's pressure: what the ends must agree to
_MOST_PASSES: Final = 100
_MOST_DOUBLINGS: Final = 60
_OUTLET_PASSES: Final = 6


@dataclass(frozen=True, eq=False)
class OpenAir:
    """The air around the machine; the path is taken to keep its temperature."""

    pressure: Values  # Pa
    temperature: Values  # K
    rt: Values  # p / rho, J/kg
    viscosity: Values  # Pa s
    mass_ratio: Values = 1.0  # density over that of dry air

    @classmethod
    def moist(cls, pressure: Values, temperature: Values, vapour: Values = 0.0) -> Self:
        """Of a pressure, a temperature and a mole fraction of water vapour."""
        rho = air.density(pressure, temperature, vapour)
        return cls(
            pressure=pressure,
            temperature=temperature,
            rt=pressure / rho,
            viscosity=air.viscosity(temperature),
            mass_ratio=rho / air.density(pressure, temperature, 0.0),
        )


class Upstream(NamedTuple):
    """What stands ahead of a step."""

    pressure: Array
    mass_flow: Array
    choked: NDArray[np.bool_] | bool = False


class Step(Protocol):
    """One thing on the path."""

    def before(self, pressure: Array, mass_flow: Array, outside: OpenAir) -> Upstream:
        """Pressure and flow ahead of it, from those behind it."""


Path: TypeAlias = Sequence[Step]


@dataclass(frozen=True, eq=False)
class Place:
    """A station: nozzle, hose, port, tank, filter, clean pipe. Without a bore, no velocity."""

    name: str
    bore: Values = np.inf

    def before(self, pressure: Array, mass_flow: Array, _outside: OpenAir) -> Upstream:
        """The same: a place does nothing."""
        return Upstream(pressure, mass_flow)


@dataclass(frozen=True, eq=False)
class Loss:
    """Fittings, a plate, a meter: K on a bore."""

    loss: Values
    bore: Values

    def before(self, pressure: Array, mass_flow: Array, outside: OpenAir) -> Upstream:
        """As `hose.pressure_before`, with the limit of `hose.sonic_pressure`."""
        bore_area, rt = hose.area(self.bore), outside.rt
        least = hose.sonic_pressure(mass_flow, bore_area, rt)
        ahead = hose.pressure_before(
            np.maximum(pressure, least), mass_flow, self.loss / bore_area**2, rt
        )
        return Upstream(ahead, mass_flow, least > pressure)


@dataclass(frozen=True, eq=False)
class Hose:
    """A length of one bore; friction: f if known, else by the roughness. loss: its fittings' K."""

    length: Values
    bore: Values
    friction: Values | None = None
    roughness: Values = hose.SMOOTH_ROUGHNESS
    loss: Values = 0.0

    def before(self, pressure: Array, mass_flow: Array, outside: OpenAir) -> Upstream:
        """As `hose.hose_pressure_before`."""
        bore_area, rt = hose.area(self.bore), outside.rt
        friction = self.friction
        if friction is None:
            reynolds = np.abs(mass_flow) / bore_area * self.bore / outside.viscosity
            friction = hose.friction_factor(reynolds, self.roughness / self.bore)
        loss = friction * self.length / self.bore + self.loss
        ahead = hose.hose_pressure_before(pressure, mass_flow, loss, self.bore, rt)
        return Upstream(ahead, mass_flow, hose.is_choked(pressure, mass_flow, bore_area, rt))


@dataclass(frozen=True, eq=False)
class Filter:
    """A filter: resistance in Pa s/m³ on the local flow, and a square part K/A² in 1/m⁴."""

    resistance: Values
    term: Values = 0.0

    def before(self, pressure: Array, mass_flow: Array, outside: OpenAir) -> Upstream:
        """As `hose.pressure_before`."""
        ahead = hose.pressure_before(pressure, mass_flow, self.term, outside.rt, self.resistance)
        return Upstream(ahead, mass_flow)


@dataclass(frozen=True, eq=False)
class Leak:
    """Air that comes in unasked, through an effective area in m²."""

    area: Values

    def before(self, pressure: Array, mass_flow: Array, outside: OpenAir) -> Upstream:
        """The flow ahead of it is less by `hose.leak_flow`."""
        leak = hose.leak_flow(self.area, outside.pressure, pressure, outside.rt)
        return Upstream(pressure, mass_flow - leak)


@dataclass(frozen=True, eq=False)
class Relief:
    """A relief valve: vacuum in Pa at which it opens, and kg/s per Pa beyond."""

    setting: Values
    slope: Values

    def before(self, pressure: Array, mass_flow: Array, outside: OpenAir) -> Upstream:
        """The flow ahead of it is less by `hose.relief_flow`."""
        let_in = hose.relief_flow(self.setting, self.slope, outside.pressure, pressure)
        return Upstream(pressure, mass_flow - let_in)


@dataclass(frozen=True, eq=False)
class Blower:
    """A blower as it is: displacement m³ a turn, slip rev/min at 1 psi, laminar share of that.

    outlet_loss: what the silencer costs, Pa per (kg/s)².
    """

    displacement: Values
    slip_rpm_at_1_psi: Values
    laminar_share: Values = 0.0
    outlet_loss: Values = 0.0

    def slip(self, inlet_pressure: Array, outlet_pressure: Values, outside: OpenAir) -> Array:
        """Slip in rev/min between two pressures."""
        return self.slip_rpm_at_1_psi * blower.slip_multiple(
            inlet_pressure,
            outlet_pressure,
            outside.temperature,
            outside.mass_ratio,
            self.laminar_share,
        )

    def intake(
        self, inlet_pressure: Array, speed_rpm: Values, outside: OpenAir
    ) -> tuple[Array, Array]:
        """Mass flow in kg/s that it takes in at an inlet pressure, and the outlet's pressure."""
        density = inlet_pressure / outside.rt
        outlet: Array = np.asarray(outside.pressure, dtype=np.float64)
        # The silencer's loss changes slip, and slip the loss, by some thousandths a pass.
        for _ in range(_OUTLET_PASSES if np.any(self.outlet_loss) else 1):
            slip = self.slip(inlet_pressure, outlet, outside)
            mass_flow = density * blower.inlet_flow(self.displacement, speed_rpm, slip)
            outlet = outside.pressure + self.outlet_loss * np.square(np.maximum(mass_flow, 0.0))
        return mass_flow, outlet


@dataclass(frozen=True, eq=False)
class Station:
    """The air at a place; arrays. The velocity is 0 where the place has no bore."""

    pressure: Array  # Pa
    vacuum: Array  # Pa
    mass_flow: Array  # kg/s
    volume_flow: Array  # m³/s at the pressure there
    velocity: Array  # m/s


@dataclass(frozen=True, eq=False)
class Solution:
    """What a path passes; arrays of one shape.

    choked: somewhere a bore's end runs at the speed of sound, and more vacuum behind it gives
    no more flow. Where `solved` is False there is no answer, and the figures are NaN.
    """

    stations: dict[str, Station]  # by the names of the path's places
    inlet_pressure: Array  # Pa, at the blower
    intake: Array  # kg/s, of the blower
    choked: NDArray[np.bool_]
    solved: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class OperatingPoint(Solution):
    """Where blower and path agree."""

    outlet_pressure: Array  # Pa
    slip_rpm: Array
    temperature_rise: Array  # K, without heat lost by the casing; infinite if nothing passes


def operating_point(
    path: Path, machine: Blower, speed_rpm: Values, outside: OpenAir
) -> OperatingPoint:
    """The flow at which the path costs what the blower gives, by its speed in rev/min.

    'What would I have with 30 m of 100 mm?' is the same call with another hose in the path.
    """
    p0 = np.asarray(outside.pressure, dtype=np.float64)

    def misses(inlet: Array) -> Array:
        return _ahead(path, inlet, machine.intake(inlet, speed_rpm, outside)[0], outside) - p0

    shape = np.shape(misses(p0))
    high = np.broadcast_to(p0, shape)
    inlet = _root(misses, _LEAST_INLET * high, high)
    intake, outlet = machine.intake(inlet, speed_rpm, outside)
    found = _solution(path, inlet, intake, outside)
    slip = machine.slip(inlet, outlet, outside)
    efficiency = blower.volumetric_efficiency(np.where(speed_rpm == 0, np.nan, speed_rpm), slip)
    rise = blower.temperature_rise(outlet / inlet, outside.temperature, efficiency)
    outlet, slip, rise = (np.where(found.solved, value, np.nan) for value in (outlet, slip, rise))
    return OperatingPoint(
        stations=found.stations,
        inlet_pressure=found.inlet_pressure,
        intake=found.intake,
        choked=found.choked,
        solved=found.solved,
        outlet_pressure=outlet,
        slip_rpm=slip,
        temperature_rise=rise,
    )


def flow_at(path: Path, inlet_pressure: Values, outside: OpenAir) -> Solution:
    """What the path passes at a pressure in Pa at its end, whatever draws there."""
    p0 = np.asarray(outside.pressure, dtype=np.float64)
    p1 = np.asarray(inlet_pressure, dtype=np.float64)

    def misses(flow: Array) -> Array:
        return _ahead(path, p1, flow, outside) - p0

    shape = np.shape(misses(np.zeros(())))
    low, high = np.zeros(shape), np.full(shape, 0.1)
    for _ in range(_MOST_DOUBLINGS):
        short = misses(high) < 0
        if not short.any():
            break
        high = np.where(short, 2 * high, high)
    return _solution(path, np.broadcast_to(p1, shape), _root(misses, low, high), outside)


def _ahead(path: Path, inlet: Array, intake: Array, outside: OpenAir) -> Array:
    pressure, flow = inlet, intake
    for step in reversed(path):
        pressure, flow, _ = step.before(pressure, flow, outside)
    return pressure


def _solution(path: Path, inlet: Array, intake: Array, outside: OpenAir) -> Solution:
    """Go the path once more and keep what stands at its places."""
    pressure, flow = inlet, intake
    choked: NDArray[np.bool_] | bool = False
    places: list[tuple[Place, Array, Array]] = []
    for step in reversed(path):
        if isinstance(step, Place):
            places.append((step, pressure, flow))
        pressure, flow, here = step.before(pressure, flow, outside)
        choked = np.logical_or(choked, here)
    p0 = np.asarray(outside.pressure, dtype=np.float64)
    solved = np.abs(pressure - p0) <= _CLOSED * p0

    def station(place: Place, at: Array, passing: Array) -> Station:
        volume = passing * outside.rt / at
        values = (at, p0 - at, passing, volume, volume / hose.area(place.bore))
        return Station(*(np.where(solved, value, np.nan) for value in values))

    return Solution(
        stations={place.name: station(place, at, passing) for place, at, passing in places[::-1]},
        inlet_pressure=np.where(solved, inlet, np.nan),
        intake=np.where(solved, intake, np.nan),
        choked=np.broadcast_to(choked, solved.shape) & solved,
        solved=solved,
    )


def _root(function: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Where a rising function is zero, of every element at once.

    Regula falsi of Anderson and Björck (BIT 13, 1973, 253-264), which keeps the bracket and
    halves the weight of an end that does not move. An element without a sign change or with a NaN
    ends somewhere: the caller looks.
    """
    a, b = low, high
    fa, fb = function(a), function(b)
    wide = np.abs(high - low)
    for _ in range(_MOST_PASSES):
        with np.errstate(invalid="ignore", divide="ignore"):
            c = np.where(fb == fa, (a + b) / 2, b - fb * (b - a) / (fb - fa))
        c = np.clip(c, np.minimum(a, b), np.maximum(a, b))
        fc = function(c)
        crossed = np.sign(fc) * np.sign(fb) < 0
        with np.errstate(invalid="ignore", divide="ignore"):
            weight = 1 - fc / fb
        weight = np.where(weight > 0, weight, 0.5)
        a, fa = np.where(crossed, b, a), np.where(crossed, fb, fa * weight)
        moved, b, fb = np.abs(c - b), c, fc
        busy = (moved > _TOLERANCE * wide) & (np.abs(b - a) > _TOLERANCE * wide) & (fb != 0)
        if not busy.any():
            break
    return b

"""Flow at the settled points, with its uncertainty.

What is known goes into named inputs (`uncertainty`), each with how far one error of it
reaches; one model turns them into mass flow and the flows that follow from it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pullcurve.measure import meter as the_meter
from pullcurve.measure.air_state import Surroundings
from pullcurve.measure.inputs import LOSSES, PRESSURE, VACUUM, FlowInput, FlowResult, Source
from pullcurve.physics import air
from pullcurve.physics.flow_equation import MeterState
from pullcurve.rig.models import Rig
from pullcurve.rig.sensor_parts import DifferentialPressureAccuracy
from pullcurve.uncertainty import Input, Reach, expanded, propagate, rectangular

Array = NDArray[np.float64]
Values = Mapping[Source, Array]

# Where no sensor tells the pressure at the port or the blower's inlet: losses behind the
# meter's upstream tap in velocity heads of its pipe, with their standard uncertainty
# (judgement). A hose: f L / D + 1.4 has a median of 6 for 15 m of 100 mm with f = 0.03, and a
# factor of 1.8 for what is not known of the three: the mean and deviation of that lognormal
# distribution. The machine behind it comes on top, and so does the tube's own loss.
HEADS = {
    ("port", "inlet"): (4.5, 2.0),
    ("hose_end", "port"): (7.1, 4.6),
    ("hose_end", "inlet"): (11.6, 5.0),
    ("clean_pipe", "inlet"): (0.75, 0.43),
}
WARMING_K = 3.0  # of the air on its way through tank and pipes, either way (judgement)


@dataclass(frozen=True)
class Pressure:
    """Differential pressure of the points, zero taken off, and what is uncertain about it."""

    mean: Array  # Pa
    scatter: Array  # standard uncertainty of the mean from the data itself, Pa
    scatter_freedom: int  # its degrees of freedom
    pulsation: Array  # E: what the root of the mean is too high by, relative
    pulsation_u: Array  # its standard uncertainty
    aliasing_u: Array  # relative standard uncertainty of the mean from readings in step
    zero_half_width: Array | float  # Pa
    span: float  # Pa
    accuracy: DifferentialPressureAccuracy
    offset: Array | float = 0.0  # of water in a line, to be taken off, Pa
    offset_u: Array | float = 0.0  # its standard uncertainty, Pa
    straightness_u95: float = 0.0  # of a flow that may swirl, relative


@dataclass(frozen=True)
class Volume:
    """Volume flow at a place, m3/s, and whether the air's state there was measured."""

    result: FlowResult
    basis: Literal["measured", "modelled"]
    pressure: Array  # absolute, Pa


@dataclass(frozen=True)
class Flows:
    """Results at every point."""

    state: MeterState
    mass: FlowResult  # kg/s
    standard: FlowResult  # m3/s, at STANDARD_CONDITIONS
    tap: Volume  # at the meter's upstream tap
    port: Volume  # at the machine's port; for a meter on the port at the state of the open air
    inlet: Volume  # the metered mass at the state of the air at the blower's inlet
    differential_pressure: FlowResult  # Pa


def solve(pressure: Pressure, around: Surroundings, rig: Rig) -> Flows:
    """Flow at every point, with its uncertainty."""
    model = _Model(rig, around)
    inputs = _all_inputs(pressure, around, rig)
    estimates = _estimates(inputs)

    def result(output: Callable[[MeterState, Values], Array]) -> FlowResult:
        return propagate(lambda x: output(model.state(x), x), inputs)

    def volume(place: str, basis: Literal["measured", "modelled"]) -> Volume:
        at = getattr(model, place)
        return Volume(
            result(lambda s, x: s.mass_flow / model.density(place, s, x)),
            basis,
            at(model.state(estimates), estimates)[0],
        )

    state = model.state(estimates)
    on_port = rig.meter.position == "port"
    return Flows(
        state=_row(state),
        mass=result(lambda s, _: s.mass_flow),
        standard=result(lambda s, _: np.asarray(air.standard_flow(s.mass_flow))),
        tap=Volume(
            result(lambda s, x: s.mass_flow / (s.density * x[Source.DENSITY_FORMULA])),
            "measured",
            state.pressure[0],
        ),
        port=volume("port", "measured" if on_port else "modelled"),
        inlet=volume("inlet", "measured" if "inlet" in around.places else "modelled"),
        differential_pressure=result(lambda _, x: _differential_pressure(x)),
    )


def standard_flow(pressure: Pressure, around: Surroundings, rig: Rig) -> Array:
    """The standard flow of `solve` alone, without its uncertainty: fast."""
    x = _estimates(_all_inputs(pressure, around, rig))
    return np.asarray(air.standard_flow(_Model(rig, around).state(x).mass_flow[0]))


def _all_inputs(pressure: Pressure, around: Surroundings, rig: Rig) -> list[FlowInput]:
    inputs = _inputs(pressure, around, rig)
    state = _Model(rig, around).state(_estimates(inputs))
    return inputs + the_meter.formula_inputs(rig.meter, _row(state))


def _row(state: MeterState) -> MeterState:
    """The first row of a state of shape (rows, points)."""
    return MeterState(*(np.asarray(getattr(state, f))[0] for f in state.__dataclass_fields__))


def _estimates(inputs: list[FlowInput]) -> dict[Source, Array]:
    values = np.broadcast_arrays(*(np.atleast_2d(entry.value) for entry in inputs))
    return {entry.name: value for entry, value in zip(inputs, values, strict=True)}


def _differential_pressure(x: Values) -> Array:
    zeroed = x[Source.DIFFERENTIAL_PRESSURE] - x[Source.SENSOR_ZERO] + x[Source.SENSOR_LINEARITY]
    zeroed = zeroed - x[Source.WATER_IN_LINE]
    return zeroed * x[Source.SENSOR_GAIN] * x[Source.ALIASING]


class _Model:
    """From inputs to the state at the meter and to the pressures along the machine."""

    def __init__(self, rig: Rig, around: Surroundings) -> None:
        self._meter = rig.meter
        self._position = rig.meter.position
        self._places = around.places

    def state(self, x: Values) -> MeterState:
        vapour = self._vapour(x)
        if self._position == "clean_pipe":
            x = {**x, Source.AIR_TEMPERATURE: x[Source.AIR_TEMPERATURE] + x[Source.WARMING]}
        state = the_meter.solve(
            self._meter,
            x,
            _differential_pressure(x),
            vapour=vapour,
            tap_pressure=self._measured("tap", x) if "tap" in self._places else None,
        )
        # Mass goes with the root of the density.
        factor = np.sqrt(x[Source.DENSITY_FORMULA]) / (1 + x[Source.PULSATION])
        factor = factor * x[Source.SWIRL] * x.get(Source.EXPANSIBILITY_FORMULA, 1.0)
        values = {name: getattr(state, name) for name in state.__dataclass_fields__}
        return MeterState(**(values | {"mass_flow": state.mass_flow * factor}))

    def _measured(self, place: str, x: Values) -> Array:
        if self._places[place].compared:
            return x[Source.STATION_PRESSURE] - x[VACUUM[place]]
        return x[PRESSURE[place]]

    def port(self, state: MeterState, x: Values) -> Array:
        """Absolute pressure at the port."""
        if self._position == "port":
            return x[Source.STATION_PRESSURE]
        if "port" in self._places:
            return self._measured("port", x)
        if self._position == "clean_pipe":  # somewhere between the open air and the meter
            return state.pressure + x[Source.SHARE_PORT] * (
                x[Source.STATION_PRESSURE] - state.pressure
            )
        return self._behind("port", state, x)

    def inlet(self, state: MeterState, x: Values) -> Array:
        """Absolute pressure at the blower's inlet."""
        return (
            self._measured("inlet", x)
            if "inlet" in self._places
            else self._behind("inlet", state, x)
        )

    def _behind(self, place: str, state: MeterState, x: Values) -> Array:
        area = np.pi / 4 * the_meter.bore_behind(x) ** 2
        head = (state.mass_flow / area) ** 2 / (2 * state.density)
        loss = x[Source.METER_LOSS] * np.abs(_differential_pressure(x))
        pressure = state.pressure - loss - x[LOSSES[place]] * head
        return np.maximum(pressure, 0.2 * x[Source.STATION_PRESSURE])

    @staticmethod
    def _vapour(x: Values) -> Array:
        return air.vapour_fraction(
            x[Source.STATION_PRESSURE], x[Source.AIR_TEMPERATURE], np.clip(x[Source.HUMIDITY], 0, 1)
        )

    def density(self, place: str, state: MeterState, x: Values) -> Array:
        """At the port of an open-port run that of the open air, else of air that may have
        warmed or cooled on its way."""
        temperature = x[Source.AIR_TEMPERATURE]
        if not (place == "port" and self._position == "port"):
            temperature = temperature + x[Source.WARMING]
        pressure = self.port(state, x) if place == "port" else self.inlet(state, x)
        return air.density(pressure, temperature, self._vapour(x)) * x[Source.DENSITY_FORMULA]


def _inputs(pressure: Pressure, around: Surroundings, rig: Rig) -> list[FlowInput]:
    accuracy = pressure.accuracy
    density_u = air.density_uncertainty(around.pressure.value, around.temperature.value)
    return [
        *the_meter.meter_inputs(rig.meter),
        Input(
            Source.DIFFERENTIAL_PRESSURE,
            pressure.mean,
            pressure.scatter,
            degrees_of_freedom=pressure.scatter_freedom,
        ),
        rectangular(Source.SENSOR_ZERO, 0.0, pressure.zero_half_width, Reach.RUN),
        Input(Source.WATER_IN_LINE, pressure.offset, pressure.offset_u, Reach.RUN),
        rectangular(Source.SENSOR_GAIN, 1.0, accuracy.gain_bound, Reach.METER),
        rectangular(Source.SENSOR_LINEARITY, 0.0, accuracy.nonlinearity * pressure.span, Reach.RUN),
        expanded(Source.SWIRL, 1.0, pressure.straightness_u95, Reach.METER),
        Input(Source.PULSATION, pressure.pulsation, pressure.pulsation_u, Reach.RUN),
        Input(Source.ALIASING, 1.0, pressure.aliasing_u),
        rectangular(
            Source.STATION_PRESSURE, around.pressure.value, around.pressure.half_width, Reach.RUN
        ),
        rectangular(
            Source.AIR_TEMPERATURE,
            around.temperature.value,
            around.temperature.half_width,
            Reach.RUN,
        ),
        rectangular(Source.HUMIDITY, around.humidity.value, around.humidity.half_width, Reach.RUN),
        Input(Source.DENSITY_FORMULA, 1.0, np.nan_to_num(density_u, nan=1e-3), Reach.METER),
        Input(
            Source.ISENTROPIC_EXPONENT,
            air.ISENTROPIC_EXPONENT,
            air.ISENTROPIC_EXPONENT_UNCERTAINTY,
            Reach.METER,
        ),
        rectangular(Source.WARMING, 0.0, WARMING_K, Reach.RUN),
        *_place_inputs(around, rig),
    ]


def _place_inputs(around: Surroundings, rig: Rig) -> list[FlowInput]:
    meter = rig.meter
    least_loss, greatest_loss = the_meter.pressure_loss(meter)
    found = [
        rectangular(
            Source.METER_LOSS,
            (least_loss + greatest_loss) / 2,
            (greatest_loss - least_loss) / 2,
            Reach.METER,
        )
    ]
    for name, place in around.places.items():
        if place.compared:
            vacuum = around.pressure.value - place.pressure
            found.append(rectangular(VACUUM[name], vacuum, place.half_width, Reach.RUN))
        else:
            found.append(rectangular(PRESSURE[name], place.pressure, place.half_width, Reach.RUN))
    found += [
        Input(LOSSES[name], *HEADS[meter.position, name], Reach.RUN)
        for name in ("port", "inlet")
        if name not in around.places and (meter.position, name) in HEADS
    ]
    if meter.position == "clean_pipe" and "port" not in around.places:
        found.append(rectangular(Source.SHARE_PORT, 0.5, 0.5, Reach.RUN))
    return found

"""Flow at the settled points, with its uncertainty.

What is known goes into named inputs (`uncertainty`), each with how far one error of it
reaches; one model turns them into mass flow and the flows that follow from it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pullcurve.physics import air
from pullcurve.physics.venturi import (
    MeterState,
    VenturiTube,
    expansibility_uncertainty,
    solve_in_line,
    solve_open_inlet,
)
from pullcurve.rig.models import DEFAULT_COEFFICIENT, Rig
from pullcurve.rig.sensor_parts import DifferentialPressureAccuracy
from pullcurve.uncertainty import Input, Reach, Result, expanded, propagate, rectangular

Array = NDArray[np.float64]

# Below a pipe Reynolds number of 2e5 a tube's stated C may fall by 0 to 1.2 % per halving
# (judgement, from the trend of ISO 5167-4:2003, annex B): half of it is corrected for.
FALL_PER_HALVING = 0.006
# A tube outside any standard is taken as it is, with a slope of its own: 1 % (95 %) over the
# 2.6 halvings from 3e5 to 5e4 (judgement).
FALL_UNKNOWN_U95 = 0.004
# What pulsation may hide behind a lagging line, and how good its correction is (judgement).
PULSATION_FLOOR = 0.002


@dataclass(frozen=True)
class Air:
    """State of the air a point breathes, an array entry a point, and how well it is known.

    `pressure` is the station pressure. The pressures at the tap, the blower's inlet and the
    port are NaN where nothing measured them. The bounds are half-widths of rectangular
    distributions.
    """

    pressure: Array
    temperature: Array
    humidity: Array
    tap_pressure: Array
    inlet_pressure: Array
    port_pressure: Array
    pressure_bound: float
    temperature_bound: float
    humidity_bound: float
    tap_pressure_bound: float | Array
    inlet_pressure_bound: float | Array
    port_pressure_bound: float


@dataclass(frozen=True)
class Pressure:
    """Differential pressure of the points, zero taken off, and what is uncertain about it."""

    mean: Array  # Pa
    scatter: Array  # standard uncertainty of the mean from the data itself, Pa
    pulsation: Array  # E: what sqrt(mean) is too high by, relative
    zero_half_width: float  # Pa
    span: float  # Pa
    accuracy: DifferentialPressureAccuracy


@dataclass(frozen=True)
class Flows:
    """Results at every point. `port` and `inlet` are None where no reading gives them."""

    state: MeterState
    mass: Result  # kg/s
    tap: Result  # m3/s, at the meter's upstream tap
    port: Result | None  # m3/s, at the machine's port
    standard: Result  # m3/s, at STANDARD_CONDITIONS
    inlet: Result | None  # m3/s, at the state of the air at the blower's inlet
    differential_pressure: Result  # Pa


def pulsation_error(ratio: Array) -> Array:
    """By how much the root of a mean differential pressure is too high, relative.

    ratio: standard deviation of the differential pressure over its mean, the sensor's own
    noise taken off; values above 1 count as 1. E = [0.5 (1 + sqrt(1 - R^2))]^-1/2 - 1.
    Source: ISO/TR 3313:2018 (form from memory); exact for a symmetric wave, 0.1249 % against
    0.1250 % at a flow pulsation of 5 % (standard deviation).
    """
    root = np.sqrt(1 - np.minimum(ratio, 1) ** 2)
    return np.asarray((0.5 * (1 + root)) ** -0.5 - 1)


def solve(pressure: Pressure, surrounding: Air, rig: Rig) -> Flows:
    """Flow at every point, with its uncertainty."""
    model = _Model(rig, np.isfinite(surrounding.tap_pressure))
    inputs = _inputs(pressure, surrounding, rig)
    first = model.state({entry.name: np.atleast_2d(entry.value) for entry in inputs})
    inputs.append(
        # ISO 5167-4:2003, 5.7 (uncertainty of the expansibility), k = 2
        Input(
            "expansibility formula",
            np.ones(len(pressure.mean)),
            expansibility_uncertainty(pressure.mean, first.pressure[0], rig.meter.beta) / 2,
            Reach.METER,
        )
    )

    def result(output: Callable[[MeterState, Mapping[str, Array]], Array]) -> Result:
        return propagate(lambda x: output(model.state(x), x), inputs)

    def at(place: str) -> Result | None:
        if all(entry.name != place for entry in inputs):
            return None
        return result(lambda s, x: s.mass_flow / _density(x[place], x))

    return Flows(
        state=MeterState(*(np.asarray(getattr(first, f))[0] for f in first.__dataclass_fields__)),
        mass=result(lambda s, _: s.mass_flow),
        tap=result(lambda s, _: s.mass_flow / s.density),
        port=at("station pressure" if rig.meter.position == "port" else "port pressure"),
        standard=result(lambda s, _: np.asarray(air.standard_flow(s.mass_flow))),
        inlet=at("inlet pressure"),
        differential_pressure=result(lambda _, x: _differential_pressure(x)),
    )


def _density(pressure: Array, x: Mapping[str, Array]) -> Array:
    vapour = air.vapour_fraction(
        x["station pressure"], x["air temperature"], np.clip(x["humidity"], 0, 1)
    )
    return air.density(pressure, x["air temperature"], vapour)


def _differential_pressure(x: Mapping[str, Array]) -> Array:
    return (x["differential pressure"] - x["sensor zero"] + x["sensor linearity"]) * x[
        "sensor gain"
    ]


class _Model:
    """From inputs to the state at the meter, in the way that the meter's position asks for."""

    def __init__(self, rig: Rig, tap_measured: NDArray[np.bool_]) -> None:
        self._in_line = rig.meter.position == "clean_pipe" or bool(tap_measured.all())

    def state(self, x: Mapping[str, Array]) -> MeterState:
        tube = VenturiTube(
            x["pipe bore"], x["throat bore"], x["discharge coefficient"], x["fall of C"]
        )
        vapour = air.vapour_fraction(
            x["station pressure"], x["air temperature"], np.clip(x["humidity"], 0, 1)
        )
        differential = _differential_pressure(x)
        if self._in_line:
            state = self._from_tap(tube, differential, vapour, x)
        else:
            state = solve_open_inlet(
                tube,
                differential,
                ambient_pressure=x["station pressure"],
                ambient_temperature=x["air temperature"],
                vapour=vapour,
                inlet_loss=x["inlet loss"],
                isentropic_exponent=x["isentropic exponent"],
            )
        factor = x.get("expansibility formula", 1.0) * x["density formula"] / (1 + x["pulsation"])
        return MeterState(
            **{
                name: getattr(state, name)
                for name in state.__dataclass_fields__
                if name != "mass_flow"
            },
            mass_flow=state.mass_flow * factor,
        )

    @staticmethod
    def _from_tap(
        tube: VenturiTube, differential: Array, vapour: Array, x: Mapping[str, Array]
    ) -> MeterState:
        """The pressure at the tap is measured; the air, drawn from the open without heat, has
        cooled by V1^2 / (2 cp) on its way there."""
        cooled: Array | float = 0.0
        for _ in range(2):
            state = solve_in_line(
                tube,
                differential,
                pressure=x["tap pressure"],
                temperature=x["air temperature"] - cooled,
                vapour=vapour,
                isentropic_exponent=x["isentropic exponent"],
            )
            area = np.pi / 4 * np.asarray(tube.pipe_bore) ** 2
            cooled = (state.mass_flow / (state.density * area)) ** 2 / (2 * air.HEAT_CAPACITY)
        return state


def _inputs(pressure: Pressure, surrounding: Air, rig: Rig) -> list[Input]:
    points = len(pressure.mean)
    ones = np.ones(points)
    meter = rig.meter
    stated = (
        meter.discharge_coefficient_source != DEFAULT_COEFFICIENT["discharge_coefficient_source"]
    )
    coefficient = meter.discharge_coefficient * ones
    if stated:
        fall = rectangular("fall of C", FALL_PER_HALVING * ones, FALL_PER_HALVING, Reach.METER)
    else:
        fall = expanded("fall of C", 0.0 * ones, FALL_UNKNOWN_U95, Reach.METER)
    density_u = air.density_uncertainty(surrounding.pressure, surrounding.temperature)
    accuracy = pressure.accuracy
    inputs = [
        expanded(
            "discharge coefficient",
            coefficient,
            coefficient * meter.discharge_coefficient_uncertainty,
            Reach.METER,
        ),
        fall,
        expanded("pipe bore", meter.pipe_bore * ones, meter.bore_uncertainty, Reach.METER),
        expanded("throat bore", meter.throat_bore * ones, meter.bore_uncertainty, Reach.METER),
        Input("differential pressure", pressure.mean, pressure.scatter),
        rectangular("sensor zero", 0.0 * ones, pressure.zero_half_width, Reach.RUN),
        rectangular("sensor gain", ones, accuracy.gain_bound, Reach.METER),
        rectangular("sensor linearity", 0.0 * ones, accuracy.nonlinearity * pressure.span),
        rectangular(
            "pulsation",
            pressure.pulsation,
            np.maximum(PULSATION_FLOOR, pressure.pulsation),
        ),
        rectangular(
            "station pressure", surrounding.pressure, surrounding.pressure_bound, Reach.RUN
        ),
        rectangular(
            "air temperature", surrounding.temperature, surrounding.temperature_bound, Reach.RUN
        ),
        rectangular("humidity", surrounding.humidity, surrounding.humidity_bound, Reach.RUN),
        Input("density formula", ones, np.nan_to_num(density_u, nan=1e-3), Reach.METER),
        Input(
            "isentropic exponent",
            air.ISENTROPIC_EXPONENT * ones,
            air.ISENTROPIC_EXPONENT_UNCERTAINTY,
            Reach.METER,
        ),
    ]
    places = [
        ("tap pressure", surrounding.tap_pressure, surrounding.tap_pressure_bound),
        ("inlet pressure", surrounding.inlet_pressure, surrounding.inlet_pressure_bound),
        ("port pressure", surrounding.port_pressure, surrounding.port_pressure_bound),
    ]
    inputs.extend(
        rectangular(name, value, bound, Reach.RUN)
        for name, value, bound in places
        if np.isfinite(value).all()
    )
    if not np.isfinite(surrounding.tap_pressure).all():
        inputs.append(
            expanded(
                "inlet loss", meter.inlet_loss * ones, meter.inlet_loss_uncertainty, Reach.METER
            )
        )
    return inputs

"""The rig's meter as the physics wants it: its uncertain inputs and its flow.

The inputs have two parts. `meter_inputs` are known before any flow is: bores, a stated C, the
inlet's loss. `formula_inputs` need the flow first: what the formulas of C and epsilon are
worth depends on Reynolds number and pressure ratio.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pullcurve.measure.inputs import FlowInput, Source
from pullcurve.physics import orifice, venturi
from pullcurve.physics.flow_equation import (
    MeterState,
    PrimaryElement,
    solve_at_tap,
    solve_in_line,
    solve_open_inlet,
)
from pullcurve.physics.primary_elements import (
    SHORT_PIPE_UNCERTAINTY,
    STANDARDS,
    ElementKind,
    StandardElement,
    StraightLengths,
    coefficient_uncertainty,
)
from pullcurve.rig.meter import DEFAULT_COEFFICIENT, OPEN_INLETS, Meter
from pullcurve.uncertainty import Reach, expanded, rectangular

Array = NDArray[np.float64]

# A stated C belongs to this Reynolds number and those above (ISO 5167-4:2003, 5.5, its least).
STATED_REYNOLDS: Final = 2e5
# Below it a tube's C may fall by 0 to 1.2 % per halving (judgement, from the trend of ISO
# 5167-4:2003, annex B): half of it is corrected for.
FALL_PER_HALVING: Final = 0.006
# A tube outside any standard is taken as it is, with a slope of its own: 1 % (95 %) over the
# 2.6 halvings from 3e5 to 5e4 (judgement).
FALL_UNKNOWN_U95: Final = 0.004
FALL_UNKNOWN_BELOW: Final = 3e5
# Loss of a tube or nozzle with a diffuser, over dp: 5 % to 20 % (ISO 5167-4:2003, 5.9, and
# -3, from memory). The formula for plates and nozzles without one is good to about 10 %
# (judgement).
DIFFUSER_LOSS: Final = (0.05, 0.20)
PLATE_LOSS_SPREAD: Final = 0.10

VENTURI_TUBES: Final = ("venturi", "venturi_as_cast", "venturi_machined", "venturi_welded")


def meter_inputs(meter: Meter) -> list[FlowInput]:
    """What is uncertain about the meter before any flow is known."""
    found = [expanded(Source.THROAT_BORE, meter.throat_bore, meter.bore_uncertainty, Reach.METER)]
    if meter.kind not in OPEN_INLETS:
        bore = expanded(Source.PIPE_BORE, meter.pipe_bore, meter.bore_uncertainty, Reach.METER)
        loss = expanded(
            Source.INLET_LOSS, meter.inlet_loss, meter.inlet_loss_uncertainty, Reach.METER
        )
        found += [bore, loss]
    c, u95 = meter.discharge_coefficient, meter.discharge_coefficient_uncertainty
    if c is not None and u95 is not None:
        u95 = c * (u95 + (SHORT_PIPE_UNCERTAINTY if falls_short(meter) else 0.0))
        found.append(expanded(Source.DISCHARGE_COEFFICIENT, c, u95, Reach.METER))
        if of_no_standard(meter):
            found.append(expanded(Source.C_REYNOLDS_SLOPE, 0.0, FALL_UNKNOWN_U95, Reach.METER))
        elif meter.kind in VENTURI_TUBES:
            fall = rectangular(
                Source.C_REYNOLDS_SLOPE, FALL_PER_HALVING, FALL_PER_HALVING, Reach.METER
            )
            found.append(fall)
    return found


def formula_inputs(meter: Meter, state: MeterState) -> list[FlowInput]:
    """What the formulas of C and of the expansibility are worth at the points of a state.

    state: solved with the estimates of `meter_inputs`; arrays of shape (points,). The values
    are factors of 1: `element` multiplies C with the one, the flow takes the other.
    """
    pressure = state.pressure
    differential = np.nan_to_num(pressure * (1 - state.pressure_ratio))
    epsilon_u95 = (
        venturi.expansibility_uncertainty(differential, pressure, meter.beta)
        if meter.kind == "venturi"
        else STANDARDS[element_kind(meter)].expansibility_uncertainty(
            differential, pressure, meter.beta
        )
    )
    found = [expanded(Source.EXPANSIBILITY_FORMULA, 1.0, np.nan_to_num(epsilon_u95), Reach.METER)]
    if meter.discharge_coefficient is None:
        c_u95 = coefficient_uncertainty(
            element_kind(meter),
            state.reynolds,
            pipe_bore=meter.pipe_bore,
            throat_bore=meter.throat_bore,
            differential_pressure=differential,
            straight_length=meter.straight_length,
        )
        found.append(expanded(Source.DISCHARGE_COEFFICIENT, 1.0, c_u95, Reach.METER))
    return found


def element(meter: Meter, x: Mapping[Source, Array]) -> PrimaryElement:
    """The meter with the bores and the coefficient that the inputs have.

    A C that the rig states for a plate, a nozzle or an inlet is that at Re = 2e5; with the
    Reynolds number it changes as the kind's own formula does.
    """
    if meter.discharge_coefficient is not None and meter.kind in VENTURI_TUBES:
        return venturi.VenturiTube(
            x[Source.PIPE_BORE],
            x[Source.THROAT_BORE],
            x[Source.DISCHARGE_COEFFICIENT],
            x[Source.C_REYNOLDS_SLOPE],
            FALL_UNKNOWN_BELOW if of_no_standard(meter) else STATED_REYNOLDS,
        )
    kind = element_kind(meter)
    level = x.get(Source.DISCHARGE_COEFFICIENT, np.ones(()))
    if meter.discharge_coefficient is not None:
        formula = STANDARDS[kind].coefficient
        level = level / formula(meter.beta, STATED_REYNOLDS, meter.pipe_bore)
    pipe_bore = np.inf if meter.kind in OPEN_INLETS else x[Source.PIPE_BORE]
    return StandardElement(kind, pipe_bore, x[Source.THROAT_BORE], level)


def solve(
    meter: Meter,
    x: Mapping[Source, Array],
    differential_pressure: Array,
    *,
    vapour: Array,
    tap_pressure: Array | None = None,
) -> MeterState:
    """Flow through the meter, by the way its air comes.

    x: the inputs, the open air's and the isentropic exponent among them. tap_pressure:
    absolute, at the upstream tap, where it is measured; an inlet that draws from the open has
    none and takes the station pressure.
    """
    tube = element(meter, x)
    exponent = x[Source.ISENTROPIC_EXPONENT]
    pressure, temperature = x[Source.STATION_PRESSURE], x[Source.AIR_TEMPERATURE]
    if meter.kind in OPEN_INLETS:
        return solve_in_line(
            tube,
            differential_pressure,
            pressure=pressure,
            temperature=temperature,
            vapour=vapour,
            isentropic_exponent=exponent,
        )
    if tap_pressure is not None:
        return solve_at_tap(
            tube,
            differential_pressure,
            pressure=tap_pressure,
            ambient_temperature=temperature,
            vapour=vapour,
            isentropic_exponent=exponent,
        )
    return solve_open_inlet(
        tube,
        differential_pressure,
        ambient_pressure=pressure,
        ambient_temperature=temperature,
        vapour=vapour,
        inlet_loss=x[Source.INLET_LOSS],
        isentropic_exponent=exponent,
    )


def bore_behind(x: Mapping[Source, Array]) -> Array:
    """Bore of the pipe behind the meter: the pipe's, or the throat's of an open inlet."""
    return x[Source.PIPE_BORE] if Source.PIPE_BORE in x else x[Source.THROAT_BORE]


def pressure_loss(meter: Meter) -> tuple[float, float]:
    """Pressure lost from the upstream tap to the pipe behind the meter, over dp: both ends.

    An open inlet's dp is all there: the air behind it runs as fast as in its throat.
    """
    if meter.kind in OPEN_INLETS:
        return 1.0, 1.0
    if meter.kind in (*VENTURI_TUBES, "venturi_nozzle"):
        return DIFFUSER_LOSS
    c = meter.discharge_coefficient
    if c is None:
        stated = STANDARDS[element_kind(meter)].coefficient
        c = float(stated(meter.beta, STATED_REYNOLDS, meter.pipe_bore))
    loss = float(orifice.pressure_loss(meter.beta, c))
    return (1 - PLATE_LOSS_SPREAD) * loss, min((1 + PLATE_LOSS_SPREAD) * loss, 1.0)


def element_kind(meter: Meter) -> ElementKind:
    """The kind of a meter that a standard covers: any but the plain "venturi"."""
    return ElementKind(f"orifice_{meter.taps}" if meter.kind == "orifice" else meter.kind)


def of_no_standard(meter: Meter) -> bool:
    """Whether the meter is a tube outside any standard with nobody's C."""
    nobody = DEFAULT_COEFFICIENT["discharge_coefficient_source"]
    return meter.discharge_coefficient_source == nobody


def straight_lengths(meter: Meter) -> StraightLengths | None:
    """What straight pipe is wanted; a plain tube with a stated C is held to ISO 5167-4.

    None for inlets, and for the tube outside any standard, whose 4 % allows for none.
    """
    if of_no_standard(meter):
        return None
    plain = meter.kind == "venturi"
    return STANDARDS[ElementKind.VENTURI_AS_CAST if plain else element_kind(meter)].straight


def falls_short(meter: Meter) -> bool:
    """Whether the straight pipe that the rig states is too short."""
    wanted = straight_lengths(meter)
    if meter.straight_length is None or wanted is None:
        return False
    return wanted.missed(meter.beta, meter.straight_length / meter.pipe_bore)[1]

"""The uncertain inputs of a flow, by name: the keys of its model and of every budget."""

from enum import StrEnum
from typing import Final, TypeAlias

from pullcurve.uncertainty import Input, Result


class Source(StrEnum):
    """What a part of a flow's uncertainty comes from; the value is what the JSON calls it."""

    DISCHARGE_COEFFICIENT = "discharge coefficient"
    C_REYNOLDS_SLOPE = "C Reynolds slope"
    PIPE_BORE = "pipe bore"
    THROAT_BORE = "throat bore"
    INLET_LOSS = "inlet loss"
    METER_LOSS = "loss of the meter"
    DIFFERENTIAL_PRESSURE = "differential pressure"
    SENSOR_ZERO = "sensor zero"
    SENSOR_GAIN = "sensor gain"
    SENSOR_LINEARITY = "sensor linearity"
    WATER_IN_LINE = "water in a line"
    SWIRL = "swirl"
    PULSATION = "pulsation"
    ALIASING = "aliasing"
    STATION_PRESSURE = "station pressure"
    AIR_TEMPERATURE = "air temperature"
    HUMIDITY = "humidity"
    DENSITY_FORMULA = "density formula"
    ISENTROPIC_EXPONENT = "isentropic exponent"
    EXPANSIBILITY_FORMULA = "expansibility formula"
    WARMING = "warming"
    VACUUM_TAP = "vacuum, tap"
    VACUUM_PORT = "vacuum, port"
    VACUUM_INLET = "vacuum, inlet"
    PRESSURE_TAP = "pressure, tap"
    PRESSURE_PORT = "pressure, port"
    PRESSURE_INLET = "pressure, inlet"
    LOSSES_PORT = "losses, port"
    LOSSES_INLET = "losses, inlet"
    SHARE_PORT = "share, port"


FlowInput: TypeAlias = Input[Source]
FlowResult: TypeAlias = Result[Source]

# Of each place along the machine: its pressure below the station's where the two sensors were
# compared, else its pressure; and where none is measured the losses from the meter on.
VACUUM: Final = {
    "tap": Source.VACUUM_TAP,
    "port": Source.VACUUM_PORT,
    "inlet": Source.VACUUM_INLET,
}
PRESSURE: Final = {
    "tap": Source.PRESSURE_TAP,
    "port": Source.PRESSURE_PORT,
    "inlet": Source.PRESSURE_INLET,
}
LOSSES: Final = {"port": Source.LOSSES_PORT, "inlet": Source.LOSSES_INLET}

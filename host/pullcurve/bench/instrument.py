"""The instrument of a scenario as it truly is: meter, sensors and pickups."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from pullcurve.bench.fields import NotNegative, Positive, Share, Stretch, Table, Window

SensorRole = Literal[
    "meter_dp",
    "meter_dp_low",
    "ambient_air",
    "meter_air",
    "blower_air",
    "tank_air",
    "discharge_temperature",
]


class Harmonic(Table):
    """One harmonic of the lobe-pass frequency, relative to the mean of what pulsates."""

    amplitude: Share
    phase_rad: float = 0.0


class Resonance(Table):
    """A resonance of the pipe, through which the blower's pulsation reaches the meter.

    At `frequency_hz` a harmonic is `quality` times as large as far below it.
    """

    frequency_hz: Positive
    quality: Annotated[float, Field(gt=0.5, le=20)]


class Meter(Table):
    """The Venturi tube as it truly is, with its two lines to the sensor.

    The coefficient is that of a pipe Reynolds number of 2e5. With each halving below, it is
    lower by `coefficient_fall`; with each doubling, above and below, higher by
    `coefficient_slope`. `coefficient_noise` is its relative standard deviation in a disturbed
    flow. The upstream line has `line_time_constant_s`; so has the throat's line unless it has
    its own.
    """

    position: Literal["port", "hose_end", "clean_pipe"]
    pipe_bore_m: Positive
    throat_bore_m: Positive
    discharge_coefficient: Annotated[float, Field(gt=0.8, lt=1.1)]
    coefficient_fall: Annotated[float, Field(ge=0, lt=0.05)] = 0.0
    coefficient_slope: Annotated[float, Field(gt=-0.05, lt=0.05)] = 0.0
    coefficient_noise: Annotated[float, Field(ge=0, lt=0.1)] = 0.0
    coefficient_noise_time_s: Positive = 0.5
    inlet_loss: NotNegative  # K ahead of the upstream tap, on the pipe's bore
    recovery_loss: NotNegative  # K of throat and divergent, on the pipe's bore
    pulsation: tuple[Harmonic, ...] = ()  # of the flow
    resonance: Resonance | None = None
    common_pulsation: tuple[Harmonic, ...] = ()  # of both taps' pressure, over the mean difference
    line_time_constant_s: Positive = 0.002  # tubing and sensor cavity, first order
    throat_line_time_constant_s: Positive | None = None
    sensor_time_constant_s: NotNegative = 0.0  # after the difference has been taken
    tubes_reversed: bool = False

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.throat_bore_m >= self.pipe_bore_m:
            raise ValueError("'throat_bore_m' must be less than 'pipe_bore_m'")
        return self


class Water(Stretch):
    """A slug of water in one of the lines.

    It adds `offset_pa` to the difference that the sensor feels, and `share` of the difference
    at which it last came to rest: it sticks to the wall, and slides only where the difference
    has moved by more than `stick_pa`. Its line answers with `time_constant_s`.
    """

    line: Literal["upstream", "throat"]
    offset_pa: float
    share: Annotated[float, Field(gt=-0.5, lt=0.5)] = 0.0
    stick_pa: NotNegative = 0.0
    time_constant_s: Positive = 0.2


class Sun(Table):
    """The board warms from a time on, towards `rise_k` above what it was."""

    from_s: NotNegative = 0.0
    rise_k: float
    time_constant_s: Positive


class SensorTruth(Table):
    """A sensor as it truly is. Errors are in SI, of the part's main quantity unless named.

    What is said per kelvin counts from 25 C of the part, which stands `heat_k` above the air
    and more in the sun; its humidity is the open air's all the same. `nonlinearity` holds the
    amplitudes of the second and third Chebyshev polynomials over the range: deviations from
    the straight line that fits best. Beyond `stops_pa` the part gives no more, wherever its
    counts end.
    """

    role: SensorRole
    part: str
    address: Annotated[int, Field(ge=0x08, le=0x77)]
    bus: Literal[0, 1] = 0
    range_pa: tuple[float, float] | None = None
    zero_error: float = 0.0
    zero_drift_per_s: float = 0.0
    zero_per_k: float = 0.0
    warm_up_error: float = 0.0  # at power-up, dying away with warm_up_s
    warm_up_s: Positive = 300.0
    gain_error: float = 0.0
    gain_per_k: float = 0.0
    nonlinearity: tuple[float, float] = (0.0, 0.0)
    stops_pa: tuple[float, float] | None = None
    heat_k: float = 0.0
    sun: Sun | None = None
    noise: NotNegative = 0.0  # standard deviation of one reading
    temperature_error_k: float = 0.0
    humidity_error: float = 0.0
    vanish: tuple[Window, ...] = ()  # does not answer the bus
    faults: tuple[Window, ...] = ()  # answers with its fault status or a bad check sum
    stuck: tuple[Window, ...] = ()  # repeats its last count as if it were fresh

    @model_validator(mode="after")
    def _check(self) -> Self:
        if any(self.nonlinearity) and self.range_pa is None:
            raise ValueError("'nonlinearity' is said over a range: give 'range_pa'")
        return self


class PickupTruth(Table):
    """An optical pickup as it truly is.

    `uneven` holds a mark's offset in mark pitches, `missed_marks` the share of its passings
    that go unseen, on top of `missed`, the share of all.
    """

    role: Literal["blower_shaft", "engine_shaft"]
    marks: Annotated[int, Field(ge=1, le=60)]
    uneven: tuple[Annotated[float, Field(gt=-0.5, lt=0.5)], ...] = ()
    missed: Share = 0.0
    missed_marks: tuple[Share, ...] = ()
    doubled: Share = 0.0
    doubled_after_us: Positive = 150.0
    jitter_us: NotNegative = 0.0  # standard deviation
    dropouts: tuple[Window, ...] = ()

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.uneven and len(self.uneven) != self.marks:
            raise ValueError("'uneven' must hold one offset for each of the 'marks'")
        if self.missed_marks and len(self.missed_marks) != self.marks:
            raise ValueError("'missed_marks' must hold one share for each of the 'marks'")
        return self

"""The bench's scenario: an invented machine, its day, its instrument and what goes wrong.

A scenario is a TOML file. Its numbers are plain SI, the unit stands in the key's name
(speeds: turns a minute, `_rpm`; times: seconds since the scenario's start, `_s`).
Restrictions are loss coefficients K on the named bore: K rho v^2 / 2.
"""

import difflib
import tomllib
from collections.abc import Iterator
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from pullcurve.errors import ScenarioError

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]

SensorRole = Literal[
    "meter_dp", "ambient_air", "meter_air", "blower_air", "tank_air", "discharge_temperature"
]


def _in_order(window: tuple[float, float]) -> tuple[float, float]:
    if window[0] >= window[1]:
        raise ValueError(f"the window {list(window)} must end after it starts")
    return window


Window = Annotated[tuple[NotNegative, NotNegative], AfterValidator(_in_order)]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class _Stretch(_Model):
    from_s: NotNegative
    to_s: NotNegative

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.from_s >= self.to_s:
            raise ValueError(f"'to_s' {self.to_s:g} must come after 'from_s' {self.from_s:g}")
        return self


class Site(_Model):
    """The air around the machine; pressure is the station's, not reduced to sea level."""

    altitude_m: float
    pressure_pa: Annotated[float, Field(ge=5e4, le=1.1e5)]
    temperature_k: Annotated[float, Field(ge=233.15, le=333.15)]
    humidity: Share
    pressure_drift_pa_per_s: float = 0.0
    temperature_drift_k_per_s: float = 0.0


class Engine(_Model):
    """A governed engine: first-order lag, droop under load, wander about its speed.

    `throttle` is a list of [time_s, speed_rpm], joined by straight lines. 0 is off; anything
    else is held between idle and governed speed. At `full_load_w` of gas power the governor
    gives way by `droop` of the speed.
    """

    idle_rpm: Positive
    governed_rpm: Positive
    droop: Annotated[float, Field(ge=0, lt=0.5)] = 0.0
    full_load_w: Positive = 25e3
    lag_s: Positive
    wander_rpm: NotNegative = 0.0  # standard deviation
    wander_time_s: Positive = 1.0  # correlation time
    throttle: Annotated[tuple[tuple[NotNegative, NotNegative], ...], Field(min_length=2)]

    @model_validator(mode="after")
    def _check(self) -> Self:
        times = [time for time, _ in self.throttle]
        if any(b <= a for a, b in pairwise(times)):
            raise ValueError("the times of 'throttle' must rise from point to point")
        if self.idle_rpm >= self.governed_rpm:
            raise ValueError("'idle_rpm' must be below 'governed_rpm'")
        return self


class Blower(_Model):
    """A rotary-lobe blower.

    `slip_speed_rpm` is what just holds 1 psi with the port closed; `slip_factor` multiplies
    it for a worn machine. `laminar_share` is the part of that slip that runs through gaps
    so narrow that it follows the pressure and not its root.
    """

    displacement_m3: Positive  # a turn
    slip_speed_rpm: NotNegative
    slip_factor: Positive = 1.0
    laminar_share: Annotated[float, Field(ge=0, lt=1)] = 0.0
    lobes: Literal[2, 3] = 2
    heat_loss: Annotated[float, Field(ge=0, lt=1)] = 0.0  # share of the gas power, by the casing
    warm_up_s: Positive = 60.0  # time constant of the discharge temperature
    outlet_pa_s2_kg2: NotNegative = 0.0  # silencer: loss over mass flow squared


class Filter(_Model):
    """Pressure loss: `linear` times local flow plus `square` times its square."""

    linear_pa_s_m3: Positive
    square_pa_s2_m6: NotNegative = 0.0
    loading_pa_s_m3_per_s: NotNegative = 0.0  # growth of `linear` while the scenario runs


class Leaks(_Model):
    """Effective areas. A: into the tank. B: behind the filter. C: at the blower's inlet."""

    a_m2: NotNegative = 0.0
    b_m2: NotNegative = 0.0
    c_m2: NotNegative = 0.0


class Relief(_Model):
    """A relief valve: shut below its setting, then open in proportion to the excess."""

    vacuum_pa: Positive
    slope_kg_s_pa: Positive


class Hose(_Model):
    length_m: Positive
    bore_m: Positive
    friction_factor: Positive  # Darcy
    loss: NotNegative  # fittings, mouth and the jet lost in the tank


class Machine(_Model):
    engine: Engine
    belt_ratio: Positive  # blower turns to an engine turn, without slip
    belt_slip: Annotated[float, Field(ge=0, lt=1)] = 0.0
    blower: Blower
    filter: Filter
    tank_volume_m3: Positive
    port_bore_m: Positive
    port_loss: Positive  # on the port's bore
    clean_pipe_loss: NotNegative  # filter to blower, on the port's bore
    leaks: Leaks = Leaks()
    relief: Relief | None = None
    hose: Hose | None = None


class Harmonic(_Model):
    """One harmonic of the lobe-pass frequency in the flow, relative to the mean flow."""

    amplitude: Share
    phase_rad: float = 0.0


class Meter(_Model):
    """The Venturi tube as it truly is.

    Below a pipe Reynolds number of 2e5 the coefficient is lower by `coefficient_fall` with
    each halving.
    """

    position: Literal["port", "hose_end", "clean_pipe"]
    pipe_bore_m: Positive
    throat_bore_m: Positive
    discharge_coefficient: Annotated[float, Field(gt=0.8, lt=1.05)]
    coefficient_fall: Annotated[float, Field(ge=0, lt=0.05)] = 0.0
    inlet_loss: NotNegative  # K ahead of the upstream tap, on the pipe's bore
    recovery_loss: NotNegative  # K of throat and divergent, on the pipe's bore
    pulsation: tuple[Harmonic, ...] = ()
    line_time_constant_s: Positive = 0.002  # tubing and sensor cavity, first order

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.throat_bore_m >= self.pipe_bore_m:
            raise ValueError("'throat_bore_m' must be less than 'pipe_bore_m'")
        return self


class Plate(_Stretch):
    """A restrictor plate on the port, there between two times."""

    loss: Positive  # on the port's bore


class Clog(_Stretch):
    """Spoil or a lump in the hose (without a hose: in the port).

    It builds up within `rise_s` and clears as fast; `unevenness` is the relative standard
    deviation of the loss about its mean, with the correlation time `uneven_time_s`.
    """

    extra_loss: Positive
    rise_s: Positive = 0.5
    unevenness: Annotated[float, Field(ge=0, le=0.5)] = 0.0
    uneven_time_s: Positive = 1.0


class Events(_Model):
    plates: tuple[Plate, ...] = ()
    clogs: tuple[Clog, ...] = ()
    hose_off: tuple[Window, ...] = ()


class SensorTruth(_Model):
    """A sensor as it truly is. Errors are in SI, of the part's main quantity unless named."""

    role: SensorRole
    part: str
    address: Annotated[int, Field(ge=0x08, le=0x77)]
    bus: Literal[0, 1] = 0
    range_pa: tuple[float, float] | None = None
    zero_error: float = 0.0
    zero_drift_per_s: float = 0.0
    gain_error: float = 0.0
    noise: NotNegative = 0.0  # standard deviation of one reading
    temperature_error_k: float = 0.0
    humidity_error: float = 0.0
    vanish: tuple[Window, ...] = ()  # does not answer the bus
    faults: tuple[Window, ...] = ()  # answers with its fault status or a bad check sum
    stuck: tuple[Window, ...] = ()  # repeats its last count as if it were fresh


class PickupTruth(_Model):
    """An optical pickup as it truly is. `uneven` holds a mark's offset in mark pitches."""

    role: Literal["blower_shaft", "engine_shaft"]
    marks: Annotated[int, Field(ge=1, le=60)]
    uneven: tuple[Annotated[float, Field(gt=-0.5, lt=0.5)], ...] = ()
    missed: Share = 0.0
    doubled: Share = 0.0
    doubled_after_us: Positive = 150.0
    jitter_us: NotNegative = 0.0  # standard deviation
    dropouts: tuple[Window, ...] = ()

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.uneven and len(self.uneven) != self.marks:
            raise ValueError("'uneven' must hold one offset for each of the 'marks'")
        return self


class Damage(_Stretch):
    """Bytes of the link that arrive changed: `rate` is the share of them, between two times."""

    rate: Share


class Link(_Model):
    """What happens between board and host. `unread`: nobody reads the port meanwhile."""

    resets_s: tuple[NotNegative, ...] = ()
    damage: tuple[Damage, ...] = ()
    unread: tuple[Window, ...] = ()


class Scenario(_Model):
    name: str
    comment: str = ""
    seed: Annotated[int, Field(ge=0)]
    duration_s: Annotated[float, Field(ge=1, le=7200)]
    start: AwareDatetime
    site: Site
    machine: Machine
    meter: Meter
    events: Events = Events()
    sensors: tuple[SensorTruth, ...]
    pickups: Annotated[tuple[PickupTruth, ...], Field(min_length=1)]
    link: Link = Link()
    board: dict[str, Any] = {}  # entries of board.json that this scenario sets otherwise

    @model_validator(mode="after")
    def _check(self) -> Self:
        position, hose = self.meter.position, self.machine.hose
        if position == "port" and hose is not None:
            raise ValueError("a meter on the port leaves no place for 'machine.hose'")
        if position == "hose_end" and (hose is None or self.events.hose_off):
            raise ValueError("a meter at the hose's end needs 'machine.hose', on all the time")
        if self.events.hose_off and hose is None:
            raise ValueError("'events.hose_off' without 'machine.hose'")
        if all(sensor.role != "meter_dp" for sensor in self.sensors):
            raise ValueError("one of 'sensors' must have the role meter_dp")
        if len({(sensor.bus, sensor.address) for sensor in self.sensors}) < len(self.sensors):
            raise ValueError("two of 'sensors' share an address on one bus")
        if len({pickup.role for pickup in self.pickups}) < len(self.pickups):
            raise ValueError("each role may have one pickup only")
        return self


def shipped_scenarios() -> dict[str, Path]:
    """The scenarios that come with the package, by name."""
    folder = Path(str(files("pullcurve.bench"))) / "scenarios"
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def load_scenario(path: Path) -> Scenario:
    """The scenario in the file `path`.

    Raises
    ------
    ScenarioError
        The file cannot be read, is no TOML, or a key in it is missing, unknown or wrong.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise ScenarioError(f"{path}: is not a text file in UTF-8") from error
    return parse_scenario(text, str(path))


def parse_scenario(text: str, name: str) -> Scenario:
    """The scenario in `text`; `name` stands for the file in messages.

    Raises
    ------
    ScenarioError
        As `load_scenario`.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{name}: is not valid TOML: {error}") from error
    try:
        return Scenario.model_validate(table)
    except ValidationError as error:
        raise ScenarioError("\n".join(_sentences(error, name))) from error


def _sentences(error: ValidationError, name: str) -> Iterator[str]:
    for fault in error.errors(include_url=False):
        key = ".".join(str(part) for part in fault["loc"]) or "the whole"
        if fault["type"] == "missing":
            sentence = "is missing"
        elif fault["type"] == "extra_forbidden":
            sentence = "is no key of a scenario" + _like(fault["loc"])
        elif fault["type"] == "value_error":
            sentence = str(fault["ctx"]["error"])
        else:
            sentence = f"{fault['input']!r} cannot stand here: {fault['msg'].lower()}"
        yield f"{name}: {key}: {sentence}"


def _like(location: tuple[int | str, ...]) -> str:
    """A guess at the key that was meant, from the table it stands in."""
    model: Any = Scenario
    for part in location[:-1]:
        if isinstance(part, str):
            model = _model_within(model.model_fields[part].annotation)
    close = difflib.get_close_matches(str(location[-1]), model.model_fields, n=1)
    return f"; did you mean '{close[0]}'?" if close else ""


def _model_within(annotation: Any) -> Any:
    """The model in `Model`, `Model | None` or `tuple[Model, ...]`, annotated or not."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = (_model_within(part) for part in getattr(annotation, "__args__", ()))
    return next((model for model in inner if model is not None), None)

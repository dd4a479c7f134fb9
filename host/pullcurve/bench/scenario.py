"""The bench's scenario: an invented machine, its day, its instrument and what goes wrong.

A scenario is a TOML file. Its numbers are plain SI, the unit stands in the key's name
(speeds: turns a minute, `_rpm`; times: seconds since the scenario's start, `_s`).
"""

import difflib
import tomllib
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import AwareDatetime, BaseModel, Field, ValidationError, model_validator

from pullcurve.bench.fields import NotNegative, Positive, Share, Stretch, Table, Window
from pullcurve.bench.instrument import Meter, PickupTruth, SensorTruth, Water
from pullcurve.bench.machine import Machine
from pullcurve.errors import ScenarioError


class Site(Table):
    """The air around the machine; pressure is the station's, not reduced to sea level."""

    altitude_m: float
    pressure_pa: Annotated[float, Field(ge=5e4, le=1.1e5)]
    temperature_k: Annotated[float, Field(ge=233.15, le=333.15)]
    humidity: Share
    pressure_drift_pa_per_s: float = 0.0
    temperature_drift_k_per_s: float = 0.0


class Plate(Stretch):
    """A restrictor plate on the port, there between two times."""

    loss: Positive  # on the port's bore


class Clog(Stretch):
    """Spoil or a lump in the hose (without a hose: in the port).

    It builds up within `rise_s` and clears as fast; `unevenness` is the relative standard
    deviation of the loss about its mean, with the correlation time `uneven_time_s`.
    """

    extra_loss: Positive
    rise_s: Positive = 0.5
    unevenness: Annotated[float, Field(ge=0, le=0.5)] = 0.0
    uneven_time_s: Positive = 1.0


class GrowingLeak(Stretch):
    """A leak that opens between two times, at an even rate, and stays; places as in `Leaks`."""

    place: Literal["a", "b", "c"]
    area_m2: Positive  # at the end, on top of the machine's own


class Events(Table):
    plates: tuple[Plate, ...] = ()
    clogs: tuple[Clog, ...] = ()
    hose_off: tuple[Window, ...] = ()
    water: tuple[Water, ...] = ()
    leaks: tuple[GrowingLeak, ...] = ()


class Damage(Stretch):
    """Bytes of the link that arrive changed: `rate` is the share of them, between two times."""

    rate: Share


class Link(Table):
    """What happens between board and host.

    `unread`: nobody reads the port meanwhile. `outages`: whatever is sent meanwhile, either way,
    is lost.
    """

    resets_s: tuple[NotNegative, ...] = ()
    damage: tuple[Damage, ...] = ()
    unread: tuple[Window, ...] = ()
    outages: tuple[Window, ...] = ()


class Scenario(Table):
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
    # entries of board.json that this scenario sets otherwise
    board: dict[str, Any] = Field(default_factory=dict)

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


def find_scenario(name: str) -> Scenario:
    """The scenario of that name that comes with the package, or in the file of that name.

    Raises
    ------
    ScenarioError
        There is neither, or as `load_scenario`.
    """
    shipped = shipped_scenarios()
    if name not in shipped and not Path(name).exists():
        raise ScenarioError(
            f"{name}: there is no such file, and none of this name comes with pullcurve; "
            f"those are {', '.join(shipped)}"
        )
    return load_scenario(shipped.get(name, Path(name)))


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

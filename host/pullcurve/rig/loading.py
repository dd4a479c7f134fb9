"""A rig file, read and checked: all its faults at once, each with line, key and remedy."""

from __future__ import annotations

import json
import re
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel, ValidationError

from pullcurve.errors import RigError
from pullcurve.rig.key_lines import key_lines, line_of
from pullcurve.rig.models import Rig

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

    from pullcurve.rig.key_lines import KeyPath

# Weather moves the pressure by about 3 kPa either way (judgement).
_WEATHER_PA = 4000.0
_SEA_LEVEL_PA = 101325.0


def load_rig(path: str | Path) -> Rig:
    """The rig that a file describes.

    Raises RigError for a file that cannot be read, is no TOML, or describes no possible rig;
    its message has one line for each fault.
    """
    try:
        raw = Path(path).read_bytes()
    except FileNotFoundError:
        raise RigError(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise RigError(f"{path}: this is a folder; name the rig file in it") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise RigError(f"{path}: cannot be read: {reason}") from None
    if b"\0" in raw:
        raise RigError(f"{path}: this is a binary file, not a rig file (TOML text)")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise RigError(
            f"{path} line {line}: a character is not UTF-8; save the file as UTF-8 text"
        ) from None
    return parse_rig(text, str(path))


def parse_rig(text: str, name: str) -> Rig:
    """The rig that a text describes; `name` is what messages call it.

    Raises RigError, as `load_rig` does.
    """
    toml = text.removeprefix("\ufeff")
    try:
        data = tomllib.loads(toml)
    except RecursionError:
        raise RigError(f"{name}: its brackets are nested too deeply for a rig file") from None
    except ValueError as error:
        raise RigError(_syntax_fault(str(error), toml, name)) from None
    try:
        return Rig.model_validate(data, context=(text, name))
    except ValidationError as error:
        lines = key_lines(toml)
        faults = sorted(
            (line_of(path, lines) or 0, path, sentence)
            for path, sentence in _faults(error.errors(include_url=False))
        )
        raise RigError("\n".join(_fault(name, *fault) for fault in faults)) from None


def rig_fault(rig: Rig, key: str, sentence: str) -> RigError:
    """The error for something wrong with a key that shows only outside the file.

    key: the key's full name, such as `sensors.meter_dp.range`.
    """
    path = tuple(key.split("."))
    lines = key_lines(rig.text.removeprefix("\ufeff"))
    return RigError(_fault(rig.file, line_of(path, lines) or 0, path, sentence))


def check_station_pressure(rig: Rig, standard_pressure: Callable[[float], float]) -> None:
    """Refuses a typed station pressure that cannot belong to the altitude.

    A pressure that was reduced to sea level, taken as the station's own, puts the mass flow
    9 % too high at 1500 m. Weather reports give reduced pressures.

    standard_pressure: Pa of the ISO 2533:1975 atmosphere at an altitude in m.
    Raises RigError when the pressure is more than 4 kPa from the standard atmosphere's, or
    within 0.5 kPa of 101.3 kPa above 300 m.
    """
    pressure = rig.site.station_pressure
    if pressure is None:
        return
    altitude = rig.site.altitude
    expected = standard_pressure(altitude)
    at_sea_level = abs(pressure - _SEA_LEVEL_PA)
    reduced = pressure > expected and altitude > 300.0 and at_sea_level < 5000.0
    if abs(pressure - expected) <= _WEATHER_PA and not (reduced and at_sea_level <= 500.0):
        return
    looks = "looks like a sea-level pressure" if reduced else "cannot be (is the altitude right?)"
    raise rig_fault(
        rig,
        "site.station_pressure",
        f"{pressure / 1000:.1f} kPa at {altitude:.0f} m {looks}; give the absolute pressure at "
        f"the site, not reduced to sea level: about {expected / 1000:.0f} kPa there",
    )


def _fault(name: str, line: int, path: KeyPath, sentence: str) -> str:
    """One line of a message; line 0 where nothing of the path stands in the file."""
    keys = (
        key if re.fullmatch(r"[\w-]+", key, re.ASCII) else json.dumps(key, ensure_ascii=False)
        for key in path
    )
    return f"{name}{f' line {line}' if line else ''}: {'.'.join(keys)}: {sentence}"


def _syntax_fault(message: str, toml: str, name: str) -> str:
    place = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    what = message[: place.start()] if place else message.removesuffix(" (at end of document)")
    line = int(place[1]) if place else toml.count("\n") + 1
    return (
        f"{name} line {line}: no TOML: {what[:1].lower()}{what[1:]}; a line is a [table] or "
        'key = value, and text stands in "quotes"'
    )


def _faults(errors: list[ErrorDetails]) -> Iterator[tuple[KeyPath, str]]:
    located = [(tuple(map(str, error["loc"])), error) for error in errors]
    misspelt = {
        (*path[:-1], _meant(path)) for path, error in located if error["type"] == "extra_forbidden"
    }
    for path, error in located:
        # A required key that was misspelt would be reported twice.
        if error["type"] != "missing" or path not in misspelt:
            yield path, _sentence(path, error)


def _sentence(path: KeyPath, error: ErrorDetails) -> str:
    if error["type"] == "value_error":
        return str(error["ctx"]["error"])
    if error["type"] == "extra_forbidden":
        meant = _meant(path)
        if meant:
            return f"there is no such key; did you mean {meant}?"
        return f"there is no such key; known here are {', '.join(_fields(path[:-1]))}"
    what = {
        "missing": "this is missing",
        "string_type": "this must be text in quotes",
        "string_too_short": "this is empty",
        "float_type": "this must be a number without quotes",
        "finite_number": "this must be a finite number",
        "int_type": "this must be a whole number without quotes",
        "model_type": "this must be a table",
        "literal_error": "this is not known",
    }.get(error["type"], error["msg"])
    return f"{what}; wanted: {_fields(path[:-1])[path[-1]].description}"


def _meant(path: KeyPath) -> str | None:
    close = get_close_matches(path[-1].lower(), _fields(path[:-1]), n=1)
    return close[0] if close else None


def _fields(path: KeyPath) -> dict[str, FieldInfo]:
    """The fields of the table at a path, by the keys that the file gives them."""
    model: type[BaseModel] = Rig
    for key in path:
        model = _table_of(_by_key(model)[key].annotation)
    return _by_key(model)


def _by_key(model: type[BaseModel]) -> dict[str, FieldInfo]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _table_of(annotation: Any) -> type[BaseModel]:
    """The model in `Model` or `Model | None`."""
    for choice in get_args(annotation) or (annotation,):
        if isinstance(choice, type) and issubclass(choice, BaseModel):
            return choice
    raise TypeError(f"{annotation} is no table")

"""A rig file, read and checked: all its faults at once, each with line, key and remedy."""

from __future__ import annotations

import json
import re
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, get_args

from pydantic import BaseModel, ValidationError

from pullcurve.errors import RigError
from pullcurve.physics.air import STANDARD_PRESSURE
from pullcurve.rig.fields import place_of
from pullcurve.rig.key_lines import key_lines, line_of, string_span
from pullcurve.rig.models import Rig
from pullcurve.rig.sheet_file import SheetFile, file_text, read_sheet

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

    from pullcurve.rig.key_lines import KeyPath

# Weather moves the pressure by about 3 kPa either way (judgement).
_WEATHER_PA = 4000.0
SHEET: Final = ("machine", "blower", "rating", "table")
ROWS: Final = ("machine", "blower", "rating", "rows")


def load_rig(path: str | Path) -> Rig:
    """The rig that a file describes.

    Raises RigError for a file that cannot be read, is no TOML, or describes no possible rig;
    its message has one line for each fault.
    """
    text = file_text(Path(path), "a rig file (TOML text)")
    return parse_rig(text, str(path), Path(path).parent)


def parse_rig(text: str, name: str, folder: Path | None = None) -> Rig:
    """The rig that a text describes; `name` is what messages call it.

    folder: where the file of the blower's data sheet lies, if the text names one.
    Raises RigError, as `load_rig` does.
    """
    toml = text.removeprefix("\ufeff")
    try:
        data = tomllib.loads(toml)
    except RecursionError:
        raise RigError(f"{name}: its brackets are nested too deeply for a rig file") from None
    except ValueError as error:
        raise RigError(_syntax_fault(str(error), toml, name)) from None
    lines = key_lines(toml)
    faults: list[tuple[int, str]] = []
    whole, sheet = text, None
    rating = _rating(data)
    if "table" in rating:
        try:
            sheet = _sheet(rating, folder)
            rating["rows"] = sheet.rows
            start, end = string_span(toml, SHEET)
            whole = f"{toml[:start]}rows = {sheet.as_toml}{toml[end:]}"
        except ValueError as error:
            faults.append(_fault(name, lines, SHEET, str(error)))
        except RigError as error:
            faults.append((line_of(SHEET, lines) or 0, str(error)))
        del rating["table"]
    try:
        rig = Rig.model_validate(data, context=(whole, text, name))
    except ValidationError as error:
        for path, sentence in _faults(error.errors(include_url=False)):
            if sheet is not None and path[: len(ROWS)] == ROWS:
                line = f" line {sheet.lines[int(path[-1])]}" if path != ROWS else ""
                faults.append((line_of(SHEET, lines) or 0, f"{sheet.name}{line}: {sentence}"))
            elif path != ROWS or not faults:
                faults.append(_fault(name, lines, path, sentence))
    if faults:
        raise RigError("\n".join(sentence for _, sentence in sorted(faults)))
    return rig


def _rating(data: dict[str, Any]) -> dict[str, Any]:
    """The table of the data sheet, empty where there is none."""
    for key in SHEET[:-1]:
        inner = data.get(key)
        if not isinstance(inner, dict):
            return {}
        data = inner
    return data


def _sheet(rating: dict[str, Any], folder: Path | None) -> SheetFile:
    table = rating["table"]
    if not isinstance(table, str) or not table.strip():
        raise ValueError('this must be the name of a file in quotes, such as "grit_blower.csv"')
    if "rows" in rating:
        raise ValueError("the sheet's figures stand in rows already: take one of the two out")
    if folder is None:
        raise ValueError(
            f"the figures of {table} are not at hand here; write them as rows = [[2750, 0, 1555]]"
        )
    if not (folder / table).is_file():
        raise ValueError(
            f"there is no file {str(folder / table)!r}; a name counts from this file's folder"
        )
    return read_sheet(folder / table)


def rig_fault(rig: Rig, key: str, sentence: str) -> RigError:
    """The error for something wrong with a key that shows only outside the file.

    key: the key's full name, such as `sensors.meter_dp.range`.
    """
    lines = key_lines(rig.written.removeprefix("\ufeff"))
    return RigError(_fault(rig.file, lines, tuple(key.split(".")), sentence)[1])


def check_station_pressure(rig: Rig, standard_pressure: Callable[[float], float]) -> None:
    """Refuses a typed station pressure that cannot belong to the altitude.

    A pressure that was reduced to sea level, taken as the station's own, puts the mass flow
    4 % too high at 620 m. Weather reports give reduced pressures.

    standard_pressure: Pa of the ISO 2533:1975 atmosphere at an altitude in m.
    Raises RigError when the pressure is more than 4 kPa from the standard atmosphere's, or
    within 0.5 kPa of 101.3 kPa above 300 m.
    """
    pressure = rig.site.station_pressure
    if pressure is None:
        return
    altitude = rig.site.altitude
    expected = standard_pressure(altitude)
    at_sea_level = abs(pressure - STANDARD_PRESSURE)
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


def _fault(name: str, lines: dict[KeyPath, int], path: KeyPath, sentence: str) -> tuple[int, str]:
    """The line, 0 where nothing of the path stands in the file, and one line of a message."""
    line = line_of(path, lines) or 0
    place = f" line {line}" if line else ""
    return line, f"{name}{place}: {_key_in_words(path)}: {sentence}"


def _key_in_words(path: KeyPath) -> str:
    """`machine.hose 2.bore`: elements are counted from 1."""
    words = ""
    for key in path:
        if isinstance(key, int):
            words += f" {key + 1}"
            continue
        plain = re.fullmatch(r"[\w-]+", key, re.ASCII)
        words += f"{'.' if words else ''}{key if plain else json.dumps(key, ensure_ascii=False)}"
    return words


def _syntax_fault(message: str, toml: str, name: str) -> str:
    place = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    what = message[: place.start()] if place else message.removesuffix(" (at end of document)")
    line = int(place[1]) if place else toml.count("\n") + 1
    return (
        f"{name} line {line}: no TOML: {what[:1].lower()}{what[1:]}; a line is a [table] or "
        'key = value, and text stands in "quotes"'
    )


def _faults(errors: list[ErrorDetails]) -> Iterator[tuple[KeyPath, str]]:
    located = [(place_of(error), error) for error in errors]
    misspelt = {
        (*path[:-1], _meant(path)) for path, error in located if error["type"] == "extra_forbidden"
    }
    for path, error in located:
        # A required key that was misspelt would be reported twice.
        if error["type"] != "missing" or path not in misspelt:
            yield path, _sentence(path, error)


def _sentence(path: KeyPath, error: ErrorDetails) -> str:
    if error["type"] in {"value_error", "misfit"}:
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
        "tuple_type": "this must be a list of tables",
        "literal_error": "this is not known",
    }.get(error["type"], error["msg"])
    *above, key = (key for key in path if isinstance(key, str))
    return f"{what}; wanted: {_fields(above)[key].description}"


def _meant(path: KeyPath) -> str | None:
    close = get_close_matches(str(path[-1]).lower(), _fields(path[:-1]), n=1)
    return close[0] if close else None


def _fields(path: Iterable[str | int]) -> dict[str, FieldInfo]:
    """The fields of the table at a path, by the keys that the file gives them."""
    model: type[BaseModel] = Rig
    for key in path:
        if isinstance(key, str):
            model = _table_of(_by_key(model)[key].annotation)
    return _by_key(model)


def _by_key(model: type[BaseModel]) -> dict[str, FieldInfo]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _table_of(annotation: Any) -> type[BaseModel]:
    """The model in `Model`, `Model | None` or `tuple[Model, ...]`."""
    for choice in get_args(annotation) or (annotation,):
        if isinstance(choice, type) and issubclass(choice, BaseModel):
            return choice
    raise TypeError(f"{annotation} is no table")

"""The CSV file that a blower's data sheet was typed into, beside the rig file.

One printed figure a line, under the heading `speed,vacuum,flow`: the speed in rpm, vacuum and
flow in the sheet's units, which the rig file names. Commas between the figures, a decimal point
within them; empty lines and lines that begin with # do not count.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

from pullcurve.errors import RigError

HEADING: Final = ("speed", "vacuum", "flow")
_NUMBER: Final = re.compile(r"-?(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})")
_HOW: Final = (
    f"wanted the heading {','.join(HEADING)} and below it one printed figure a line, such as "
    "2750,8,1405"
)


@dataclass(frozen=True)
class SheetFile:
    """The rows of a file, the line of each, and the same with all comments as TOML's array."""

    name: str
    rows: list[list[int | float]]
    lines: list[int]
    as_toml: str


def file_text(path: Path, kind: str) -> str:
    """The text of a file; `kind` says in a message what it should have been.

    Raises RigError with a sentence for a file that cannot be read or holds no text.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise RigError(f"{path}: there is no such file") from None
    except IsADirectoryError:
        raise RigError(f"{path}: this is a folder; name the file in it") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise RigError(f"{path}: cannot be read: {reason}") from None
    if b"\0" in raw:
        raise RigError(f"{path}: this is a binary file, not {kind}")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise RigError(
            f"{path} line {line}: a character is not UTF-8; save the file as UTF-8 text"
        ) from None


def read_sheet(path: Path) -> SheetFile:
    """The rows of a data sheet's file.

    Raises RigError with one line for each fault.
    """
    text = file_text(path, "a data sheet typed as CSV text").removeprefix("\ufeff")
    rows: list[list[int | float]] = []
    lines: list[int] = []
    toml: list[str] = []
    faults: list[str] = []
    headed = False
    for number, line in enumerate(text.splitlines(), 1):
        if line.lstrip().startswith("#"):
            toml.append("".join(char if char.isprintable() else "?" for char in line.strip()))
            continue
        cells = [cell.strip() for cell in next(csv.reader([line]), [])]
        while cells and not cells[-1]:  # a spreadsheet fills up with empty cells
            cells.pop()
        if not cells:
            continue
        if not headed:
            if tuple(cell.lower() for cell in cells) != HEADING:
                raise RigError(f"{path} line {number}: {_heading_fault(line)}")
            headed = True
            continue
        fault = _row_fault(cells, line)
        if fault:
            faults.append(f"{path} line {number}: {fault}")
            continue
        plain = [format(Decimal(cell), "f") for cell in cells]
        rows.append([float(figure) if "." in figure else int(figure) for figure in plain])
        lines.append(number)
        toml.append(f"[{', '.join(plain)}],")
    if not faults and not rows:
        faults.append(f"{path}: there is no figure in it; {_HOW}")
    if faults:
        raise RigError("\n".join(faults))
    inside = "".join(f"  {line}\n" for line in toml)
    return SheetFile(str(path), rows, lines, f"[  # {path.name}\n{inside}]")


def _heading_fault(line: str) -> str:
    shown = line.strip()[:60]
    return f"{_separator(line)}{shown!r} is no heading of a data sheet; {_HOW}"


def _separator(line: str) -> str:
    for mark, name in ((";", "semicolons"), ("\t", "tabs")):
        if mark in line:
            return (
                f"here {name} part the figures: save with commas between them and a decimal point; "
            )
    return ""


def _row_fault(cells: list[str], line: str) -> str:
    if len(cells) != len(HEADING):
        comma = " (a decimal is a point, a thousand has no mark)" if len(cells) > 3 else ""
        blank = "; a figure that the sheet leaves empty has no line" if len(cells) < 3 else ""
        return (
            f"{_separator(line)}wanted 3 figures, speed, vacuum, flow, and here are "
            f"{len(cells)}{comma}{blank}"
        )
    for name, cell in zip(HEADING, cells, strict=True):
        if _NUMBER.fullmatch(cell) is None:
            return (
                f"{_separator(line)}{cell!r} is no {name}: wanted a plain number with a decimal "
                "point, no thousands mark, no unit"
            )
    return ""

"""The pages of hardware/, their marked tables, and the boards that they describe."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
HARDWARE = ROOT / "hardware"

Board = dict[str, Any]
Table = list[dict[str, str]]


def _between(page: str, marker: str) -> str:
    text = (HARDWARE / page).read_text("utf-8")
    found = re.findall(rf"<!-- {re.escape(marker)} -->\n(.*?)<!-- end -->", text, re.DOTALL)
    assert len(found) == 1, f"{page}: one <!-- {marker} --> wanted, {len(found)} found"
    return str(found[0])


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


@pytest.fixture(scope="session")
def table() -> Callable[[str, str], Table]:
    """Rows of the table that a page marks with a name, each by its column heads."""

    def read(page: str, name: str) -> Table:
        head, _, *rows = _between(page, f"table: {name}").splitlines()
        columns = _cells(head)
        return [dict(zip(columns, _cells(row), strict=True)) for row in rows]

    return read


@pytest.fixture
def board() -> Board:
    """The board.json that is shipped."""
    shipped: Board = json.loads((ROOT / "firmware" / "board.json").read_text("utf-8"))
    return shipped


@pytest.fixture
def options() -> Board:
    """What wiring.md adds to it for the optional roles."""
    block = _between("wiring.md", "json: options")
    added: Board = json.loads(block.removeprefix("```json\n").removesuffix("```\n"))
    return added


@pytest.fixture
def everything(board: Board, options: Board) -> Board:
    """board.json with every option in its lists."""
    return {**board, **{key: board[key] + options[key] for key in options}}

"""main.py on a board that lacks something: always a sentence on the link, never a traceback."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from on_micropython import needs_unix, run_unix
from pullcurve.bench import board_side
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.header import named

pytestmark = needs_unix

SCRIPT = Path(__file__).with_name("wrong_board.py")
FIRMWARE = Path(__file__).parents[2] / "firmware"
SHIPPED = json.loads((FIRMWARE / "board.json").read_text(encoding="utf-8"))


@pytest.fixture
def firmware(tmp_path: Path) -> Path:
    return Path(shutil.copytree(FIRMWARE, tmp_path / "firmware"))


@pytest.fixture
def board(tmp_path: Path) -> Path:
    folder = tmp_path / "board"
    folder.mkdir()
    shutil.copy(FIRMWARE / "board.json", folder)
    return folder


def events(firmware: Path, board: Path, *args: str) -> list[tuple[Any, Any]]:
    """Code and text of the events in the board's first second."""
    done = run_unix(
        SCRIPT, str(firmware), str(board), *args, path=[Path(board_side.__file__).parent]
    )
    assert (done.stderr, done.returncode) == ("", 0)
    found = Decoder().feed(done.stdout.encode())
    assert all(isinstance(record, Record) for record in found), done.stdout
    said = [named(r) for r in found if isinstance(r, Record) and r.kind == "event"]
    return [(event["code"], event["text"]) for event in said]


def refused(firmware: Path, board: Path, *args: str) -> str:
    """The sentence of a board that does nothing but say what is wrong."""
    ((code, text),) = events(firmware, board, *args)
    assert code == "config"
    return text


def test_a_sound_board_starts(firmware: Path, board: Path) -> None:
    assert events(firmware, board)[0] == ("start", "")


def test_a_radio_that_the_board_has_not(firmware: Path, board: Path) -> None:
    """It measures all the same."""
    (board / "board.json").write_text(json.dumps(SHIPPED | {"bluetooth": True}), encoding="utf-8")
    assert events(firmware, board)[:2] == [("start", ""), ("no_radio", "")]


def test_a_plan_of_which_the_board_keeps_little(firmware: Path, board: Path) -> None:
    hasty = SHIPPED["plan"] | {"block_us": 20000}
    (board / "board.json").write_text(json.dumps(SHIPPED | {"plan": hasty}), encoding="utf-8")
    assert events(firmware, board)[:2] == [("start", ""), ("short_memory", "")]


def test_no_board_json(firmware: Path, board: Path) -> None:
    (board / "board.json").unlink()
    assert refused(firmware, board) == "board.json is missing: copy it to the board"


def test_a_board_json_in_another_coding(firmware: Path, board: Path) -> None:
    (board / "board.json").write_bytes('{"board": "Strahlgerät"}'.encode("latin-1"))
    assert refused(firmware, board) == "board.json is not plain text: save it as UTF-8"


def test_a_driver_that_was_not_copied(firmware: Path, board: Path) -> None:
    (firmware / "lib" / "hsc.py").unlink()
    assert refused(firmware, board) == (
        "meter_dp: no driver of HSC: no module named 'hsc'; copy lib to the board again"
    )


def test_what_a_driver_needs_was_not_copied(firmware: Path, board: Path) -> None:
    (firmware / "lib" / "dp_range.py").unlink()
    assert refused(firmware, board) == (
        "meter_dp: no driver of HSC: no module named 'dp_range'; copy lib to the board again"
    )


@pytest.mark.parametrize("last", ["", "class Bme"])
def test_a_driver_that_was_copied_half_way(firmware: Path, board: Path, last: str) -> None:
    driver = firmware / "lib" / "bme280.py"
    text = driver.read_text(encoding="utf-8")
    driver.write_text(text[: text.index("class Bme")] + last, encoding="utf-8")
    sentence = refused(firmware, board)
    assert sentence.startswith("ambient_air: no driver of BME280: ")
    assert sentence.endswith("; copy lib to the board again")


def test_pins_that_the_board_has_not(firmware: Path, board: Path) -> None:
    """Both are within what board.json may say: other boards have more pins."""
    wrong = SHIPPED | {"buses": [SHIPPED["buses"][0] | {"sda": 40}]}
    (board / "board.json").write_text(json.dumps(wrong), encoding="utf-8")
    assert refused(firmware, board) == ("bus 0: this board refuses sda 40 with scl 5: invalid pin")
    wrong = SHIPPED | {"pickups": [SHIPPED["pickups"][0] | {"pin": 30}]}
    (board / "board.json").write_text(json.dumps(wrong), encoding="utf-8")
    assert refused(firmware, board) == "blower_shaft: this board refuses pin 30: invalid pin"


def test_a_bus_that_cannot_be_made_is_no_missing_board_json(firmware: Path, board: Path) -> None:
    assert refused(firmware, board, "no bus") == (
        "bus 0: this board refuses sda 4 with scl 5: [Errno 19] ENODEV"
    )

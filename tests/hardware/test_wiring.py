"""wiring.md against board.json, the board's published pins and the firmware's own check."""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import board_config
from record_format import DATA

Board = dict[str, Any]
Table = list[dict[str, str]]
Read = Callable[[str, str], Table]

WIRES = {
    "supply": "red",
    "ground": "black",
    "SDA": "blue",
    "SCL": "yellow",
    "Schmitt output": "green",
}


def _published_pins() -> list[dict[str, str]]:
    text = Path(__file__).with_name("pico_pins.csv").read_text("utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


PINS = _published_pins()
PIN_OF = {row["name"]: int(row["pin"]) for row in PINS}
LINE_OF = {row["name"]: row["i2c"] for row in PINS}
ADDRESS_BY_ORDER_CODE = {"HSC", "SSC", "MS4525DO", "ABP2", "DLH", "SHT4x"}
GROUNDS = [int(row["pin"]) for row in PINS if row["name"] == "GND"]


def _rows(table: Board, buses: list[Board]) -> Table:
    """The wires of the sensors and pickups in `table`; ground is the pin next to the signals."""
    lines_of_bus = {bus["bus"]: {"SDA": bus["sda"], "SCL": bus["scl"]} for bus in buses}
    rows: Table = []

    def add(role: str, part: str, bus: str, address: str, signals: dict[str, int]) -> None:
        names = {signal: f"GP{gpio}" for signal, gpio in signals.items()}
        middle = sum(PIN_OF[name] for name in names.values()) / len(names)
        ground = min(GROUNDS, key=lambda pin: abs(pin - middle))
        ends = {"supply": (PIN_OF["3V3(OUT)"], "3V3(OUT)"), "ground": (ground, "GND")}
        ends |= {signal: (PIN_OF[name], name) for signal, name in names.items()}
        rows.extend(
            {
                "Role": role,
                "Part": part,
                "Bus": bus,
                "Address": address,
                "Sensor pin": sensor_pin,
                "Wire": WIRES[sensor_pin],
                "Board pin": str(pin),
                "Board name": name,
            }
            for sensor_pin, (pin, name) in ends.items()
        )

    for sensor in table["sensors"]:
        bus = sensor["bus"]
        add(sensor["role"], sensor["part"], str(bus), sensor["address"], lines_of_bus[bus])
    for pickup in table["pickups"]:
        add(pickup["role"], "pickup", "-", "-", {"Schmitt output": pickup["pin"]})
    return rows


def _as_text(rows: Table) -> str:
    return "\n".join("| " + " | ".join(row.values()) + " |" for row in rows)


def test_the_pin_table_is_board_json(table: Read, board: Board) -> None:
    assert _as_text(table("wiring.md", "board.json")) == _as_text(_rows(board, board["buses"]))


def test_the_table_of_options_is_their_json(table: Read, options: Board, everything: Board) -> None:
    expected = _rows(options, everything["buses"])
    assert _as_text(table("wiring.md", "options")) == _as_text(expected)


def test_every_bus_is_on_pins_that_serve_it(everything: Board) -> None:
    for bus in everything["buses"]:
        for line in ("SDA", "SCL"):
            assert LINE_OF[f"GP{bus[line.lower()]}"] == f"I2C{bus['bus']} {line}"


def test_no_pin_has_two_tasks(everything: Board) -> None:
    pins = [bus[line] for bus in everything["buses"] for line in ("sda", "scl")]
    pins += [pickup["pin"] for pickup in everything["pickups"]]
    assert len(set(pins)) == len(pins)


def test_the_firmware_takes_the_board_with_every_option(everything: Board) -> None:
    board_config.check(everything)
    sensors = board_config.make_sensors(
        everything, {bus["bus"]: None for bus in everything["buses"]}
    )
    # No report uses a second range yet, so no page wires one.
    wired = set(board_config.ROLES) - {"meter_dp_low"}
    assert sorted(sensor.role for sensor in sensors) == sorted(wired)
    # One slow sensor a block: a sixth would make two of them share one.
    plan = everything["plan"]
    slow = [sensor for sensor in sensors if sensor.role not in board_config.SAMPLED]
    assert len(slow) <= plan["slow_us"] // plan["block_us"]


def test_the_slowest_part_sets_its_bus(everything: Board) -> None:
    """MCP9600: 100 kHz, data sheet DS20005426, first page."""
    clock = {bus["bus"]: bus["frequency_hz"] for bus in everything["buses"]}
    for sensor in everything["sensors"]:
        limit = 100_000 if sensor["part"] == "MCP9600" else 400_000
        assert clock[sensor["bus"]] <= limit


def test_every_address_can_be_had(table: Read, everything: Board) -> None:
    rows = table("wiring.md", "straps")
    straps = {row["Part"]: {row["to ground"], row["to 3V3"]} for row in rows}
    assert set(straps) == set(board_config.DRIVERS) - ADDRESS_BY_ORDER_CODE
    for sensor in everything["sensors"]:
        if sensor["part"] in straps:
            assert sensor["address"] in straps[sensor["part"]]


def test_pull_ups_follow_the_bus_specification(table: Read) -> None:
    """NXP UM10204, 7.1, equation 1: R = t_r / (0.8473 C); table 10: t_r, at most 400 pF."""
    rise_time_s = {"400000": 300e-9, "100000": 1000e-9}
    for row in table("wiring.md", "pull-ups"):
        ohm = float(row["Pull-up in all, ohm"])
        farad = min(rise_time_s[row["Bus clock, Hz"]] / (0.8473 * ohm), 400e-12)
        assert float(row["most capacitance, pF"]) == pytest.approx(farad * 1e12, abs=0.5)
        assert ohm >= (3.3 - 0.4) / 3e-3


@pytest.mark.parametrize(("kind", "field", "word"), [("dp", "pivot", 8), ("edges", "edges", 7)])
def test_the_bench_test_counts_words_of_a_line_right(kind: str, field: str, word: int) -> None:
    ahead = 3  # kind, boot, sequence number
    names = [name for name, _ in DATA[kind]]
    assert ahead + names.index(field) + 1 == word

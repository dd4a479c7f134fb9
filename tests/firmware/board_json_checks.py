"""What may stand in board.json.

On CPython and on MicroPython, without pytest; see `checking`.
"""

import json
import sys

from checking import raises, run

import board_config

BOARD = {
    "board": "rp2-pico",
    "buses": [{"bus": 0, "sda": 4, "scl": 5, "frequency_hz": 400000}],
    "plan": {
        "block_us": 100000,
        "period_us": 5000,
        "jitter_us": 5000,
        "slow_us": 500000,
        "header_us": 10000000,
    },
    "sensors": [
        {"role": "ambient_air", "part": "BME280", "bus": 0, "address": 118},
        {"role": "meter_dp", "part": "ABP2", "bus": 0, "address": "0x28", "range_pa": [0, 2500]},
        {"role": "tank_air", "part": "LPS22HB", "bus": 0, "address": "5c"},
    ],
    "pickups": [{"role": "blower_shaft", "pin": 15, "least_us": 400}],
    "watchdog_ms": 4000,
}

# (path into BOARD, what stands there instead, None: nothing; the sentence)
FAULTS = (
    (("board",), None, "board.json: board is missing"),
    (("board",), 5, "board.json: board has the wrong form"),
    (("board",), "x" * 150, "board: a text or number is too long for a record"),
    (("bord",), "x", "board.json: bord is not known here"),
    (("buses", 0), 5, "a bus must be an object in braces"),
    (("buses", 0, "sda"), None, "bus 0: sda is missing"),
    (("buses", 0, "frequency_hz"), 0, "bus 0: frequency_hz must be 10000 to 1000000"),
    (("buses",), BOARD["buses"] * 2, "buses: bus 0 is there twice"),
    (("sensors", 1), None, "sensors: exactly one must have the role meter_dp"),
    (("sensors", 0, "role"), "blower", "a sensor: role must be one of ambient_air, "),
    (("sensors", 0, "part"), "BMP85", "ambient_air: part must be one of ABP2, BME280, "),
    (("sensors", 0, "bus"), 1, "ambient_air: bus 1 is not among the buses"),
    (("sensors", 0, "address"), "0x28", "meter_dp: address 0x28 of bus 0 is taken"),
    (("sensors", 0, "address"), "x28", 'ambient_air: address must be "0x08" to "0x77"'),
    (("sensors", 0, "address"), 4.5, "ambient_air: address has the wrong form"),
    (("sensors", 1, "range"), [0, 1], "meter_dp: range is not known here"),
    (("sensors", 1, "range_pa"), None, "meter_dp: range_pa must be two numbers"),
    (("sensors", 1, "range_pa"), ["0." + "0" * 90, 1], "meter_dp: a text or number is too long"),
    (("sensors", 1, "part"), "BMP280", "meter_dp: BMP280 measures no differential pressure"),
    (("sensors", 2, "part"), "SHT3x", "tank_air: SHT3x measures no absolute pressure"),
    (
        ("sensors", 2),
        {"role": "blower_air", "part": "MCP9600", "bus": 0, "address": 96},
        "blower_air: MCP9600 measures no absolute pressure",
    ),
    # Its own temperature is not that of the air.
    (
        ("sensors", 0),
        {"role": "ambient_air", "part": "HSC", "bus": 0, "address": 41, "range_pa": [0, 1]},
        "ambient_air: HSC measures no absolute pressure or temperature",
    ),
    (
        ("sensors", 2),
        {
            "role": "discharge_temperature",
            "part": "DLH",
            "bus": 0,
            "address": 41,
            "range_pa": [0, 1],
        },
        "discharge_temperature: DLH measures no temperature",
    ),
    (("pickups",), [], "pickups: one or two are needed"),
    (("pickups",), BOARD["pickups"] * 2, "pickups: blower_shaft is there twice"),
    (("pickups", 0, "role"), "wheel", "a pickup: role must be one of blower_shaft"),
    (("pickups", 0, "least_us"), 0, "blower_shaft: least_us must be 1 to 20000"),
    (("pickups", 0, "pin"), 5, "pin 5 is used twice"),
    (("plan", "period_us"), 2000.5, "plan: period_us has the wrong form"),
    (("plan", "period_us"), 3000, "plan: block_us must be a multiple of period_us"),
    (("plan", "jitter_us"), 5001, "plan: jitter_us must not exceed period_us"),
    (("plan", "slow_us"), 550000, "plan: slow_us must be a multiple of block_us"),
    (("watchdog_ms",), 1000, "watchdog_ms: 0 (none) or at least 2000"),
    (("bluetooth",), 1, "bluetooth: true or false"),
    (("supply",), {"pin": 29}, "supply: full_scale_v is missing"),
    (("supply",), {"pin": 5, "full_scale_v": 9.9}, "pin 5 is used twice"),
    (("supply",), {"pin": 29, "full_scale_v": 0}, "supply: full_scale_v must be 1 to 100"),
    (("sensors", 2, "role"), "meter_dp_low", "meter_dp_low: LPS22HB measures no differential"),
    (("watchdog_ms",), 9000, "board.json: watchdog_ms must be 0 to 8388"),
)


def changed(path, value):
    """BOARD's text with one thing changed."""
    board = json.loads(json.dumps(BOARD))
    place = board
    for key in path[:-1]:
        place = place[key]
    if value is None:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return json.dumps(board)


def made(text):
    config = board_config.load(text)
    return board_config.make_sensors(config, {0: None})


def check_board_json():
    sensors = made(json.dumps(BOARD))
    assert [(s.index, s.role, s.address, s.period_us) for s in sensors] == [
        (0, "meter_dp", 0x28, 5000),
        (1, "ambient_air", 0x76, 500000),
        (2, "tank_air", 0x5C, 500000),
    ]
    low = {"role": "meter_dp_low", "part": "HSC", "bus": 0, "address": 56, "range_pa": [-9, 9]}
    two = made(changed(("sensors", 0), low))
    assert [(s.role, s.period_us) for s in two[:2]] == [("meter_dp", 5000), ("meter_dp_low", 5000)]
    supplied = made(changed(("supply",), {"pin": 29, "full_scale_v": 9.9}))[-1]
    assert (supplied.role, supplied.bus_number, supplied.address) == ("supply", -1, 29)
    for path, value, sentence in FAULTS:
        message = raises(ValueError, made, changed(path, value))
        assert message.startswith(sentence), message
        assert "\n" not in message, message
    for text in ("", '{"board": "x"', "\xe9"):
        assert raises(ValueError, made, text).startswith("board.json is not JSON"), text
    assert raises(ValueError, made, "[]") == "board.json must hold an object in braces"
    dry = {"role": "ambient_air", "part": "SHT4x", "bus": 0, "address": 68}
    assert made(changed(("sensors", 0), dry))[1].part == "SHT4x"
    too_fast = changed(("plan", "period_us"), 4000)
    too_fast = too_fast.replace('"jitter_us": 5000', '"jitter_us": 0')
    assert raises(ValueError, made, too_fast) == (
        "meter_dp: ABP2 needs 5000 us a reading, the plan gives 4000"
    )


if __name__ == "__main__":
    sys.exit(run(globals()))

"""Checks board.json and makes a driver for each sensor. Every fault is one sentence."""

import json

from record_format import encode
from sensor import Sensor

# role: the quantities of which its part must measure at least one
ROLES = {
    "meter_dp": ("differential_pressure",),
    "meter_dp_low": ("differential_pressure",),
    "ambient_air": ("pressure", "temperature"),
    "meter_air": ("pressure",),
    "blower_air": ("pressure",),
    "tank_air": ("pressure",),
    "discharge_temperature": ("temperature",),
}
SHAFTS = ("blower_shaft", "engine_shaft")
MOST_PIN = 64
NO_BUS = -1  # of a part that is read by a pin of the board

# part: (module in /lib, class)
DRIVERS = {
    "HSC": ("hsc", "Hsc"),
    "SSC": ("hsc", "Hsc"),
    "MS4525DO": ("hsc", "Hsc"),
    "ABP2": ("abp2", "Abp2"),
    "DLH": ("abp2", "Abp2"),
    "BME280": ("bme280", "Bme280"),
    "BMP280": ("bme280", "Bme280"),
    "LPS22HB": ("lps22hb", "Lps22hb"),
    "LPS22HH": ("lps22hb", "Lps22hb"),
    "SHT3x": ("sht", "Sht"),
    "SHT4x": ("sht", "Sht"),
    "MCP9600": ("mcp9600", "Mcp9600"),
}

# name: (least, greatest) of the plan, microseconds
PLAN = {
    "block_us": (20000, 1000000),
    "period_us": (1000, 100000),
    "jitter_us": (0, 16000),  # times 65535 it is still a small integer
    "slow_us": (100000, 10000000),
    "header_us": (1000000, 60000000),
}


KEYS = ("board", "buses", "plan", "sensors", "pickups", "watchdog_ms", "bluetooth", "supply")
SAMPLED = ("meter_dp", "meter_dp_low")  # once a slot; the others every slow_us


def load(text):
    """board.json's text as a dictionary that `check` has passed. ValueError: a sentence."""
    try:
        config = json.loads(text)
    except ValueError:
        raise ValueError("board.json is not JSON: look for a missing comma, quote or bracket")
    if not isinstance(config, dict):
        raise ValueError("board.json must hold an object in braces")
    check(config)
    return config


def check(config):
    allow(config, "board.json", KEYS)
    fits("board", "board", (0, 0, 0, need(config, "board.json", "board", str), "-" * 32, "", 0, 0))
    pins = []
    numbers = []
    for bus in need(config, "board.json", "buses", list):
        allow(bus, "a bus", ("bus", "sda", "scl", "frequency_hz"))
        whole(bus, "a bus", "bus", 0, 8)
        where = "bus %d" % bus["bus"]
        whole(bus, where, "sda", 0, MOST_PIN)
        whole(bus, where, "scl", 0, MOST_PIN)
        whole(bus, where, "frequency_hz", 10000, 1000000)
        numbers.append(bus["bus"])
        pins += [bus["sda"], bus["scl"]]
    once(numbers, "buses: bus %d is there twice")
    check_sensors(need(config, "board.json", "sensors", list), numbers)
    shafts = []
    for pickup in need(config, "board.json", "pickups", list):
        allow(pickup, "a pickup", ("role", "pin", "least_us"))
        choice(pickup, "a pickup", "role", SHAFTS)
        whole(pickup, pickup["role"], "pin", 0, MOST_PIN)
        whole(pickup, pickup["role"], "least_us", 1, 20000)
        shafts.append(pickup["role"])
        pins.append(pickup["pin"])
    if not shafts:
        raise ValueError("pickups: one or two are needed")
    once(shafts, "pickups: %s is there twice")
    if "supply" in config:
        pins.append(check_supply(config["supply"]))
    once(pins, "pin %d is used twice")
    check_plan(need(config, "board.json", "plan", dict))
    whole(config, "board.json", "watchdog_ms", 0, 8388)  # an RP2040 ends there
    if 0 < config["watchdog_ms"] < 2000:
        raise ValueError("watchdog_ms: 0 (none) or at least 2000")
    if not isinstance(config.get("bluetooth", False), bool):
        raise ValueError("bluetooth: true or false")


def check_sensors(sensors, bus_numbers):
    taken = []
    for sensor in sensors:
        choice(sensor, "a sensor", "role", sorted(ROLES))
        role = sensor["role"]
        allow(sensor, role, ("role", "part", "bus", "address", "range_pa", "rated_counts"))
        choice(sensor, role, "part", sorted(DRIVERS))
        whole(sensor, role, "bus", 0, 8)
        if sensor["bus"] not in bus_numbers:
            raise ValueError("%s: bus %d is not among the buses" % (role, sensor["bus"]))
        sensor["address"] = address(sensor, role)
        place = (sensor["bus"], sensor["address"])
        if place in taken:
            raise ValueError("%s: address 0x%02x of bus %d is taken" % (role, place[1], place[0]))
        taken.append(place)
    roles = [sensor["role"] for sensor in sensors]
    if roles.count("meter_dp") != 1:
        raise ValueError("sensors: exactly one must have the role meter_dp")
    if roles.count("meter_dp_low") > 1:
        raise ValueError("sensors: one only may have the role meter_dp_low")


def check_supply(supply):
    """The pin by which the board measures its supply voltage."""
    allow(supply, "supply", ("pin", "full_scale_v"))
    whole(supply, "supply", "pin", 0, MOST_PIN)
    if not 1 <= need(supply, "supply", "full_scale_v", (int, float)) <= 100:
        raise ValueError("supply: full_scale_v must be 1 to 100")
    return supply["pin"]


def check_plan(plan):
    allow(plan, "plan", PLAN)
    for key, (least, greatest) in PLAN.items():
        whole(plan, "plan", key, least, greatest)
    if plan["block_us"] % plan["period_us"]:
        raise ValueError("plan: block_us must be a multiple of period_us")
    if plan["jitter_us"] > plan["period_us"]:
        raise ValueError("plan: jitter_us must not exceed period_us")
    for key in ("slow_us", "header_us"):
        if plan[key] % plan["block_us"]:
            raise ValueError("plan: %s must be a multiple of block_us" % key)


def make_sensors(config, buses, analogue=None):
    """The sensors of a checked configuration, those of SAMPLED first. ValueError when one of them
    cannot be had as it is described there. analogue: the input of the pin of `supply`."""
    entries = []
    for role in SAMPLED:
        entries += [entry for entry in config["sensors"] if entry["role"] == role]
    entries += [entry for entry in config["sensors"] if entry["role"] not in SAMPLED]
    plan = config["plan"]
    sensors = []
    for index, entry in enumerate(entries):
        role = entry["role"]
        driver = make_driver(entry, buses[entry["bus"]])
        for channel in driver.channels:
            fits(role, "channel", (99, 99, index, 0) + channel)
        check_quantities(role, entry["part"], [channel[0] for channel in driver.channels])
        period_us = plan["period_us" if role in SAMPLED else "slow_us"]
        if period_us < driver.least_period_us:
            raise ValueError(
                "%s: %s needs %d us a reading, the plan gives %d"
                % (role, entry["part"], driver.least_period_us, period_us)
            )
        sensors.append(
            Sensor(
                index,
                role,
                entry["part"],
                entry["bus"],
                entry["address"],
                period_us,
                driver,
            )
        )
    if "supply" in config:
        sensors.append(make_supply(config, analogue, len(sensors)))
    return sensors


def make_supply(config, analogue, index):
    from supply import Supply  # noqa: PLC0415  (few boards measure it)

    options = config["supply"]
    driver = Supply(analogue, options["pin"], "ADC", options)
    return Sensor(index, "supply", "ADC", NO_BUS, options["pin"], config["plan"]["slow_us"], driver)


def check_quantities(role, part, measured):
    # The temperature of a differential-pressure part is its own, not that of some air.
    if "differential_pressure" in measured:
        measured = ("differential_pressure",)
    wanted = ROLES[role]
    if not any(quantity in measured for quantity in wanted):
        words = " or ".join(wanted).replace("_", " ")
        if wanted[0] == "pressure":
            words = "absolute " + words
        raise ValueError("%s: %s measures no %s" % (role, part, words))


def make_driver(sensor, bus):
    """The driver of a checked sensor entry. ValueError when its file is missing or spoilt, or
    its options are wrong."""
    module, name = DRIVERS[sensor["part"]]
    try:
        driver = getattr(__import__(module), name)
    except (ImportError, SyntaxError, AttributeError) as fault:  # a copy may end half-way
        raise ValueError(
            "%s: no driver of %s: %s; copy lib to the board again"
            % (sensor["role"], sensor["part"], fault)
        )
    try:
        return driver(bus, sensor["address"], sensor["part"], sensor)
    except ValueError as fault:
        raise ValueError("%s: %s" % (sensor["role"], fault))


def need(table, where, key, kind):
    if key not in table:
        raise ValueError("%s: %s is missing" % (where, key))
    if not isinstance(table[key], kind):
        raise ValueError("%s: %s has the wrong form" % (where, key))
    return table[key]


def allow(table, where, keys):
    if not isinstance(table, dict):
        raise ValueError("%s must be an object in braces" % where)
    for key in table:
        if key not in keys:
            raise ValueError("%s: %s is not known here" % (where, key))


def once(values, sentence):
    for i, value in enumerate(values):
        if value in values[:i]:
            raise ValueError(sentence % value)


def fits(where, kind, values):
    """ValueError when a header record of these values is too long to be sent."""
    try:
        encode(kind, 0xFFFFFF, 999999999, values)
    except ValueError:
        raise ValueError("%s: a text or number is too long for a record" % where)


def whole(table, where, key, least, greatest):
    value = need(table, where, key, int)
    if not least <= value <= greatest:
        raise ValueError("%s: %s must be %d to %d" % (where, key, least, greatest))


def choice(table, where, key, choices):
    if not isinstance(table, dict):
        raise ValueError("%s must be an object in braces" % where)
    if need(table, where, key, str) not in choices:
        raise ValueError("%s: %s must be one of %s" % (where, key, ", ".join(choices)))


def address(sensor, role):
    """An I2C address: a number, or text such as "0x28", since JSON has no hexadecimals."""
    value = need(sensor, role, "address", (int, str))
    try:
        number = int(value, 16) if isinstance(value, str) else int(value)
    except ValueError:
        number = -1
    if not 8 <= number <= 119:
        raise ValueError('%s: address must be "0x08" to "0x77"' % role)
    return number

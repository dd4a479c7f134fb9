"""Random sensors and pickups for all studies, and the trouble that a run is made with.

Errors are drawn within the data sheets that the host ships, one half uniform, one half normal.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from dice import Dice
from machines import Tree
from operators import Stay
from pullcurve.bench.plant import Plant
from pullcurve.rig.sensor_parts import SENSOR_PARTS

TROUBLES = (
    "tubes_reversed",
    "sensor_clipped",
    "water_in_line",
    "wrong_marks",
    "pickup_dropout",
    "sea_level_pressure",
    "mark_missed",
)
MORE_TROUBLES = ("straightener_missing", "straightener_clogged", "records_lost", "clock_jump")

_MBAR, _INCH, _PSI = 100.0, 249.0889, 6894.757
# Upper ends that are sold, two-sided and one-sided, from memory.
_TWO_SIDED = {
    "HSC": (25 * _MBAR, 40 * _MBAR, 60 * _MBAR, _PSI),
    "SSC": (25 * _MBAR, 40 * _MBAR, 60 * _MBAR, _PSI),
    "MS4525DO": (_PSI,),
    "ABP2": (25 * _MBAR, 40 * _MBAR, 60 * _MBAR, _PSI),
    "DLH": (10 * _INCH, 20 * _INCH, 30 * _INCH),
}
_ONE_SIDED = {"HSC": (25 * _MBAR, 40 * _MBAR, 60 * _MBAR, _PSI), "MS4525DO": (_PSI,)}
_PARTS = ("HSC", "HSC", "HSC", "SSC", "MS4525DO", "ABP2", "DLH", "DLH")
# Where the count stops, over the upper end of a two-sided range.
_STOPS = {"HSC": 1.187, "SSC": 1.187, "MS4525DO": 1.187, "ABP2": 1.25, "DLH": 1.25}
_HEADROOM = 1.15
_AIR_PARTS = {
    "meter_air": ("BMP280", 0, 0x77),
    "blower_air": ("BMP280", 1, 0x76),
    "tank_air": ("LPS22HB", 1, 0x5C),
    "discharge_temperature": ("MCP9600", 1, 0x67),
}


def draw_pickups(
    dice: Dice,
    trouble: str | None,
    stays: Sequence[Stay],
    shafts: Sequence[str] = ("blower_shaft",),
) -> tuple[list[Tree], Tree]:
    """The pickups, and the rig's tables of them; a trouble is that of the first shaft's."""
    marks = dice.whole(2, 6) if trouble in ("wrong_marks", "mark_missed") else dice.whole(1, 6)
    spread = dice.ratio(0.002, 0.02)  # of a pitch
    first: Tree = {
        "role": shafts[0],
        "marks": marks,
        "uneven": [dice.normal(spread) for _ in range(marks)],
        "missed": dice.one_of((0.0, 0.0, dice.between(0, 0.004))),
        "doubled": dice.one_of((0.0, 0.0, dice.between(0, 0.004))),
        "doubled_after_us": dice.between(450, 900),
    }
    if trouble == "mark_missed":
        first["missed_marks"] = [dice.between(0.25, 0.7), *[0.0] * (marks - 1)]
    if trouble == "pickup_dropout":
        first["dropouts"] = _dropouts(dice, stays)
    pickups = [first, *({"role": shaft, "marks": dice.whole(1, 2)} for shaft in shafts[1:])]
    rig = {each["role"]: {"marks_per_turn": each["marks"]} for each in pickups}
    while trouble == "wrong_marks" and rig[shafts[0]]["marks_per_turn"] == marks:
        rig[shafts[0]]["marks_per_turn"] = dice.whole(1, 6)
    return [each | {"jitter_us": dice.between(1, 15)} for each in pickups], rig


def _dropouts(dice: Dice, stays: Sequence[Stay]) -> list[tuple[float, float]]:
    found = []
    for _ in range(dice.whole(1, 3)):
        stay = dice.one_of(stays)
        start = dice.between(stay.start_s, stay.end_s - 2)
        found.append((start, start + dice.between(1, 8)))
    return found


def _water(dice: Dice, scenario: Tree) -> Tree:
    """A slug that comes in the first half of the run and stays, or goes again, or is there
    whenever the engine turns."""
    duration_s = scenario["duration_s"]
    course = dice.one_of(("stays", "goes", "turning"))
    from_s = dice.between(0, 0.5) * duration_s
    to_s = duration_s + 1
    if course == "goes":
        to_s = min(to_s, from_s + dice.between(0.15, 0.5) * duration_s)
    elif course == "turning":
        turning = [at_s for at_s, rpm in scenario["machine"]["engine"]["throttle"] if rpm]
        from_s, to_s = max(turning[0] - 1, 0), turning[-1] + 1
    return {
        "from_s": from_s,
        "to_s": to_s,
        "line": dice.one_of(("upstream", "throat")),
        "offset_pa": dice.sign() * dice.ratio(30, 300),
        "share": dice.normal(0.015),
        "stick_pa": dice.between(50, 400),
        "time_constant_s": dice.ratio(0.08, 0.8),
    }


def meter_sensor(dice: Dice, trouble: str | None, plant: Plant) -> Tree:
    """A part whose range suits the pressures, as it truly is."""
    truth = plant.truth()
    ripple = 2.2 * sum(harmonic.amplitude for harmonic in plant.scenario.meter.pulsation)
    top = float(truth["differential_pressure_pa"].max())
    part = dice.one_of(_PARTS)
    one_sided = part in _ONE_SIDED and dice.chance(0.5)
    stops: Tree = {}
    if trouble == "sensor_clipped":
        stop = dice.between(0.7, 0.98) * top
        end = stop / _STOPS[part]
        if dice.chance(0.5):  # a part that stops where its rated range ends
            end, stops = stop, {"stops_pa": (-1.02 * stop, stop)}
        low, high = -end, end
    else:
        wanted = _HEADROOM * top * (1 + ripple)
        sold = (_ONE_SIDED if one_sided else _TWO_SIDED)[part]
        high = next((end for end in sold if end >= wanted), wanted)
        low = 0.0 if one_sided else -high
    sheet = SENSOR_PARTS[part].differential_pressure
    assert sheet is not None
    span = high - low
    bow = dice.within(0.6 * sheet.nonlinearity)
    sensor = {
        "role": "meter_dp",
        "part": part,
        "address": 0x28,
        "range_pa": (low, high),
        "zero_error": dice.within(sheet.error_band * span),
        "gain_error": dice.within(sheet.gain_bound),
        "nonlinearity": (bow * span, dice.within(0.4 * sheet.nonlinearity) * span),
        "noise": dice.ratio(1e-4, 5e-4) * span,
        "heat_k": dice.between(1, 5),
    }
    return sensor | stops | _drift(dice, span, plant.scenario.duration_s)


def _drift(dice: Dice, span: float, duration_s: float) -> Tree:
    """How the zero moves: not at all, steadily, by its own warmth, or in the sun."""
    kind = dice.one_of(("none", "steady", "warm_up", "sun"))
    if kind == "steady":
        return {"zero_drift_per_s": dice.normal(6e-4) * span / duration_s}
    if kind == "warm_up":
        return {"warm_up_error": dice.normal(1e-3) * span, "warm_up_s": dice.ratio(40, 400)}
    if kind == "sun":
        sun = {
            "from_s": dice.between(0, 0.6) * duration_s,
            "rise_k": dice.between(4, 18),
            "time_constant_s": dice.ratio(40, 300),
        }
        return {"sun": sun, "zero_per_k": dice.normal(6e-5) * span, "gain_per_k": dice.normal(5e-5)}
    return {}


def air_sensors(dice: Dice, roles: Iterable[str], *, pressure: bool = True) -> list[Tree]:
    """The open air's sensor and those of `roles`; without `pressure` none tells the station's."""
    return [
        _part(dice, "ambient_air", *(("BME280", 0, 0x76) if pressure else ("SHT4x", 0, 0x44))),
        *(_part(dice, role, *_AIR_PARTS[role]) for role in roles),
    ]


def _part(dice: Dice, role: str, part: str, bus: int, address: int) -> Tree:
    sensor: Tree = {"role": role, "part": part, "bus": bus, "address": address}
    sheet = SENSOR_PARTS[part]
    if sheet.humidity is not None:
        sensor["humidity_error"] = dice.within(sheet.humidity.bound)
    if role == "discharge_temperature":
        return sensor | {"zero_error": dice.within(1.5), "noise": 0.06}
    if sheet.pressure is None:
        return sensor | {"zero_error": dice.within(sheet.temperature.bound)}
    return sensor | {
        "zero_error": dice.within(sheet.pressure.bound),
        "temperature_error_k": dice.within(sheet.temperature.bound),
        "noise": dice.between(0.7, 3),
    }


def typed_pressure(dice: Dice, site: Any, *, sea_level: bool) -> float:
    """A barometer's reading [Pa], or what the weather report makes of it at sea level."""
    if not sea_level:
        return float(site.pressure_pa + dice.within(200.0))
    # QNH: the station's pressure reduced with the atmosphere of ISO 2533:1975
    n = 0.190263
    at_sea_level = site.pressure_pa**n + 101325**n * 0.0065 * site.altitude_m / 288.15
    return float(np.power(at_sea_level, 1 / n))


def spoil(dice: Dice, trouble: str | None, scenario: Tree) -> Tree:
    """The scenario's tables with the troubles of meter, lines and link."""
    spoilt, meter = dict(scenario), dict(scenario["meter"])
    duration_s = scenario["duration_s"]
    if trouble == "tubes_reversed":
        meter["tubes_reversed"] = True
    if trouble == "water_in_line":
        spoilt["events"] = scenario.get("events", {}) | {"water": [_water(dice, scenario)]}
    if trouble == "straightener_missing":
        meter["discharge_coefficient"] *= 1 - dice.between(0.01, 0.05)
        meter["coefficient_noise"] = dice.between(0.01, 0.04)
    if trouble == "straightener_clogged":
        meter["inlet_loss"] += dice.between(1.5, 8)
    if trouble == "records_lost":
        begin_s = dice.between(0, duration_s - 100)  # longer than the board remembers
        spoilt["link"] = {"outages": [(begin_s, begin_s + dice.between(60, 90))]}
    elif dice.chance(0.08):
        rate = dice.ratio(1e-5, 3e-4)
        spoilt["link"] = {"damage": [{"from_s": 0.0, "to_s": duration_s, "rate": rate}]}
    return spoilt | {"meter": meter}

"""What surrounds the simulated board: parts on its buses, edges on its pins, resets."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np

from pullcurve.bench.board_side import END, RESET
from pullcurve.bench.firmware_files import firmware_folder
from pullcurve.bench.instrument import SensorTruth
from pullcurve.bench.moist_air import ZERO_CELSIUS_K
from pullcurve.bench.parts import Nack, Part, PhysicalValues, build_part
from pullcurve.bench.plant import Plant
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.sensing import heat_k, imperfections

PINS = {"blower_shaft": 15, "engine_shaft": 14}


def board_json(scenario: Scenario) -> dict[str, Any]:
    """The board.json of the scenario's board: the shipped one with its sensors and pickups."""
    shipped: dict[str, Any] = json.loads(
        (firmware_folder() / "board.json").read_text(encoding="utf-8")
    )
    shipped["sensors"] = [
        {"role": s.role, "part": s.part, "bus": s.bus, "address": s.address}
        | ({"range_pa": list(s.range_pa)} if s.range_pa else {})
        for s in scenario.sensors
    ]
    shipped["pickups"] = [
        {"role": pickup.role, "pin": PINS[pickup.role], "least_us": 400}
        for pickup in scenario.pickups
    ]
    if any(sensor.bus for sensor in scenario.sensors):
        shipped["buses"].append({"bus": 1, "sda": 6, "scl": 7, "frequency_hz": 100000})
    return shipped | scenario.board


class World:
    """Answers the board's bus transactions and tells what befalls its pins.

    `parts` holds the simulated parts by role, in the scenario's order.
    """

    def __init__(self, scenario: Scenario, plant: Plant) -> None:
        self.parts: dict[str, list[Part]] = {}
        self._places: dict[tuple[int, int], Part] = {}
        for index, sensor in enumerate(scenario.sensors):
            part = _build(sensor, plant, scenario.seed + index)
            self.parts.setdefault(sensor.role, []).append(part)
            self._places[sensor.bus, sensor.address] = part
        events = [(scenario.duration_s, END), *((at_s, RESET) for at_s in scenario.link.resets_s)]
        times_s = [np.array([at_s for at_s, _ in events])]
        pins = [np.array([pin for _, pin in events])]
        for pickup in scenario.pickups:
            edges_s = plant.edges(pickup)
            times_s.append(edges_s)
            pins.append(np.full(len(edges_s), PINS[pickup.role]))
        times_us = np.rint(np.concatenate(times_s) * 1e6).astype(np.int64)
        order = np.argsort(times_us, kind="stable")
        self._times_us = times_us[order]
        self._pins = np.concatenate(pins)[order]

    def transact(
        self, now_us: int, bus: int, address: int, data: bytes, length: int
    ) -> bytes | None:
        """One bus transaction: the bytes read, or None when nobody acknowledges."""
        part = self._places.get((bus, address))
        if part is None:
            return None
        now_s = now_us * 1e-6
        try:
            if data or not length:
                part.write(data, now_s)
            return part.read(length, now_s) if length else b""
        except Nack:
            return None

    def happenings(self, from_us: int, to_us: int) -> list[tuple[int, int]]:
        """What happens from one time to before another: (time, pin), sorted."""
        low, high = np.searchsorted(self._times_us, (from_us, to_us))
        return list(
            zip(self._times_us[low:high].tolist(), self._pins[low:high].tolist(), strict=True)
        )


def _build(sensor: SensorTruth, plant: Plant, seed: int) -> Part:
    values = _truth(sensor, plant)
    return build_part(
        sensor.part, sensor.address, values, imperfections(sensor), seed, sensor.range_pa
    )


def _truth(sensor: SensorTruth, plant: Plant) -> PhysicalValues:
    def part_c(time_s: float) -> float:
        warmer: float = heat_k(sensor, time_s)
        return plant.ambient_temperature(time_s) - ZERO_CELSIUS_K + warmer

    if sensor.role in ("meter_dp", "meter_dp_low"):
        return PhysicalValues(
            differential_pressure_pa=plant.differential_pressure, temperature_c=part_c
        )
    if sensor.role == "discharge_temperature":
        return PhysicalValues(
            temperature_c=lambda time_s: plant.discharge_temperature(time_s) - ZERO_CELSIUS_K
        )
    pressures: dict[str, Callable[[float], float]] = {
        "ambient_air": plant.ambient_pressure,
        "meter_air": plant.meter_pressure,
        "blower_air": plant.blower_pressure,
        "tank_air": plant.tank_pressure,
    }
    return PhysicalValues(
        pressure_pa=pressures[sensor.role],
        temperature_c=part_c,
        humidity=lambda _: plant.scenario.site.humidity,
    )

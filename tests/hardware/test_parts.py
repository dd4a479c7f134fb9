"""parts.md against board.json, the firmware's drivers and the physics."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import board_config
from pullcurve.physics import air
from pullcurve.physics.flow_equation import solve_open_inlet
from pullcurve.physics.venturi import VenturiTube
from pullcurve.quantities import to_si
from pullcurve.rig.sensor_parts import SENSOR_PARTS

Board = dict[str, Any]
Read = Callable[[str, str], list[dict[str, str]]]

PEAK = 1.3**2  # of the mean differential pressure, at a flow that swings by 30 %


def _parts(board: Board) -> dict[str, str]:
    parts = {sensor["role"]: sensor["part"] for sensor in board["sensors"]}
    return parts | {pickup["role"]: "pickup" for pickup in board["pickups"]}


def test_every_role_has_its_part_and_number(table: Read, board: Board, everything: Board) -> None:
    shipped, all_of_them = _parts(board), _parts(everything)
    listed = table("parts.md", "roles")
    assert {row["Role"]: row["Part"] for row in listed} == all_of_them
    assert len(listed) == len(all_of_them)
    for row in listed:
        assert row["shipped"] == str(int(row["Role"] in shipped))
        assert row["all options"] == "1"


def test_every_part_that_the_firmware_reads_is_described(table: Read) -> None:
    listed = [row["Part"] for row in table("parts.md", "parts")]
    assert sorted(listed) == sorted(board_config.DRIVERS)


def _flow(differential_pressure: np.ndarray, altitude: float) -> np.ndarray:
    """Flow at the state of the open air, m3/s, for the tube and air of the page."""
    tube = VenturiTube(to_si("5.693 in", "length"), to_si("3.870 in", "length"), 0.97)
    pressure = float(air.standard_pressure(altitude))
    temperature = air.ZERO_CELSIUS + 20
    vapour = air.vapour_fraction(pressure, temperature, 0.40)
    state = solve_open_inlet(
        tube,
        differential_pressure,
        ambient_pressure=pressure,
        ambient_temperature=temperature,
        vapour=vapour,
        inlet_loss=0.5,
    )
    assert state.converged.all()
    return np.asarray(state.mass_flow / air.density(pressure, temperature, vapour))


def _entry(mean: float, low: float, high: float) -> str:
    if mean > high:
        return "past its end"
    shift = 100 * SENSOR_PARTS["HSC"].differential_pressure.nonlinearity * (high - low) / mean / 2
    return f"{shift:.1f}" + (", peaks" if PEAK * mean > high else "")


def test_the_table_of_ranges_is_computed(table: Read) -> None:
    ranges = [(-6895, 6895), (0, 6895), (-2500, 2500)]
    grid = np.linspace(50, 9000, 2000)
    sea, hill = _flow(grid, 0.0), _flow(grid, 620.0)
    expected = []
    for flow in np.arange(0.20, 0.801, 0.06):
        mean = float(np.interp(flow, hill, grid))
        cells = [f"{flow:.2f}", f"{flow / to_si('1 ft3/min', 'volume_flow'):.0f}"]
        cells += [f"{np.interp(flow, sea, grid):.0f}", f"{mean:.0f}"]
        cells += [_entry(mean, low, high) for low, high in ranges]
        expected.append("| " + " | ".join(cells) + " |")
    found = ["| " + " | ".join(row.values()) + " |" for row in table("parts.md", "ranges")]
    assert "\n".join(found) == "\n".join(expected)


def test_a_tube_of_the_same_ratio_scales_with_the_throat() -> None:
    dp, pressure = 1000.0, 90e3
    flows = [
        float(
            solve_open_inlet(
                VenturiTube(0.1 * scale, 0.075 * scale, 0.97),
                dp,
                ambient_pressure=pressure,
                ambient_temperature=293.15,
                vapour=0.01,
                inlet_loss=0.5,
            ).mass_flow
        )
        for scale in (1.0, 0.8)
    ]
    assert flows[1] / flows[0] == pytest.approx(0.64, rel=1e-9)

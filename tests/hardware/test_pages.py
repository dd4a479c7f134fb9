"""README.md against the example rigs, and the cautions at the head of the pages."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pullcurve.rig.loading import load_rig

HARDWARE = Path(__file__).parents[2] / "hardware"
RIGS = sorted((HARDWARE / "rigs").glob("*.toml"))

# Each must be named ahead of any instruction.
HAZARDS = (
    "suction",
    "pulleys",
    "locked out",
    "never block",
    "heat",
    "noise",
    "dust",
    "lead",
    "silica",
    "static",
    "local law",
)


@pytest.mark.parametrize("page", ["README.md", "wiring.md"])
def test_cautions_come_first(page: str) -> None:
    sections = (HARDWARE / page).read_text("utf-8").split("\n## ")
    assert sections[1].startswith("Before you touch the machine\n")
    caution = " ".join(sections[1].lower().split())
    assert [hazard for hazard in HAZARDS if hazard not in caution] == []


def test_the_example_rigs_are_described(
    table: Callable[[str, str], list[dict[str, str]]],
) -> None:
    expected = []
    for path in RIGS:
        rig = load_rig(path)
        sensors = [role for role, sensor in rig.sensors if sensor is not None]
        pickups = [role for role, pickup in rig.pickups if pickup is not None]
        expected.append(
            {
                "file": f"`{path.name}`",
                "meter at": rig.meter.position,
                "sensors": ", ".join(sensors),
                "pickups": ", ".join(pickups),
            }
        )
    assert table("README.md", "rigs") == expected


@pytest.mark.parametrize(("name", "fixture"), [("port", "board"), ("hose_end", "everything")])
def test_a_rig_carries_the_parts_of_its_board(
    name: str, fixture: str, request: pytest.FixtureRequest
) -> None:
    board: dict[str, Any] = request.getfixturevalue(fixture)
    rig = load_rig(HARDWARE / "rigs" / f"{name}.toml")
    on_rig = {role: sensor.part for role, sensor in rig.sensors if sensor is not None}
    assert on_rig == {sensor["role"]: sensor["part"] for sensor in board["sensors"]}
    assert rig.sensors.meter_dp is not None
    meter = next(sensor for sensor in board["sensors"] if sensor["role"] == "meter_dp")
    assert rig.sensors.meter_dp.range == pytest.approx(meter["range_pa"], abs=0.5)
    shafts = {role for role, pickup in rig.pickups if pickup is not None}
    assert shafts == {pickup["role"] for pickup in board["pickups"]}

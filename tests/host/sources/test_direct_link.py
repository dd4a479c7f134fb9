"""The bench without MicroPython says what the bench with MicroPython says, at the same times."""

import sys
from collections import defaultdict
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest

from direct_link import DirectLink
from on_micropython import needs_unix
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import Link, Scenario, load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.errors import ScenarioError
from pullcurve.sources.bench import BenchLink

FIRMWARE = Path(__file__).parents[3] / "firmware"


def scenario(name: str, duration_s: float) -> Scenario:
    scene = load_scenario(shipped_scenarios()[name])
    return scene.model_copy(update={"duration_s": duration_s})


def said(kind: type[BenchLink], scene: Scenario) -> dict[datetime, bytes]:
    """All bytes by the time of their arrival; where one time's bytes are cut does not matter."""
    found: dict[datetime, bytes] = defaultdict(bytes)
    with kind(scene, World(scene, simulate(scene))) as link:
        for received in link:
            found[received.host_time] += received.data
    return dict(found)


@needs_unix
def test_all_sensors_and_both_shafts_byte_for_byte() -> None:
    scene = scenario("full_sensors", 45)
    direct = said(DirectLink, scene)
    assert direct == said(BenchLink, scene)
    data = b"".join(direct.values())
    assert data.count(b"\ndp ") == 449
    assert data.count(b"\nedges 1 ") == 90 + 224


@needs_unix
def test_restarts_damage_and_lost_sensors_byte_for_byte() -> None:
    scene = scenario("rough_link", 30)
    meter, air = scene.sensors
    link = {"resets_s": [12.345], "damage": [{"rate": 0.002, "from_s": 5, "to_s": 20}]}
    scene = scene.model_copy(
        update={
            "link": Link.model_validate(link),
            "sensors": (
                meter.model_copy(update={"vanish": ((3.0, 4.5),), "faults": ((15.0, 16.0),)}),
                air.model_copy(update={"vanish": ((6.0, 10.0),)}),
            ),
        }
    )
    assert said(DirectLink, scene) == said(BenchLink, scene)


@needs_unix
def test_what_comes_again_after_an_outage_byte_for_byte() -> None:
    scene = scenario("rough_link", 40)
    link = Link.model_validate({"outages": [(6, 25)], "resets_s": [15]})
    scene = scene.model_copy(update={"link": link})
    assert said(DirectLink, scene) == said(BenchLink, scene)


def test_what_nobody_reads_is_dropped_by_whole_lines() -> None:
    scene = scenario("rough_link", 120)
    scene = scene.model_copy(update={"link": Link(unread=((3.0, 104.0), (119.5, 130.0)))})
    data = b"".join(said(DirectLink, scene).values())
    numbers = [int(line.split()[2]) for line in data.splitlines()[:-1]]
    gaps = [b - a - 1 for a, b in pairwise(numbers) if b > a + 1]
    (dropped,) = (line.split()[6] for line in data.splitlines() if b" dropped " in line)
    assert gaps == [int(dropped)]


def test_a_board_that_the_firmware_refuses_is_named_in_a_sentence() -> None:
    scene = scenario("full_sensors", 10).model_copy(update={"board": {"pickups": []}})
    with pytest.raises(ScenarioError, match="full_sensors: board: pickups: one or two are needed"):
        said(DirectLink, scene)


def test_no_module_of_the_firmware_stays_importable() -> None:
    """It would stand in the way of any other module called, say, `sensor`."""
    path, modules = list(sys.path), dict(sys.modules)
    said(DirectLink, scenario("full_sensors", 1))
    assert sys.path == path
    names = {file.stem for file in FIRMWARE.rglob("*.py")} - {"record_format"}
    assert {name: sys.modules.get(name) for name in names} == {
        name: modules.get(name) for name in names
    }

"""The example rigs, against the bench's scenarios and the law that made their data sheet."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from pullcurve.checks.rig import doubts, faults
from pullcurve.checks.rig_check import costs
from pullcurve.physics.air import standard_pressure
from pullcurve.rig.loading import check_station_pressure, load_rig, parse_rig

ROOT = Path(__file__).parents[3]
RIGS = ROOT / "hardware/rigs"
PATHS = sorted(RIGS.glob("*.toml"))
SCENARIOS = ROOT / "host/pullcurve/bench/scenarios"


@pytest.mark.parametrize(
    ("rig_file", "scenario_file"),
    [
        ("port", "healthy_sweep"),
        ("port", "worn_sweep"),
        ("port", "slow_sweep"),
        ("port", "pulsating_sweep"),
        ("port", "rough_link"),
        ("machined", "machined_sweep"),
        ("clean_pipe", "clean_pipe_sweep"),
        ("high_site", "plate_sweep"),
        ("hose_end", "full_sensors"),
        ("clean_pipe", "cut"),
        ("clean_pipe", "leak_cut"),
        ("high_pipe", "high_cut"),
    ],
)
def test_the_example_rigs_are_those_of_the_bench(rig_file, scenario_file):
    rig = load_rig(RIGS / f"{rig_file}.toml")
    check_station_pressure(rig, standard_pressure)
    scenario = tomllib.loads((SCENARIOS / f"{scenario_file}.toml").read_text("utf-8"))
    meter = scenario["meter"]
    assert rig.meter.position == meter["position"]
    assert (rig.meter.pipe_bore, rig.meter.throat_bore) == (
        meter["pipe_bore_m"],
        meter["throat_bore_m"],
    )
    assert rig.site.altitude == scenario["site"]["altitude_m"]
    assert rig.site.station_pressure == pytest.approx(scenario["site"]["pressure_pa"], abs=400)
    machine = scenario["machine"]
    assert rig.machine.belt_ratio == machine["belt_ratio"]
    assert rig.machine.port_bore == machine["port_bore_m"]
    assert rig.machine.relief_vacuum == pytest.approx(machine["relief"]["vacuum_pa"], rel=0.01)
    displacement = machine["blower"]["displacement_m3"]
    assert rig.machine.blower.displacement == pytest.approx(displacement, rel=0.01)
    assert rig.machine.lobes == machine["blower"].get("lobes", 2)
    for hose in filter(None, [machine.get("hose")]):
        (piece,) = rig.machine.hose
        assert piece.length == pytest.approx(hose["length_m"], rel=1e-6)
        assert piece.bore == pytest.approx(hose["bore_m"], rel=1e-6)
    if scenario_file != "cut":  # its filter is loaded from the beginning
        clean = machine["filter"]["linear_pa_s_m3"] * rig.machine.filter.at_flow
        assert rig.machine.filter.clean_loss == pytest.approx(clean, rel=0.01)
    pickups = rig.pickups.model_dump(exclude_none=True)
    assert {role: pickup["marks_per_turn"] for role, pickup in pickups.items()} == {
        pickup["role"]: pickup["marks"] for pickup in scenario["pickups"]
    }
    sensors = rig.sensors.model_dump(exclude_none=True)
    assert {role: sensor["part"] for role, sensor in sensors.items()} == {
        sensor["role"]: sensor["part"] for sensor in scenario["sensors"]
    }
    (meter_dp,) = (part for part in scenario["sensors"] if part["role"] == "meter_dp")
    assert rig.sensors.meter_dp.range == pytest.approx(meter_dp["range_pa"], rel=1e-6)


@pytest.mark.parametrize(
    ("rig_file", "vacuum_pa", "flow_m3_s", "step", "rows", "law", "is_free_air"),
    [
        ("port", 3386.389, 4.719474e-4, 5, 28, (0.0160, 115), False),
        ("machined", 100.0, 1 / 3600, 10, 20, (0.0205, 90), True),
    ],
)
def test_the_data_sheets_follow_the_law_that_they_name(
    rig_file, vacuum_pa, flow_m3_s, step, rows, law, is_free_air
):
    """By the law as the sheets word it; units by NIST SP 811:2008."""
    rating = load_rig(RIGS / f"{rig_file}.toml").machine.blower.rating
    displacement, slip_rpm = law
    assert len(rating.rows) == rows
    for speed, vacuum, flow in rating.rows:
        ratio = 101325 / (101325 - vacuum_pa * vacuum)
        slip = slip_rpm * np.sqrt(101325 / 6894.757 * (ratio - 1))
        inlet = displacement * (speed - slip) / 60
        assert flow == step * round(inlet / (ratio if is_free_air else 1) / flow_m3_s / step)
    assert rating.rounding_m3_s == pytest.approx(step * flow_m3_s)


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_nothing_about_an_example_rig_is_odd(path):
    """Neither faults nor doubts, and no limit of use that its meter would cross."""
    rig = load_rig(path)
    assert faults(rig) == []
    assert doubts(rig, costs(rig).flows) == []
    turned = rig.machine.governed_speed_rpm * rig.machine.belt_ratio
    assert rig.machine.rated_speed_rpm == pytest.approx(turned, rel=1e-6)


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_what_a_log_keeps_of_a_rig_needs_no_other_file(path):
    rig = load_rig(path)
    again = parse_rig(rig.text, "the rig in a log")
    assert again.model_dump() == rig.model_dump()
    assert again.text == again.written == rig.text
    assert "The flow of an invented blower" in rig.text
    assert rig.written == path.read_text("utf-8")

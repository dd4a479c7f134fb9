"""Scenario files: what is refused, and that the refusal says where and why."""

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullcurve.bench.scenario import load_scenario, parse_scenario, shipped_scenarios
from pullcurve.errors import ScenarioError

TEXT = shipped_scenarios()["full_sensors"].read_text(encoding="utf-8")


def changed(old: str, new: str) -> str:
    assert TEXT.count(old) >= 1
    return TEXT.replace(old, new, 1)


def test_shipped_scenarios_bear_their_files_names() -> None:
    scenarios = {name: load_scenario(path) for name, path in shipped_scenarios().items()}
    assert {
        "healthy_sweep",
        "worn_sweep",
        "slow_sweep",
        "cut",
        "rough_link",
        "full_sensors",
        "machined_sweep",
        "clean_pipe_sweep",
        "pulsating_sweep",
        "plate_sweep",
        "leak_cut",
        "high_cut",
    } == set(scenarios)
    assert all(scenario.name == name for name, scenario in scenarios.items())
    assert len({scenario.seed for scenario in scenarios.values()}) == len(scenarios)
    full = {sensor.role for sensor in scenarios["full_sensors"].sensors}
    assert len(full) == 6
    assert len(scenarios["full_sensors"].pickups) == 2
    assert scenarios["rough_link"].link.resets_s
    assert scenarios["rough_link"].link.damage


@pytest.mark.parametrize(
    ("old", "new", "key", "sentence"),
    [
        ("belt_ratio =", "belt_ration =", "machine.belt_ration", "did you mean 'belt_ratio'"),
        ("droop =", "drop =", "machine.engine.drop", "did you mean 'droop'"),
        ('role = "tank_air"', 'rôle = "x"', None, "not valid TOML"),
        ("loss = 15.0 }", "los = 15.0 }", "events.plates.0.los", "did you mean 'loss'"),
        ("altitude_m = 620.0", "", "site.altitude_m", "is missing"),
        ("displacement_m3 = 0.016", "displacement_m3 = -1", "displacement_m3", "greater than 0"),
        ("humidity = 0.55", "humidity = 55", "site.humidity", "less than or equal to 1"),
        ("humidity = 0.55", "humidity = nan", "site.humidity", "finite"),
        ("start = 2025-09-22T15:40:00-04:00", "start = 2025-09-22T15:40:00", "start", "timezone"),
        ("throat_bore_m = 0.098298", "throat_bore_m = 0.2", "meter", "less than 'pipe_bore_m'"),
        ("from_s = 76.0", "from_s = 400.0", "events.plates.0", "must come after 'from_s'"),
        ("[19.0, 1600.0]", "[17.0, 1600.0]", "machine.engine", "must rise"),
        ("address = 0x77", "address = 0x76", "the whole", "share an address"),
        ('role = "engine_shaft"', 'role = "blower_shaft"', "the whole", "one pickup only"),
        ('position = "hose_end"', 'position = "port"', "the whole", "no place for 'machine.hose'"),
        ("uneven = [0.0, 0.012]", "uneven = [0.0]", "pickups.0", "one offset for each"),
        (
            "missed = 0.0005",
            "missed_marks = [0.1]",
            "pickups.0",
            "'missed_marks' must hold one share for each",
        ),
        ("noise = 0.06", "nonlinearity = [0.1, 0.0]", "sensors.5", "give 'range_pa'"),
        (
            "[events]",
            "[events]\nwater = [{ from_s = 1, to_s = 9, line = 'throat', ofset_pa = 3 }]",
            "events.water.0.ofset_pa",
            "did you mean 'offset_pa'",
        ),
        ('role = "meter_dp"', 'role = "tank_air"', "the whole", "must have the role meter_dp"),
        ("[events]", "[events]\nhose_off = [[9.0, 3.0]]", "events.hose_off.0", "must end after"),
    ],
)
def test_a_fault_is_named_with_file_key_and_reason(
    old: str, new: str, key: str | None, sentence: str
) -> None:
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(changed(old, new), "demo.toml")
    message = str(caught.value)
    assert message.startswith("demo.toml: ")
    assert sentence in message
    if key is not None:
        assert f"{key}: " in message


def test_every_fault_has_a_line_of_its_own() -> None:
    text = changed("belt_ratio =", "belt_ration =").replace("seed = ", "seeds = ")
    with pytest.raises(ScenarioError) as caught:
        parse_scenario(text, "demo.toml")
    keys = sorted(line.split(": ")[1] for line in str(caught.value).splitlines())
    assert keys == ["machine.belt_ratio", "machine.belt_ration", "seed", "seeds"]


def test_unreadable_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match="cannot be read"):
        load_scenario(tmp_path / "none.toml")
    with pytest.raises(ScenarioError, match="cannot be read"):
        load_scenario(tmp_path)
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"name = \xff\xfe")
    with pytest.raises(ScenarioError, match="UTF-8"):
        load_scenario(binary)


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    marked = tmp_path / "marked.toml"
    marked.write_text(TEXT, encoding="utf-8-sig")
    assert load_scenario(marked).name == "full_sensors"


LINES = TEXT.splitlines()


@given(
    line=st.integers(0, len(LINES) - 1),
    value=st.sampled_from(["[]", "{}", '""', "-1", "1e400", "true", "[[1, 2], [3]]", "07:30:00"]),
)
@settings(max_examples=60, deadline=None)
def test_a_wrong_value_raises_no_other_error(line: int, value: str) -> None:
    key, separator, _ = LINES[line].partition("=")
    if not separator or key.lstrip().startswith("#"):
        return
    text = "\n".join([*LINES[:line], f"{key}= {value}", *LINES[line + 1 :]])
    with suppress(ScenarioError):  # any other exception is a failure
        parse_scenario(text, "demo.toml")

"""The self-test against the firmware on the bench: what is sound passes, each fault is named."""

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from click.testing import CliRunner

from direct_link import DirectLink
from host.bench.plain import scenario
from on_micropython import needs_unix
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import Scenario
from pullcurve.bench.world import World
from pullcurve.board.at_rest import Finding
from pullcurve.board.identity import batches, identity_lines, introduction
from pullcurve.board.self_test import PASS_A_MARK, STILL, self_test
from pullcurve.cli import main
from pullcurve.errors import BoardError
from pullcurve.sources import ble as ble_link
from pullcurve.stream.received import Received
from virtual_radio import Air

HSC = {"role": "meter_dp", "part": "HSC", "address": 0x28, "range_pa": (-2500, 2500), "noise": 2}
BME280 = {"role": "ambient_air", "part": "BME280", "address": 0x76, "noise": 2}
LPS22HB = {"role": "blower_air", "part": "LPS22HB", "address": 0x5C, "noise": 2}
SENSORS = [HSC, BME280, LPS22HB]
HASTY = {"block_us": 20000, "period_us": 5000, "jitter_us": 5000}
HASTY |= {"slow_us": 500000, "header_us": 10000000}
OFF = [[0.0, 0.0], [80.0, 0.0]]
# Four marks pass by hand: the engine is cranked for a moment, then stands.
BY_HAND = [[0.0, 0.0], [15.0, 0.0], [16.0, 600.0], [25.0, 600.0]]


def plain(throttle: list[list[float]] = BY_HAND, **changes: Any) -> Scenario:
    changes = {"sensors": SENSORS, "duration_s": max(at for at, _ in throttle)} | changes
    return scenario(machine__engine__throttle=throttle, site__humidity=0.4, **changes)


def with_sensor(index: int, **changes: Any) -> list[dict[str, Any]]:
    return [each | (changes if place == index else {}) for place, each in enumerate(SENSORS)]


def received(scene: Scenario) -> Iterator[Received]:
    with DirectLink(scene, World(scene, simulate(scene))) as link:
        yield from link


def said(chunks: Iterator[Received]) -> list[Finding | str]:
    return list(self_test(chunks))


def failures(chunks: Iterator[Received]) -> list[Finding]:
    return [each for each in said(chunks) if isinstance(each, Finding) and not each.good]


def test_a_sound_board_passes_and_is_asked_for_marks_only_at_rest() -> None:
    told = said(received(plain()))
    assert [each for each in told if isinstance(each, str)] == [STILL, PASS_A_MARK]
    assert all(each.good for each in told if isinstance(each, Finding))
    texts = [each.text for each in told if isinstance(each, Finding)]
    assert "101.3" in texts[2]
    # ISO 2533:1975: 101325 Pa at sea level.
    assert "(as at 0 m above the sea" in texts[2] or "(as at 10 m" in texts[2]
    assert texts[-1].startswith("blower_shaft, pin 15: saw ")
    saw, asked = re.findall(r"\d+ (?=edges|times)", texts[-1] + PASS_A_MARK)
    assert int(saw) >= int(asked) == 4  # a record may hold more than one edge


@pytest.mark.parametrize(
    ("changes", "text", "action"),
    [
        (
            {"sensors": with_sensor(0, vanish=[(0, 100)])},
            "meter_dp: HSC, bus 0, 0x28, -2500 Pa to 2500 Pa: does not answer",
            "four wires",
        ),
        ({"sensors": with_sensor(1, vanish=[(0, 100)])}, "BME280, bus 0, 0x76: does not", "wires"),
        ({"sensors": with_sensor(0, faults=[(3, 6)])}, "readings fail", "loose plug"),
        ({"sensors": with_sensor(0, zero_error=80)}, "more than the 62 Pa that", "tubes off it"),
        (
            {"sensors": with_sensor(0, part="ABP2", zero_error=9000)},
            "at the end of its range",
            "range_pa",
        ),
        ({"sensors": with_sensor(0, noise=40)}, "single readings scatter by", "wind off"),
        ({"sensors": with_sensor(0, zero_drift_per_s=1.0)}, "it moved by 5.", "warm up"),
        ({"sensors": with_sensor(2, zero_error=900)}, "blower_air and ambient_air: 9", "vacuum"),
        ({"sensors": with_sensor(1, zero_error=12e3)}, "pressure cannot be", "board.json"),
        ({"link__damage": [{"from_s": 4, "to_s": 40, "rate": 0.001}]}, "came damaged", "cable"),
        (
            {"pickups": [{"role": "blower_shaft", "marks": 2, "doubled": 1.0}]},
            "within 400",
            "loose",
        ),
        ({"throttle": OFF}, "saw 0 edges in 60 s", "camera"),
        ({"board": {"plan": HASTY}}, "send again only the last 20 s", "block_us"),
    ],
)
def test_each_fault_is_named_alone_with_what_to_do(
    changes: dict[str, Any], text: str, action: str
) -> None:
    found = failures(received(plain(**changes)))
    assert [text in each.text for each in found] == [True], found
    assert action in found[0].action


def test_a_host_that_comes_late_is_told_what_the_board_keeps() -> None:
    """Not from the start on, nor by the first header."""
    chunks = received(plain(board={"plan": HASTY}, duration_s=22.0))
    late = (c for c in chunks if (c.host_time - plain().start).total_seconds() > 5.05)
    header, _, kept_s = introduction(batches(late))
    assert header is not None
    assert identity_lines(header, kept_s, header.firmware)[4] == (
        "memory    ONLY the last 20 s can be sent again when its link was lost; a longer block_us "
        "or slow_us in board.json makes it more"
    )


def test_a_shaft_that_turns_ends_the_test_before_a_hand_is_asked_for() -> None:
    told = said(received(plain([[0.0, 600.0], [30.0, 600.0]])))
    assert PASS_A_MARK not in told
    assert isinstance(told[-1], Finding)
    assert "edges while nothing should move" in told[-1].text
    assert told[-1].action.startswith("Keep away until nothing turns.")


def test_a_board_that_falls_silent_leaves_no_verdict() -> None:
    def silent_after_a_while() -> Iterator[Received]:
        for chunk in received(plain()):
            yield chunk
            if (chunk.host_time - plain().start).total_seconds() > 8:
                break
        for second in range(30):
            yield Received(chunk.host_time + timedelta(seconds=second), b"")

    with pytest.raises(BoardError, match="says nothing any more, so the test is not complete"):
        said(silent_after_a_while())
    nothing = (Received(plain().start + timedelta(seconds=second), b"") for second in range(30))
    with pytest.raises(BoardError, match="sends no records: the firmware does not run"):
        said(nothing)


@needs_unix
def test_the_command_shows_the_caution_first_and_fails_with_the_board() -> None:
    done = CliRunner().invoke(main, ["board", "check", "--port", "bench:full_sensors@1000"])
    assert done.exit_code == 0, done.output
    assert done.output.index("locked out") < done.output.index("ok ") < done.output.index("strip")
    assert done.output.endswith("All is as it should be.\n")
    shown = CliRunner().invoke(main, ["board", "show", "--port", "bench:full_sensors@1000"])
    assert shown.exit_code == 0, shown.output
    assert re.search(r"^sensor +meter_dp: ", shown.output, re.MULTILINE)


def test_a_board_is_asked_over_bluetooth_but_takes_firmware_over_its_cable(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    link = ble_link.BleLink
    monkeypatch.setattr(ble_link, "LISTEN_S", 0.2)
    monkeypatch.setattr(ble_link, "FIND_S", 0.4)
    monkeypatch.setattr(ble_link, "BleLink", lambda name: link(name, Air().radio))
    for command, sentence in (
        ("show", "no board is in reach over Bluetooth"),
        ("check", "no board is in reach over Bluetooth"),
        ("install", "ble: cannot take firmware, which needs the board's cable"),
    ):
        done = CliRunner().invoke(main, ["board", command, "--port", "ble:"])
        assert done.exit_code == 1
        assert sentence in done.output

"""What is said during a run is what the reduced run says afterwards, at a cost that stays."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from direct_link import DirectLink
from fed import Fed
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.examine import read_run
from pullcurve.live.estimator import KEPT_S, Latest, Now, Reading
from pullcurve.rig.loading import load_rig
from pullcurve.rig.models import Rig
from pullcurve.run_log.reading import read_log
from pullcurve.stream.received import Received
from pullcurve.stream.records import Assembler
from record_format import encode

ROOT = Path(__file__).parents[3]
AT = timedelta(seconds=70)  # in the second hold
UNTIL_S = 112.0  # three holds and the second zero
RIG = ROOT / "hardware/rigs/port.toml"


@dataclass
class Seen:
    time_s: float
    reading: Reading | None
    now: Now


def watched(received: list[Received], rig: Rig | None, every_s: float = 4.0) -> Iterator[Seen]:
    latest = Fed(Latest(rig))
    due = began = received[0].host_time
    for chunk in received:
        if latest.add(chunk) and chunk.host_time >= due:
            due = chunk.host_time + timedelta(seconds=every_s)
            now = latest.look()
            yield Seen((chunk.host_time - began).total_seconds(), latest.reading(), now)
    assert len(latest._assembler._rows["dp"]) < 12 * (KEPT_S + 30)


def test_every_hold_was_seen_to_settle_at_the_flow_that_the_report_states() -> None:
    path = ROOT / "sample_logs/full_sensors.runlog"
    run = read_run(path)
    received = read_log(path).received
    until = received[0].host_time + timedelta(seconds=UNTIL_S)
    seen = list(watched([r for r in received if r.host_time < until], run.rig, 2.0))
    points = run.points[run.points["end_s"] < UNTIL_S]
    assert len(points) >= 3
    for point in points.to_dict("records"):
        inside = [s for s in seen if point["start_s"] + 4 < s.time_s < point["end_s"]]
        assert len(inside) >= 4
        assert np.mean([s.now.state == "settled" for s in inside]) > 0.9
        flows = [s.reading.standard_flow_m3_s for s in inside if s.reading]
        assert np.mean(flows) == pytest.approx(point["standard_flow_m3_s"], rel=3e-3)
        speeds = [s.reading.speed_rpm for s in inside if s.reading]
        assert np.mean(speeds) == pytest.approx(point["speed_rpm"], rel=3e-3)
        widths = [s.now.standard_flow_u95_m3_s for s in inside]
        assert np.median(widths) == pytest.approx(point["standard_flow_u95_m3_s"], rel=0.25)
    zeros = run.zeros.table[run.zeros.table["end_s"] < UNTIL_S]
    assert len(zeros) == 2
    for zero in zeros.to_dict("records"):
        inside = [s for s in seen if zero["start_s"] + 4 < s.time_s < zero["end_s"]]
        assert all(s.now.state == "engine off" for s in inside)
        assert all(s.reading and s.reading.standard_flow_m3_s == 0 for s in inside)
        assert inside[-1].now.zero_pa == pytest.approx(zero["zero_pa"], abs=0.3)
    assert not [finding.kind for s in seen for finding in s.now.findings]


def kinds(*, tubes_reversed: bool = False, **sensor: object) -> set[str]:
    """The troubles that are told at the end of a short run with another pressure sensor."""
    scene = load_scenario(shipped_scenarios()["healthy_sweep"])
    first, *others = scene.sensors
    changed = {
        "duration_s": 40.0,
        "meter": scene.meter.model_copy(update={"tubes_reversed": tubes_reversed}),
        "sensors": (first.model_copy(update=sensor), *others),
    }
    scene = scene.model_copy(update=changed)
    rig = load_rig(RIG)
    rig = rig.model_copy(update={"sensors": type(rig.sensors)()})
    with DirectLink(scene, World(scene, simulate(scene))) as link:
        seen = list(watched(list(link), rig, 8.0))
    return {finding.kind for finding in seen[-1].now.findings}


def test_what_spoils_a_run_is_told_while_it_can_be_mended() -> None:
    assert kinds(tubes_reversed=True) == {"tubes_reversed"}
    assert kinds(range_pa=(-500.0, 500.0)) == {"sensor_clipped"}
    assert kinds() == set()


def test_without_a_rig_speed_and_flow_are_unknown_and_it_says_why() -> None:
    log = read_log(ROOT / "sample_logs/rough_link.runlog")
    seen = list(watched(log.received, None))  # which keeps no more than with one
    assert "--rig" in seen[-1].now.fault
    reading = seen[-1].reading
    assert reading is not None
    assert reading.standard_flow_m3_s is None
    assert reading.differential_pressure_pa is not None


def test_before_anything_comes_it_says_so() -> None:
    latest = Fed(Latest(load_rig(RIG)))
    assert latest.reading() is None
    assert "Nothing has come" in latest.look().fault


def test_a_board_of_short_memory_is_known_until_one_starts_that_says_nothing_of_it() -> None:
    log = read_log(ROOT / "sample_logs/healthy_sweep.runlog")
    latest = Fed(Latest(load_rig(RIG)))
    for received in log.received[:300]:
        latest.add(received)
    assert latest.look().memory_s is None
    last = log.received[299]
    for told, known in (("short_memory", 29), ("start", None)):
        event = encode("event", 1, 1_000_000, (0, told, "", 29, ""))
        latest.add(last._replace(data=event))
        assert latest.look().memory_s == known


@pytest.mark.parametrize("step", [timedelta(seconds=-30), timedelta(seconds=30), timedelta(days=9)])
def test_a_host_clock_that_steps_takes_no_zero_away(step: timedelta) -> None:
    path = ROOT / "sample_logs/healthy_sweep.runlog"
    received = read_log(path).received
    at = next(i for i, r in enumerate(received) if r.host_time > received[0].host_time + AT)
    stepped = [r._replace(host_time=r.host_time + step * (i > at)) for i, r in enumerate(received)]
    latest, plain = Fed(Latest(load_rig(RIG))), Fed(Latest(load_rig(RIG)))
    for one, other in zip(stepped[: at + 1500], received, strict=False):
        latest.add(one)
        plain.add(other)
        if one.data.startswith(b"board"):
            now, expected = latest.look(), plain.look()
    assert now.zero_pa is not None
    # Either may know it from a piece of the stretch that is still kept: 0.02 Pa are nothing.
    assert (now.zero_pa, now.zero_s) == pytest.approx((expected.zero_pa, expected.zero_s), abs=0.02)
    one, other = latest.reading(), plain.reading()
    assert one is not None
    assert other is not None
    assert one.standard_flow_m3_s == pytest.approx(other.standard_flow_m3_s, rel=1e-5)


def test_a_board_that_starts_under_the_number_it_had_is_shown_at_once() -> None:
    """As one does whose flash is full."""
    received = read_log(ROOT / "sample_logs/healthy_sweep.runlog").received[:2000]
    latest = Fed(Latest(load_rig(RIG)))
    apart = timedelta(minutes=5)
    for each in [*received, *(r._replace(host_time=r.host_time + apart) for r in received[:600])]:
        latest.add(each)
    latest.look()
    reading = latest.reading()
    assert reading is not None
    assert reading.host_time > received[0].host_time + apart


def test_a_link_that_is_just_back_spoils_nothing() -> None:
    received = read_log(ROOT / "sample_logs/healthy_sweep.runlog").received
    latest = Fed(Latest(load_rig(RIG)))
    began, gone_s = received[0].host_time, (60.0, 75.0)
    for each in received:
        at_s = (each.host_time - began).total_seconds()
        if not gone_s[0] <= at_s < gone_s[1]:
            latest.add(each)
        if gone_s[1] < at_s < gone_s[1] + 2 and b"block" in each.data:
            assert latest.look().state in ("changing", "settled")


@pytest.mark.parametrize("step_s", [-3600.0, 3600.0])
def test_the_time_of_the_run_is_the_boards_whatever_the_hosts_clock_does(step_s: float) -> None:
    path = ROOT / "sample_logs/rough_link.runlog"
    received = read_log(path).received
    latest, truth, seen = Fed(Latest(load_rig(RIG))), Fed(Assembler()), []
    began = due = received[0].host_time
    for chunk in received:
        stepped = timedelta(seconds=step_s * (chunk.host_time - began > timedelta(seconds=70)))
        said = chunk._replace(host_time=chunk.host_time + stepped)
        truth.add(chunk)
        latest.add(said)
        if chunk.host_time >= due:
            due = chunk.host_time + timedelta(seconds=8)
            now = latest.look()
            if now.time_s:
                newest = truth.finish("all of it").blocks.iloc[-1]
                seen.append((now.time_s, newest["time_s"]))
    assert seen[-1][0] > 2 * KEPT_S
    assert [time_s for time_s, _ in seen] == pytest.approx([s for _, s in seen], abs=0.1)

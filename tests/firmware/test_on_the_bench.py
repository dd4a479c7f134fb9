"""The whole firmware on real MicroPython, against simulated parts that know what they served."""

import tempfile
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sampling_checks import statistics

from fed import Fed
from on_micropython import needs_unix
from pullcurve.bench.board_side import RUNTIME
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import Scenario, load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.sources.bench import BenchLink
from pullcurve.stream.clock import unwrap
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.edges import stamps
from pullcurve.stream.header import HeaderAssembler, Runtime, named
from pullcurve.stream.received import Received
from pullcurve.stream.records import Assembler
from pullcurve.stream.sequence import SequenceCheck
from pullcurve.stream.transfer import linear
from record_format import BUS_ERROR, CRC_ERROR, FAULT, OK
from sensor import BAD_READS

pytestmark = needs_unix

HSC = {"role": "meter_dp", "part": "HSC", "address": 0x28, "range_pa": (-6895, 6895), "noise": 3}
BME280 = {"role": "ambient_air", "part": "BME280", "address": 0x76, "noise": 2}


def scenario(duration_s: float, from_rpm: float = 2000, **changes: Any) -> Scenario:
    """A shipped scenario, shortened, that turns from the start, with some things changed."""
    table = load_scenario(shipped_scenarios()["healthy_sweep"]).model_dump()
    table["machine"]["engine"]["throttle"] = (
        *((0, from_rpm), (0.5 * duration_s, 2800), (7200, 2800)),
    )
    table["pickups"][0]["doubled"] = 0.02
    return Scenario.model_validate(table | {"duration_s": duration_s} | changes)


class Run:
    """One run on the bench: records by kind, and what the differential-pressure part served."""

    def __init__(self, scene: Scenario, greet_s: float | None = None) -> None:
        self.plant = simulate(scene)
        world = World(scene, self.plant)
        self.served: list[tuple[float, int, int]] = []
        meter = world.parts["meter_dp"][0]
        meter.on_count = lambda *count: self.served.append(count)
        decoder, self.sequence = Decoder(), SequenceCheck()
        self.received: list[Received] = []
        self.records: list[Record] = []
        self.host_s: list[float] = []
        self.rejected = 0
        with BenchLink(scene, world) as link:
            for received in link:
                self.received.append(received)
                now_s = (received.host_time - scene.start).total_seconds()
                if greet_s is not None and now_s > greet_s:
                    link.say(b"hello\n")
                    greet_s = None
                for event in decoder.feed(received.data):
                    if isinstance(event, Record):
                        assert self.sequence.accept(event)
                        self.records.append(event)
                        self.host_s.append(now_s)
                    else:
                        self.rejected += 1
            self.given_up = link._gaps.given_up

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [named(record) for record in self.records if record.kind == kind]

    def events(self) -> list[tuple[str, str, int]]:
        return [(e["code"], e["subject"], e["value"]) for e in self.of("event")]


def assert_statistics_are_exact(run: Run, good: set[int], starts: int = 0) -> None:
    """Every block against the counts that the part handed out, in their order; good: the
    part's own status of a count that may be used; starts: how often a reading was used up
    to start the part anew."""
    blocks = run.of("dp")
    begin_s = blocks[0]["start_ticks"] * 1e-6
    counts = [count for at_s, count, status in run.served if at_s >= begin_s and status in good]
    for block in blocks:
        n = block["n"]
        names = ("n", "pivot", "sum", "sumsq", "least", "greatest")
        found = tuple(block[name] for name in names)
        if starts and found != statistics([(OK, count) for count in counts[:n]])[:6]:
            starts -= 1
            counts = counts[1:]
        assert found == statistics([(OK, count) for count in counts[:n]])[:6]
        counts = counts[n:]
    assert len(counts) <= 40  # the block that the end of the run cut off, and one on its way


def assert_edges_are_exact(run: Run) -> None:
    """Every record against the edges that the shaft truly gave, less those too close."""
    (pickup,) = run.plant.scenario.pickups
    accepted: list[int] = []
    rejects = 0
    for at_us in np.rint(run.plant.edges(pickup) * 1e6).astype(int).tolist():
        if accepted and at_us - accepted[-1] < 400:
            rejects += 1
        else:
            accepted.append(at_us)
    records = run.of("edges")
    done = 0
    for record in records:
        if n := record["edges"]:
            ends = [b - a for a, b in pairwise(accepted[max(done - 1, 0) : done + n])]
            assert (record["least_interval"], record["greatest_interval"]) == (min(ends), max(ends))
            numbers, ticks = stamps(n, record["stride"], record["first"], record["steps"])
            expected = [accepted[done + number] % 2**30 for number in numbers]
            assert ((ticks + record["start_ticks"]) % 2**30).tolist() == expected
        done += n
    assert len({record["stride"] for record in records}) > 1
    assert 0 < sum(record["rejects"] for record in records) <= rejects
    assert done > 0.95 * len(accepted)


def assert_nothing_is_missing(run: Run, *, in_order: bool = True, meters: int = 1) -> None:
    assert run.sequence.missing_count == 0
    assert run.rejected <= (0 if in_order else 1)  # the line that was cut
    blocks = run.of("dp")
    assert in_order == (run.sequence.late == 0)
    if not in_order:  # but by number they are
        records = sorted((r.seq, r) for r in run.records if r.kind == "dp")
        blocks = [named(record) for _, record in records]
    for before, after in zip(blocks, blocks[meters:], strict=False):
        assert (before["start_ticks"] + before["length_ticks"]) % 2**30 == after["start_ticks"]
        assert after["n"] + after["stale"] + after["faulty"] == 20


def test_blocks_are_the_statistics_of_what_was_served() -> None:
    run = Run(scenario(10, sensors=[HSC, BME280]))
    assert_nothing_is_missing(run)
    assert_statistics_are_exact(run, {0})
    assert_edges_are_exact(run)
    assert run.events() == [("start", "", 1)]
    assert len(run.of("dp")) == 99
    slow = [record for record in run.of("slow") if record["sensor"] == 1]
    assert 19 <= len(slow) <= 20
    assert {record["status"] for record in slow} == {OK}


def test_blocks_of_a_part_that_converts_on_command() -> None:
    """24-bit counts, some of them clipped, some readings too early."""
    part = {"role": "meter_dp", "part": "ABP2", "address": 0x28, "range_pa": (0, 60), "noise": 40}
    run = Run(scenario(10, sensors=[part, BME280]))
    assert_nothing_is_missing(run)
    blocks = run.of("dp")
    assert sum(block["stale"] for block in blocks) > 0
    top = 2**24 - 1
    served = [count for _, count, status in run.served if status in (0x40, 0x41)]
    clipped = sum(count in (0, top) for count in served)
    assert 0 < sum(block["clipped"] for block in blocks) <= clipped
    assert_statistics_are_exact(run, {0x40, 0x41})


def test_sensors_that_vanish_fail_and_stick_never_stop_the_stream() -> None:
    meter = HSC | {"vanish": [(2, 4)], "faults": [(6, 7)], "stuck": [(8, 9)]}
    tank = BME280 | {"role": "tank_air", "vanish": [(5, 9)]}
    humid = {"role": "ambient_air", "part": "SHT4x", "address": 0x44, "faults": [(3, 8)]}
    run = Run(scenario(12, sensors=[meter, tank, humid]))
    assert_nothing_is_missing(run)
    assert_statistics_are_exact(run, {0}, starts=2)
    # A slow sensor is read twice a second and is lost after five bad readings.
    assert [event[:2] for event in run.events()] == [
        ("start", ""),
        ("sensor_lost", "meter_dp"),
        ("sensor_back", "meter_dp"),
        ("sensor_lost", "ambient_air"),
        ("sensor_lost", "meter_dp"),
        ("sensor_back", "meter_dp"),
        ("sensor_lost", "tank_air"),
        ("sensor_back", "ambient_air"),
        ("sensor_back", "tank_air"),
    ]
    by_start = {round(block["start_ticks"] * 1e-6, 1): block for block in run.of("dp")}
    for gone, there in ((3.0, 5.0), (6.5, 7.5)):
        assert by_start[gone]["n"] == 0
        assert by_start[gone]["faulty"] >= 16  # a reading that starts the part is a stale one
        assert by_start[there]["n"] >= 18
    assert by_start[8.5]["least"] == by_start[8.5]["greatest"]
    assert by_start[9.5]["least"] < by_start[9.5]["greatest"]
    slow = [record for record in run.of("slow") if record["sensor"]]
    assert all((record["status"] == OK) == bool(record["words"]) for record in slow)
    assert {(record["sensor"], record["status"]) for record in slow} == {
        (1, OK),
        (1, BUS_ERROR),
        (2, OK),
        (2, CRC_ERROR),
    }
    # A part that came back may be another one: its trimming words are sent again, and the
    # header that is due meanwhile, after 10 s, is this one.
    assert len(run.of("board")) == 1 + 1


def test_a_second_range_the_supply_and_the_runtime_are_logged() -> None:
    """The supply hangs at half of the input's full scale on the bench."""
    low = HSC | {
        "role": "meter_dp_low",
        "address": 0x38,
        "range_pa": (-1000, 1000),
        "zero_error": 7,
    }
    supply = {"supply": {"pin": 29, "full_scale_v": 9.9}}
    run = Run(scenario(12, 900, sensors=[HSC, low, BME280], board=supply))
    assert_nothing_is_missing(run, meters=2)
    assembler = Fed(Assembler())
    for received in run.received:
        assembler.add(received)
    records = assembler.finish("two ranges")
    assert [s.role for s in records.header.sensors] == [
        *("meter_dp", "meter_dp_low", "ambient_air", "supply")
    ]
    assert records.header.runtime == Runtime(*RUNTIME)
    assert len(records.blocks) == len(records.low_blocks)
    wide, narrow = (
        linear((table["pivot"] + table["sum"] / table["n"]), records.header.sensors[i].channels[0])
        for i, table in enumerate((records.blocks, records.low_blocks))
    )
    within = wide < 900
    assert within.sum() > 5
    apart = narrow[within] - wide[within]  # read one after the other in a pulsating flow
    assert np.mean(apart) == pytest.approx(7, abs=2)
    assert np.abs(apart - 7).max() < 8
    assert narrow.max() < 1200 < wide.max()  # past its end
    volts = [record["words"] for record in run.of("slow") if record["sensor"] == 3]
    assert len(volts) > 5
    channel = records.header.sensors[3].channels[0]
    assert linear(np.array(volts, dtype=float), channel) == pytest.approx(4.95, abs=0.001)


def test_a_part_that_lost_its_settings_unseen_is_set_up_again() -> None:
    """Its supply fails between two readings; it answers, but converts nothing any more."""
    run = Run(scenario(8, sensors=[HSC, BME280 | {"vanish": [(2.15, 2.45)]}]))
    assert [event[:2] for event in run.events()[1:]] == [
        ("sensor_lost", "ambient_air"),
        ("sensor_back", "ambient_air"),
    ]
    slow = [record for record in run.of("slow") if record["sensor"] == 1]
    assert [record["status"] for record in slow if record["status"] != OK] == [FAULT] * BAD_READS
    assert (slow[-1]["status"], slow[-1]["ticks"] > 7_000_000) == (OK, True)


def test_a_bus_without_any_part_is_told_and_survived() -> None:
    run = Run(scenario(3, sensors=[HSC | {"vanish": [(0, 3)]}]))
    assert_nothing_is_missing(run)
    assert all(block["faulty"] == 20 for block in run.of("dp"))
    assert run.events() == [("start", "", 1), ("sensor_lost", "meter_dp", BUS_ERROR)]
    assert assembled(run) == 1


def assembled(run: Run) -> int:
    """How many whole headers are in the run."""
    assembler = HeaderAssembler()
    return sum(assembler.add(record) is not None for record in run.records)


def test_a_header_longer_than_its_period_is_still_sent_whole() -> None:
    others = ["ambient_air", "meter_air", "blower_air", "tank_air", "discharge_temperature"]
    sensors = [HSC] + [
        BME280 | {"role": role, "bus": i // 2 % 2, "address": 0x76 + i % 2}
        for i, role in enumerate(others[:4])
    ]
    plan = {"block_us": 200000, "period_us": 10000, "jitter_us": 10000}
    plan |= {"slow_us": 1000000, "header_us": 1000000}
    run = Run(scenario(10, sensors=sensors, board={"plan": plan}))
    assert_nothing_is_missing(run)
    lines = run.of("board")[0]["lines"]
    assert lines / 2 * 0.2 > 1.0
    assert assembled(run) >= 3


def test_a_host_that_has_just_come_is_given_the_header() -> None:
    run = Run(scenario(5, sensors=[HSC, BME280]), greet_s=3.0)
    assert assembled(run) == 2
    times = zip(run.host_s, run.records, strict=True)
    again = [at_s for at_s, record in times if record.kind == "board"]
    assert 3.0 < again[1] < 3.3


def assert_the_loop_went_on(run: Run) -> None:
    """No sampling slot was lost."""
    assert "late" not in {code for code, _, _ in run.events()}
    assert all(block["n"] + block["stale"] == 20 for block in run.of("dp"))


def test_nobody_reads_for_a_while() -> None:
    run = Run(scenario(48, sensors=[HSC, BME280], link={"unread": [(4, 44)]}))
    assert_nothing_is_missing(run)
    assert run.sequence.late == 0
    assert_the_loop_went_on(run)


def test_nobody_reads_for_too_long() -> None:
    run = Run(scenario(130, sensors=[HSC, BME280], link={"unread": [(4, 125)]}))
    assert run.rejected == 0  # no line is torn
    dropped = [value for code, _, value in run.events() if code == "dropped"]
    assert sum(dropped) == run.sequence.missing_count > 20
    assert run.sequence.late == 0
    assert_the_loop_went_on(run)


def assert_new_records_came_meanwhile(run: Run, from_s: float, to_s: float) -> None:
    """A tenth of a second after the board closed it, each block was there."""
    kinds = [record.kind for record in run.records]
    arrived = {
        named(record)["start_ticks"] // 100_000: at_s
        for kind, record, at_s in zip(kinds, run.records, run.host_s, strict=True)
        if kind == "dp" and from_s < at_s < to_s
    }
    for tenth in range(int(from_s * 10) + 5, int(to_s * 10) - 5):
        assert arrived[tenth] - (tenth + 1) / 10 < 0.15


def test_what_an_outage_of_40_s_took_comes_again_with_every_sensor() -> None:
    table = load_scenario(shipped_scenarios()["full_sensors"]).model_dump()
    run = Run(Scenario.model_validate(table | {"duration_s": 70, "link": {"outages": [(5, 45)]}}))
    assert_nothing_is_missing(run, in_order=False)
    assert [received.link for received in run.received if received.link] == ["lost", "opened"]
    again_s = [at_s for at_s, r in zip(run.host_s, run.records, strict=True) if r.seq < 1150]
    assert 900 < sum(at_s > 45 for at_s in again_s) < 1150
    assert max(again_s) < 60
    assert_new_records_came_meanwhile(run, 45, 60)


def test_what_cannot_be_had_again_is_said_and_given_up() -> None:
    """After an outage that is longer than the board's memory, and one in which it starts anew."""
    link = {"outages": [(5, 105), (120, 126)], "resets_s": [123]}
    run = Run(scenario(130, sensors=[HSC, BME280], link=link))
    gone = [value for code, _, value in run.events() if code == "gone"]
    assert len(gone) == 1
    assert run.sequence.boots == [1, 2]
    assert list(run.sequence.missing()) == [1]
    (missing,) = run.sequence.missing()[1]
    assert (missing.stop, run.given_up) == (gone[0], len(missing))
    # The second start's first records were asked for, but for the one that says it started.
    second = sorted(record.seq for record in run.records if record.boot == 2)
    assert second == list(range(1, second[-1] + 1))


def test_the_board_starts_anew() -> None:
    run = Run(scenario(6, sensors=[HSC, BME280], link={"resets_s": [3.05]}))
    assert run.sequence.boots == [1, 2]
    starts = [i for i, r in enumerate(run.records) if r.kind == "event"]
    assert [run.records[i][1:3] for i in starts] == [(1, 0), (2, 0)]
    second = [named(r) for r in run.records if r.kind == "dp" and r.boot == 2]
    assert second[0]["start_ticks"] < 100_000
    assert len(second) == 29


class FullFlash(tempfile.TemporaryDirectory):
    """The board's folder when its flash takes no boot number any more."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        (Path(self.name) / "boot.txt").mkdir()


def test_a_board_with_full_flash_starts_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every start has the same number, and the simulated ones begin at the same tick."""
    monkeypatch.setattr(tempfile, "TemporaryDirectory", FullFlash)
    run = Run(scenario(8, sensors=[HSC, BME280], link={"resets_s": [3.05, 3.25]}))
    assert {record.boot for record in run.records} == {1}
    assert run.sequence.boots == [1, 1, 1]
    assembler = Fed(Assembler())
    for received in run.received:
        assembler.add(received)
    records = assembler.finish("full flash")
    assert records.blocks.groupby("boot").size().tolist() == [30, 1, 47]
    assert [held.boot for held in records.headers] == [1, 3]
    assert records.events["code"].tolist() == ["start"] * 3
    assert (records.lost, records.late, records.duplicated) == (0, 0, 0)
    starts_s = records.blocks.groupby("boot")["time_s"].first().tolist()
    assert starts_s == pytest.approx([0, 3.05, 3.25], abs=0.1)
    assert records.blocks["after_gap"].sum() == 3


def bus_time_us(frequency_hz: int) -> float:
    """How late after the start of its slot a reading is that nothing delays but the bus."""
    buses = [{"bus": 0, "sda": 4, "scl": 5, "frequency_hz": frequency_hz}]
    plan = {"block_us": 100000, "period_us": 5000, "jitter_us": 0}
    plan |= {"slow_us": 500000, "header_us": 10000000}
    run = Run(scenario(1, sensors=[HSC], board={"buses": buses, "plan": plan}))
    begin_us = run.of("dp")[0]["start_ticks"]
    since_us = [round(at_s * 1e6) - begin_us for at_s, _, _ in run.served]
    return min(us % plan["period_us"] for us in since_us if us > 0)


def test_the_bus_takes_the_time_of_its_clock() -> None:
    """Address and four bytes of nine bits each."""
    assert bus_time_us(100_000) == pytest.approx(5 * 90)
    assert bus_time_us(400_000) == pytest.approx(5 * 22.5, abs=5)


@pytest.mark.parametrize(
    ("board", "sentence"),
    [
        ({"watchdog_ms": 1000}, "watchdog_ms: 0 (none) or at least 2000"),
        ({"pickups": []}, "pickups: one or two are needed"),
        ({"speed": 1}, "board.json: speed is not known here"),
        (
            {"pickups": [{"role": "blower_shaft", "pin": 40, "least_us": 400}]},
            "blower_shaft: this board refuses pin 40: invalid pin",
        ),
    ],
)
def test_a_board_json_that_cannot_be_used(board: dict[str, Any], sentence: str) -> None:
    run = Run(scenario(5, sensors=[HSC], board=board))
    assert {record.kind for record in run.records} == {"event"}
    assert [(e["code"], e["text"]) for e in run.of("event")] == [("config", sentence)] * 3
    assert [record.seq for record in run.records] == [0, 1, 2]


def test_ticks_wrap_in_a_run() -> None:
    """18 minutes: the board's counter begins anew after 17.9."""
    plan = {"block_us": 1000000, "period_us": 50000, "jitter_us": 16000}
    plan |= {"slow_us": 10000000, "header_us": 60000000}
    run = Run(scenario(1085, sensors=[HSC, BME280], board={"plan": plan}))
    assert_nothing_is_missing(run)
    assert_statistics_are_exact(run, {0})
    blocks = run.of("dp")
    assert_edges_are_exact(run)
    ticks = np.array([block["start_ticks"] for block in blocks])
    assert (np.diff(ticks) < 0).sum() == 1
    seq = np.array([record.seq for record in run.records if record.kind == "dp"])
    seconds = unwrap(ticks, seq, np.zeros(len(ticks)), 1000, 30, plan["block_us"])
    np.testing.assert_allclose(seconds, np.arange(len(blocks)), atol=1e-9)
    assert "late" not in {code for code, _, _ in run.events()}

"""Each finding on a quiet run with one thing wrong, and on either side of where it begins."""

import re
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest

from host.measure.meters import a_meter, stated
from pullcurve.checks.catalogue import Finding
from pullcurve.examine import findings_of
from pullcurve.measure.offset import Offset
from pullcurve.measure.zeros import Zeros
from pullcurve.quantities import SI
from pullcurve.report.finding_words import action_words, evidence_words
from record_format import BUS_ERROR, CRC_ERROR

SPAN_PA, BLOCK_S = 10_000.0, 0.1
OFF_S, TURNING_S = 20.0, 60.0
Damage = Callable[[SimpleNamespace], object]


def zeros(*zero_pa: float) -> Zeros:
    """Engine stops with these zeros; without any noise."""
    table = pd.DataFrame(
        {"start_s": 80.0 * np.arange(len(zero_pa)), "zero_pa": zero_pa, "zero_u_pa": 0.0}
    )
    table["end_s"] = table["start_s"] + 15
    return Zeros(table, 1.5, 100.0, 5.0)


def a_run() -> SimpleNamespace:
    """Off for 20 s, a minute at 2200 rpm and 1500 Pa, off for 20 s; a zero of 3 Pa."""
    time_s = BLOCK_S * (np.arange(round((2 * OFF_S + TURNING_S) / BLOCK_S)) + 0.5)
    turns = (time_s > OFF_S) & (time_s < OFF_S + TURNING_S)
    table = pd.DataFrame(
        {
            "time_s": time_s,
            "speed_rpm": np.where(turns, 2200.0, 0.0),
            "zeroed_dp_pa": np.where(turns, 1500.0, 0.0),
            "greatest_pa": np.where(turns, 1540.0, 6.0),
            "clipped_block": False,
            "sensor_temperature_k": 290.0,
        }
    )
    points = pd.DataFrame(
        {
            "speed_rpm": [1700.0, 1950.0, 2200.0],
            "clipped_share": [0.0, 0.0, 0.0],
            "restlessness": [0.002, 0.002, 0.002],
            "pulsation_ratio": [0.02, 0.02, 0.02],
        }
    )
    blocks = pd.DataFrame({"boot": 1, "late": False, "time_s": time_s, "host_s": time_s + 0.01})
    events = pd.DataFrame(
        {"code": ["start"], "subject": "", "value": 0, "time_s": 0.0, "boot": 1, "text": ""}
    )
    state = SimpleNamespace(
        converged=np.ones(3, dtype=bool),
        pressure=np.full(3, 93_500.0),
        pressure_ratio=np.full(3, 0.984),
        reynolds=np.full(3, 2.6e5),
        mass_flow=np.full(3, 0.5),
        density=np.full(3, 1.1),
    )
    return SimpleNamespace(
        channels=SimpleNamespace(table=table, span_pa=SPAN_PA, marks={}),
        zeros=zeros(3.0, 3.0),
        points=points,
        flows=SimpleNamespace(state=state),
        around=SimpleNamespace(
            places={}, pressure=SimpleNamespace(value=np.full(3, 94_100.0), source="measured")
        ),
        offsets=[],
        log=SimpleNamespace(breaks_off=False, damaged={}),
        notes=pd.DataFrame({"time_s": [], "at": []}),
        rig=SimpleNamespace(
            meter=a_meter("venturi"),
            machine=SimpleNamespace(rated_speed_rpm=2750.0),
            site=SimpleNamespace(station_pressure=94_100.0, altitude=620.0),
        ),
        records=SimpleNamespace(
            blocks=blocks,
            events=events,
            lost=0,
            damaged={},
            received=1000,
            header=SimpleNamespace(block_us=1e5),
        ),
    )


def all_found(*damage: Damage) -> list[Finding]:
    run = a_run()
    for each in damage:
        each(run)
    return list(findings_of(cast("Any", run)))


def found(*damage: Damage) -> list[Finding]:
    """The troubles among them."""
    return [finding for finding in all_found(*damage) if finding.grade == "trouble"]


def words(finding: Finding) -> str:
    return evidence_words(finding, SI)


def shift(pa: float) -> Damage:
    """The differential pressure of the turning blower, moved to this much over its zero."""

    def damage(run: SimpleNamespace) -> None:
        table = run.channels.table
        table.loc[table["speed_rpm"] > 0, "zeroed_dp_pa"] = pa

    return damage


def clip(blocks: int, *shares: float) -> Damage:
    def damage(run: SimpleNamespace) -> None:
        run.channels.table.loc[300 : 299 + blocks, "clipped_block"] = True
        run.channels.table.loc[300 : 299 + blocks, "greatest_pa"] = 4995.0
        run.points["clipped_share"] = shares

    return damage


def stops(*zero_pa: float) -> Damage:
    return lambda run: setattr(run, "zeros", zeros(*zero_pa))


def warm(kelvin: float) -> Damage:
    def damage(run: SimpleNamespace) -> None:
        column = run.channels.table["sensor_temperature_k"]
        run.channels.table["sensor_temperature_k"] = np.linspace(290, 290 + kelvin, len(column))
        run.channels.table.loc[5:9, "sensor_temperature_k"] = np.nan

    return damage


def event(code: str, subject: str = "", value: int = 0, time_s: float = 0.0) -> Damage:
    def damage(run: SimpleNamespace) -> None:
        row = pd.DataFrame(
            {
                "code": [code],
                "subject": [subject],
                "value": [value],
                "time_s": [time_s],
                "boot": [1],
            }
        )
        run.records.events = pd.concat((run.records.events, row))

    return damage


def lose(records: int) -> Damage:
    def damage(run: SimpleNamespace) -> None:
        run.records.lost, run.records.received = records, 1000 - records

    return damage


def jump(seconds: float, block: int = 500) -> Damage:
    def damage(run: SimpleNamespace) -> None:
        run.records.blocks.loc[block:, "host_s"] += seconds

    return damage


def points(**columns: list[float]) -> Damage:
    return lambda run: run.points.update(pd.DataFrame(columns))


def meter(of: Any) -> Damage:
    return lambda run: setattr(run.rig, "meter", of)


def test_a_quiet_run_has_none() -> None:
    assert found() == []


@pytest.mark.parametrize(
    ("damage", "kind", "consequence"),
    [
        # Limit: 3 half-widths of the zero, 0 here, and 0.5 % of the span, 50 Pa.
        (shift(-52.0), "tubes_reversed", "withheld"),
        (clip(3, 0.0, 0.0, 0.02), "sensor_clipped", "none"),
        (clip(30, 0.0, 0.021, 0.5), "sensor_clipped", "withheld"),
        (stops(), "no_zero", "widened"),
        (stops(3.0, 34.0), "water_in_line", "widened"),  # 31 Pa: over 0.3 % of the span
        (warm(8.2), "board_warmed", "none"),
        (lose(11), "records_lost", "none"),
        (jump(1.2), "clock_jump", "none"),
        (jump(-1.2), "clock_jump", "none"),
        (event("sensor_lost", "meter_dp", CRC_ERROR), "sensor_lost", "none"),
        (lambda run: run.flows.state.converged.__setitem__(1, False), "no_solution", "withheld"),
        (points(restlessness=[0.012, 0.012, 0.002]), "straightener_missing", "widened"),
        (meter(a_meter("venturi", straightener=False)), "straightener_missing", "none"),
        (meter(stated("venturi", straightener=False)), "straightener_missing", "widened"),
    ],
)
def test_one_thing_wrong_is_one_trouble(damage: Damage, kind: str, consequence: str) -> None:
    (trouble,) = found(damage)
    assert (trouble.kind, trouble.consequence) == (kind, consequence)
    assert not re.search(r"[{}]", words(trouble))


@pytest.mark.parametrize(
    "damage",
    [
        shift(-48.0),
        stops(3.0, 32.0),  # 29 Pa
        warm(7.8),
        lose(10),
        jump(0.8),
        jump(5.0, block=998),  # the last blocks alone: nothing is steady there
        event("dropped", value=40),  # on another link: nothing is missing here
        event("sensor_back", "meter_dp"),
        points(restlessness=[0.012, 0.002, 0.002]),
        points(restlessness=[0.012, 0.012, 0.012], pulsation_ratio=[0.07, 0.07, 0.07]),
        meter(stated("venturi", straightener=True)),
        meter(a_meter("venturi", straightener=False, straight_length="7 m")),
    ],
)
def test_less_than_that_is_none(damage: Damage) -> None:
    assert found(damage) == []


def test_reversed_tubes_are_told_by_their_fall_and_hide_what_follows_from_them() -> None:
    """At top speed: at the slow holds little may be seen."""
    (trouble,) = found(shift(-400.0), clip(30, 0.5, 0.5, 0.5))
    assert trouble.number("fall") == 400.0
    assert action_words(trouble).startswith("With the engine stopped and locked out, put the")

    def half_speed_is_negative(run: SimpleNamespace) -> None:
        slow = run.channels.table.index[250:400]
        run.channels.table.loc[slow, "speed_rpm"] = 1100.0
        run.channels.table.loc[slow, "zeroed_dp_pa"] = -403.0

    assert found(half_speed_is_negative) == []


def test_clipping_counts_its_blocks_and_holds_and_says_at_which_end() -> None:
    (trouble,) = found(clip(30, 0.0, 0.03, 0.5))
    assert words(trouble).startswith("In 30 of 1000 blocks, 2 holds among them,")
    assert "(about 5000\xa0Pa)" in words(trouble)


def test_a_zero_that_moves_by_more_than_a_sensor_s_own_does_is_named_twice() -> None:
    """From 0.4 % of the span on it is worth a word to itself, whatever moved it."""
    troubles = found(stops(3.0, 90.0, -41.0))
    assert [trouble.kind for trouble in troubles] == ["water_in_line", "zero_moved"]
    for trouble in troubles:
        assert "The zero moved by \N{MINUS SIGN}44\xa0Pa between" in words(trouble)
    assert [trouble.kind for trouble in found(stops(3.0, -34.0))] == ["water_in_line"]


@pytest.mark.parametrize(
    ("times", "when"),
    [
        ({"turning_only": True}, "It is there in every hold, and not while the engine is off."),
        ({"to_s": 61.0}, "It is there from the beginning, and goes at about 61 s."),
        ({"from_s": 40.0}, "It comes at about 40 s and stays."),
        ({"from_s": 40.0, "to_s": 61.0}, "It comes at about 40 s and goes at about 61 s."),
    ],
)
def test_water_is_told_with_its_size_and_its_times(times: dict[str, Any], when: str) -> None:
    """Where a sweep has told what there is of an offset, a zero that moved adds nothing."""
    offset = Offset(True, np.array([0.0, -38.0, -35.0]), np.full(3, 4.0), **times)
    (trouble,) = found(lambda run: run.offsets.append(offset), stops(3.0, 34.0))
    assert trouble.kind == "water_in_line"
    assert f" {when} " in words(trouble)
    assert (trouble.start_s, trouble.end_s) == (times.get("from_s"), times.get("to_s"))
    assert "an offset of about \N{MINUS SIGN}38\xa0Pa," in words(trouble)


def test_what_is_below_the_zero_s_own_doubt_is_no_sign_of_reversed_tubes() -> None:
    """Zeros of 3 and 43 Pa: 20 Pa half-width, so 3 times that and 50 Pa."""
    assert "tubes_reversed" not in {each.kind for each in found(stops(3, 43), shift(-105.0))}
    assert "tubes_reversed" in {each.kind for each in found(stops(3, 43), shift(-115.0))}


def test_an_offset_that_is_not_named_is_no_trouble() -> None:
    offset = Offset(False, np.zeros(3), np.full(3, 4.0))
    assert found(lambda run: run.offsets.append(offset)) == []


def test_a_board_that_started_again_is_counted() -> None:
    def damage(run: SimpleNamespace) -> None:
        run.records.blocks["boot"] = np.repeat([1, 2, 3], [400, 300, 300])

    (trouble,) = found(damage)
    assert trouble.kind == "board_reset"
    assert words(trouble).startswith("The board started 3 times")


def test_a_sensor_that_was_lost_is_told_with_what_was_wrong_and_when() -> None:
    troubles = found(
        event("sensor_lost", "meter_dp", BUS_ERROR, 31.4),
        event("sensor_lost", "meter_dp", CRC_ERROR, 52.0),
        event("sensor_lost", "ambient_air", BUS_ERROR, 60.0),
    )
    assert [trouble.subject for trouble in troubles] == ["ambient_air", "meter_dp"]
    assert words(troubles[1]) == (
        "The sensor stopped answering 2 times, first at 31 s (crc error and bus error)."
    )


def test_records_that_the_board_dropped_are_told_where_some_are_missing() -> None:
    troubles = found(event("dropped", value=30), event("dropped", value=12), lose(11))
    assert [trouble.kind for trouble in troubles] == ["records_lost", "records_dropped"]
    assert words(troubles[1]).startswith("The board dropped 42 records,")


def test_what_is_read_all_at_once_after_a_pause_is_no_jump_of_the_clock() -> None:
    """Nobody read for 8 s; then all of it came within a moment."""

    def damage(run: SimpleNamespace) -> None:
        came = run.records.blocks["host_s"]
        waits = came.between(40.0, 48.0)
        run.records.blocks.loc[waits, "host_s"] = 48.0 + 1e-4 * np.arange(waits.sum())

    assert found(damage) == []


def test_a_straightener_that_is_there_is_clogged_where_eddies_show() -> None:
    eddies = points(restlessness=[0.03, 0.03, 0.03])
    (trouble,) = found(eddies, meter(a_meter("venturi", straightener=True)))
    assert trouble.kind == "straightener_clogged"
    assert "wanders by 3.0 %" in words(trouble)
    assert "Clean the straightener" in action_words(trouble)


def test_a_mouth_that_loses_more_than_the_rig_says_is_clogged() -> None:
    """V = 0.5 / (1.1 pi/4 0.15^2) = 25.72 m/s: a head is 363.8 Pa, and of 4.5 heads from the open
    air to the tap one is the air's own."""

    def damage(run: SimpleNamespace) -> None:
        head = 1.1 * (0.5 / (1.1 * np.pi / 4 * 0.15**2)) ** 2 / 2
        assert head == pytest.approx(363.8, rel=1e-3)
        tap = SimpleNamespace(
            pressure=94_100 - 4.5 * np.full(3, head), half_width=np.full(3, 60.0), compared=True
        )
        run.around.places["tap"] = tap

    (trouble,) = found(damage)
    assert (trouble.kind, trouble.consequence) == ("straightener_clogged", "none")
    assert "3.5 velocity heads are lost, and the rig says 0.5" in words(trouble)


@pytest.mark.parametrize(
    ("typed", "kind", "told"),
    [
        (101_200.0, "sea_level_pressure", "a weather report's figure is reduced to sea level."),
        (87_000.0, "impossible_pressure", "the air has about 94.1\xa0kPa."),
    ],
)
def test_a_typed_pressure_that_no_weather_gives_comes_first(
    typed: float, kind: str, told: str
) -> None:
    """What measuring did not believe, it assumed. ISO 2533: 94.1 kPa at 620 m."""

    def damage(run: SimpleNamespace) -> None:
        run.rig.site.station_pressure = typed
        run.around.pressure.source = "assumed"

    first, second = found(damage, stops())
    assert (first.kind, second.kind) == (kind, "no_zero")
    assert first.consequence == "widened"
    assert words(first).endswith(told)
    assert "620\xa0m (2\xa0034\xa0ft)" in words(first)


@pytest.mark.parametrize(
    ("damage", "kind", "told"),
    [
        (lambda run: setattr(run.log, "breaks_off", True), "log_cut_off", "ends within a line"),
        (
            lambda run: setattr(run.rig.machine, "rated_speed_rpm", 2100.0),
            "above_rated_speed",
            "turned at 2200 rpm, 4.8 % above the rated speed of 2100 rpm",
        ),
        (
            lambda run: setattr(run, "notes", pd.DataFrame({"time_s": [np.nan], "at": ["hold 9"]})),
            "note_misplaced",
            "placed at hold 9, which this run does not have",
        ),
        (event("late", value=7), "board_late", "because the board was late: 7."),
        (event("pickup_dead"), "pickup_restarted", "set up again: 1."),
        (lose(3), "records_missing", "Records that are missing: 3."),
        (
            lambda run: run.log.damaged.update({"bad_crc": 2}),
            "records_missing",
            "Damaged lines of the log, left out: 2.",
        ),
        (meter(stated("venturi")), "straight_flow_unstated", "0.5 % is allowed for that"),
    ],
)
def test_what_is_worth_knowing_is_a_warning_or_a_note(damage: Damage, kind: str, told: str) -> None:
    (finding,) = all_found(damage)
    assert finding.kind == kind
    assert finding.grade in ("warning", "note")
    assert finding.consequence == "none"
    assert told in words(finding)


def test_a_complaint_of_the_board_is_told_once() -> None:
    def damage(run: SimpleNamespace) -> None:
        run.records.events = pd.DataFrame(
            {"code": ["config"] * 2, "subject": "", "value": 0, "time_s": 0.0, "text": "no pins"}
        )

    (finding,) = all_found(damage)
    assert (finding.kind, words(finding)) == ("board_says", "The board says: no pins.")


def test_a_run_without_points_is_looked_at_as_far_as_it_goes() -> None:
    def damage(run: SimpleNamespace) -> None:
        run.points, run.flows, run.around = run.points[:0], None, None

    assert found(damage) == []
    assert [trouble.kind for trouble in found(damage, stops())] == ["no_zero"]

"""Channels in SI from counts, edges and raw words that were worked by hand."""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pullcurve.errors import RigError
from pullcurve.measure.channels import Channels, to_si
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.models import Rig
from pullcurve.stream.header import Channel, Header, Pickup, Sensor
from pullcurve.stream.records import Held, RunRecords
from record_format import BUS_ERROR, OK

BLOCK_US, BLOCKS = 100_000, 100
# 1638 to 14746 counts are -1 to 1 psi: 2 * 6894.757 / 13108 = 1.05199 Pa a count.
DP = Channel("differential_pressure", "Pa", "linear", -6894.757, 6894.757, 1638, 14746, 0, 16383)
COUNT_PA = 1.051992
SLOW_US = 500_000
RIG = """\
[meter]
kind = "venturi"
position = "port"
pipe_bore = "144.60 mm"
throat_bore = "98.30 mm"
[site]
altitude = "620 m"
{rest}
"""
BLOWER = "[pickups.blower_shaft]\nmarks_per_turn = 2"
ENGINE = "[pickups.engine_shaft]\nmarks_per_turn = 1\n[machine]\nbelt_ratio = 1.25"


def sensor(
    index: int, role: str, part: str, *channels: Channel, trim: tuple[int, ...] = ()
) -> Sensor:
    return Sensor(index, role, part, 0, 0x28 + index, 5000, channels, trim)


def linear(quantity: str, unit: str) -> Channel:
    """A hundredth of the unit each count."""
    return Channel(quantity, unit, "linear", 0.0, 1000.0, 0, 100_000, -1, 200_000)


METER = sensor(0, "meter_dp", "HSC", DP)
AIR = sensor(1, "ambient_air", "SHT4x", linear("temperature", "Cel"), linear("humidity", "1"))


def header(
    sensors: tuple[Sensor, ...] = (METER, AIR), pickups: tuple[str, ...] = ("blower_shaft",)
) -> Header:
    return Header(
        boot=1,
        seq=0,
        format=2,
        board="a board",
        board_id="1",
        firmware="0",
        tick_ns=1000,
        tick_bits=30,
        block_us=BLOCK_US,
        period_us=5000,
        jitter_us=5000,
        slow_us=SLOW_US,
        header_us=10_000_000,
        sensors=sensors,
        pickups=tuple(Pickup(i, role, 15 + i, 400) for i, role in enumerate(pickups)),
    )


def edges(pickup: int, hz: float) -> pd.DataFrame:
    """Records of 0.1 s of a shaft whose marks pass so often, the first one 3 ms after the start;
    every edge stamped."""
    edge_us = np.round(3000 + 1e6 / hz * np.arange(round(hz * BLOCKS * BLOCK_US * 1e-6))).astype(
        int
    )
    rows: list[dict[str, Any]] = []
    for place in range(BLOCKS):
        start = place * BLOCK_US
        inside = edge_us[(edge_us >= start) & (edge_us < start + BLOCK_US)]
        before = edge_us[edge_us < start][-1:]
        intervals = np.diff(np.concatenate((before, inside)))
        rows.append(
            {
                "boot": 1,
                "seq": place,
                "time_s": start * 1e-6,
                "pickup": pickup,
                "edges": len(inside),
                "stride": 1,
                "first": int(inside[0]) - start,
                "steps": tuple(np.diff(inside).tolist()),
                "least_interval": int(intervals.min(initial=10**9)),
                "greatest_interval": int(intervals.max(initial=0)),
                "rejects": 0,
                "after_gap": place == 0,
            }
        )
    return pd.DataFrame(rows)


def slow(
    index: int, *words: int, every_s: float = 0.5, status: int = OK, until_s: float = 10.0
) -> pd.DataFrame:
    time_s = np.arange(0.0, until_s, every_s)
    return pd.DataFrame(
        {
            "boot": 1,
            "seq": np.arange(len(time_s)),
            "time_s": time_s,
            "sensor": index,
            "status": status,
            "words": [words] * len(time_s),
        }
    )


def records(
    of: Header | None = None,
    edge_tables: list[pd.DataFrame] | None = None,
    slows: list[pd.DataFrame] | None = None,
    **block: int,
) -> RunRecords:
    """Ten seconds; each block 20 samples with the mean 3 counts over the pivot 8192, and a sum of
    squares of 20 3^2 + 76: a standard deviation of 2 counts."""
    known = {"n": 20, "pivot": 8192, "sum": 60, "sumsq": 256, "least": 8190, "greatest": 8201}
    known |= {"stale": 0, "faulty": 0, "clipped": 0} | block
    blocks = pd.DataFrame({"boot": 1, "seq": np.arange(BLOCKS), "length_ticks": BLOCK_US, **known})
    blocks["time_s"] = 0.1 * np.arange(BLOCKS)
    head = of or header()
    return RunRecords(
        headers=(Held(1, 0, head),),
        blocks=blocks,
        low_blocks=blocks[:0],
        edges=pd.concat(edge_tables or [edges(0, 73.0)], ignore_index=True),
        slows=pd.concat(slows or [slow(1, 1250, 55)], ignore_index=True),
        events=pd.DataFrame(columns=["code"]),
        host_offset_s=0.0,
        damaged={},
        duplicated=0,
        late=0,
        lost=0,
        received=BLOCKS,
    )


def rig(rest: str = BLOWER) -> Rig:
    return parse_rig(RIG.format(rest=rest), "unit.toml")


def refused(of: Header, rest: str) -> str:
    with pytest.raises(RigError) as error:
        to_si(records(of), rig(rest))
    return str(error.value)


def test_the_mean_of_a_block_is_that_of_its_counts_on_the_rated_line() -> None:
    """8195 counts: -6894.757 + (8195 - 1638) * 1.05199 = 3.156 Pa; 8192 is the middle, 0 Pa."""
    found = to_si(records(), rig())
    table = found.table
    assert found.count_pa == pytest.approx(COUNT_PA, rel=1e-6)
    assert found.span_pa == pytest.approx(2 * 6894.757)
    np.testing.assert_allclose(table["sensor_dp_pa"], 3 * COUNT_PA, rtol=1e-6)
    np.testing.assert_allclose(table["differential_pressure_sd_pa"], 2 * COUNT_PA, rtol=1e-6)
    np.testing.assert_allclose(table["least_pa"], -2 * COUNT_PA, rtol=1e-6)
    np.testing.assert_allclose(table["greatest_pa"], 9 * COUNT_PA, rtol=1e-6)
    np.testing.assert_allclose(table["time_s"], 0.1 * np.arange(BLOCKS) + 0.05)
    np.testing.assert_allclose(table["length_s"], 0.1)


def test_a_block_without_samples_has_no_mean_and_one_of_one_sample_no_spread() -> None:
    none = to_si(records(n=0, sum=0, sumsq=0), rig()).table
    assert none[["sensor_dp_pa", "differential_pressure_sd_pa"]].isna().all(axis=None)
    one = to_si(records(n=1, sum=3, sumsq=9), rig()).table
    np.testing.assert_allclose(one["sensor_dp_pa"], 3 * COUNT_PA, rtol=1e-6)
    assert one["differential_pressure_sd_pa"].isna().all()


def speed(found: Channels, column: str = "speed_rpm") -> float:
    middle = found.table[column][20:80]
    assert middle.notna().all()
    return float(middle.mean())


def test_the_speed_is_that_of_the_blower_s_shaft_where_it_is_watched() -> None:
    """73 marks a second of 2 a turn: 2190 rpm; of the engine 29.2 a second of 1: 1752 rpm."""
    alone = to_si(records(), rig())
    assert (alone.blower_shaft_from, alone.belt_ratio) == ("blower_shaft", 1.0)
    assert speed(alone) == pytest.approx(2190, rel=1e-4)
    assert "engine_speed_rpm" not in alone.table
    of = header(pickups=("blower_shaft", "engine_shaft"))
    both = to_si(records(of, [edges(0, 73.0), edges(1, 29.2)]), rig(f"{BLOWER}\n{ENGINE}"))
    assert both.blower_shaft_from == "blower_shaft"
    assert speed(both) == pytest.approx(2190, rel=1e-4)
    assert speed(both, "engine_speed_rpm") == pytest.approx(1752, rel=1e-4)


def test_the_engine_s_shaft_alone_gives_the_blower_s_speed_by_the_belt() -> None:
    found = to_si(records(header(pickups=("engine_shaft",)), [edges(0, 29.2)]), rig(ENGINE))
    assert (found.blower_shaft_from, found.belt_ratio) == ("engine_shaft", 1.25)
    assert speed(found) == pytest.approx(1.25 * 1752, rel=1e-4)
    assert speed(found, "engine_speed_rpm") == pytest.approx(1752, rel=1e-4)


def test_slow_words_become_kelvins_and_shares() -> None:
    """1250 hundredths of a degree, 55 hundredths."""
    table = to_si(records(), rig()).table
    np.testing.assert_allclose(table["ambient_temperature_k"], 12.5 + 273.15)
    np.testing.assert_allclose(table["ambient_humidity"], 0.55)


def test_a_slow_reading_lies_on_the_line_between_its_neighbours() -> None:
    """12 C until 4.5 s and 13 C from 5 s on: 12.5 C at 4.75 s."""
    early, late = slow(1, 1200, 55, until_s=5.0), slow(1, 1300, 55)
    late = late[late["time_s"] >= 5.0]
    table = to_si(records(slows=[early, late]), rig()).table.set_index("time_s")
    at = table["ambient_temperature_k"] - 273.15
    assert at.iloc[[10, 47, 80]].tolist() == pytest.approx([12.0, 12.5, 13.0])


@pytest.mark.parametrize("damage", ["fault", "short"])
def test_a_reading_that_failed_is_none(damage: str) -> None:
    """Nor is the last good one kept for longer than five periods, 2.5 s."""
    good = slow(1, 1250, 55, until_s=4.0)  # the last one at 3.5 s
    bad = slow(1, 9999, 99, status=BUS_ERROR) if damage == "fault" else slow(1, 9999)
    table = to_si(records(slows=[good, bad[bad["time_s"] >= 4.0]]), rig()).table
    known = table["ambient_temperature_k"].notna()
    np.testing.assert_array_equal(known, table["time_s"] <= 3.5 + 2.5)
    np.testing.assert_allclose(table.loc[known, "ambient_temperature_k"], 285.65)


def test_a_barometer_of_trimming_words_is_read_by_its_sheet() -> None:
    """Check values of the sheet BST-BMP280-DS001, 3.12: 25.08 C and 100653.27 Pa."""
    trim = (27504, 26435, -1000, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)
    raw = (
        Channel("pressure", "Pa", "bosch", 3e4, 1.1e5, 0, 1e6, 0, 9),
        Channel("temperature", "Cel", "bosch", -40, 85, 0, 1e6, 0, 9),
    )
    of = header((METER, sensor(1, "ambient_air", "BMP280", *raw, trim=trim)))
    table = to_si(records(of, slows=[slow(1, 415148, 519888)]), rig()).table
    np.testing.assert_allclose(table["ambient_pressure_pa"], 100_653.27, atol=0.05)
    np.testing.assert_allclose(table["ambient_temperature_k"], 273.15 + 25.08, atol=0.005)


def test_a_reading_is_taken_by_the_header_that_held_when_it_came() -> None:
    """From record 10 on another part plays the role, whose counts are worth twice as much."""
    twice = replace(AIR, channels=(replace(AIR.channels[0], value_high=2000.0), AIR.channels[1]))
    run = records()
    run = replace(run, headers=(Held(1, 0, header()), Held(1, 10, header((METER, twice)))))
    celsius = to_si(run, rig()).table["ambient_temperature_k"] - 273.15
    assert celsius.iloc[[20, 80]].tolist() == pytest.approx([12.5, 25.0])


@pytest.mark.parametrize(
    ("of", "rest", "says"),
    [
        (
            header(),
            f"{BLOWER}\n{ENGINE}",
            "unit.toml line 10: pickups.engine_shaft: .* watches blower_shaft only",
        ),
        (
            header(pickups=("blower_shaft", "engine_shaft")),
            BLOWER,
            r"pickups: .* watches engine_shaft, .* add \[pickups.engine_shaft\]",
        ),
        (
            header(),
            f'{BLOWER}\n[sensors.meter_dp]\npart = "SSC"',
            "line 11: sensors.meter_dp.part: .* has HSC as meter_dp, not SSC",
        ),
        (
            header(),
            f'{BLOWER}\n[sensors.tank_air]\npart = "BMP280"',
            r"sensors.tank_air.part: .* no sensor as tank_air; take \[sensors.tank_air\] out",
        ),
        (
            header(),
            f'{BLOWER}\n[sensors.meter_dp]\npart = "HSC"\nrange = ["-2.5 kPa", "2.5 kPa"]',
            "sensors.meter_dp.range: .* is set for -6894.76 Pa to 6894.76 Pa",
        ),
        (header((AIR,)), BLOWER, "names no sensor with the role meter_dp"),
    ],
)
def test_a_rig_that_contradicts_the_board_is_refused_in_words(
    of: Header, rest: str, says: str
) -> None:
    assert re.search(says, refused(of, rest))


def test_a_range_that_people_round_is_no_contradiction() -> None:
    """6895 Pa for a psi; half a per cent of the span is 69 Pa."""
    for ends in ('["-6895 Pa", "6895 Pa"]', '["-6.95 kPa", "6.84 kPa"]'):
        rest = f'{BLOWER}\n[sensors.meter_dp]\npart = "HSC"\nrange = {ends}'
        assert to_si(records(), rig(rest)).span_pa == pytest.approx(2 * 6894.757)

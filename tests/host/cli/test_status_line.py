"""The status says at once what will spoil a run, and says it once."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from fed import Fed
from pullcurve.cli.status_line import Status
from pullcurve.rig.loading import load_rig, parse_rig
from pullcurve.run_log.reading import read_log
from pullcurve.stream.received import Received
from record_format import encode

ROOT = Path(__file__).parents[3]
RECEIVED = read_log(ROOT / "sample_logs/healthy_sweep.runlog").received
RIG = load_rig(ROOT / "hardware/rigs/port.toml").text


@pytest.mark.parametrize(
    ("old", "new", "sentence", "shown"),
    [
        ("", "", None, "blower shaft"),
        ('part = "HSC"', 'part = "ABP2"', r"sensors.meter_dp.part: .*HSC", "RIG DOES NOT FIT"),
        ("[pickups.blower_shaft]", "[pickups.engine_shaft]", "watches", "RIG DOES NOT FIT"),
    ],
)
def test_a_rig_that_does_not_fit_the_board_is_told_once(
    old: str, new: str, sentence: str | None, shown: str
) -> None:
    status = Fed(Status(parse_rig(RIG.replace(old, new), "a rig")))
    for received in RECEIVED[:600]:
        status.add(received)
    news = status.take_news()
    if sentence is None:
        assert news == []
    else:
        (warning,) = news
        assert re.search(sentence, warning), warning
    assert shown in status.line()
    assert status.take_news() == []


def test_a_sea_level_pressure_is_told_before_the_run() -> None:
    text, changed = re.subn(r'station_pressure = "[^"]*"', 'station_pressure = "101.3 kPa"', RIG)
    assert changed == 1
    (warning,) = Status(parse_rig(text, "a rig")).take_news()
    assert "sea-level" in warning


def later(seconds: float, data: bytes = b"", link: str = "") -> Received:
    return Received(RECEIVED[0].host_time + timedelta(seconds=seconds), data, link)


def test_a_board_that_is_gone_silent_or_in_trouble_is_told() -> None:
    def event(seq: int, code: str, subject: str, text: str = "") -> bytes:
        return encode("event", 1, seq, (0, code, subject, 0, text))

    def lines() -> Iterator[str]:
        for received in (
            later(0.0),
            later(1.0, event(1, "sensor_lost", "meter_dp")),
            later(5.0),
            later(6.0, event(2, "sensor_back", "meter_dp")),
            later(7.0, link="lost"),
            later(8.0, link="opened"),
            later(9.0, event(3, "config", "board", "pickups: one or two are needed")),
            later(9.1, event(4, "no_radio", "") + event(5, "short_memory", "") * 2),
        ):
            status.add(received)
            yield status.line()

    status = Fed(Status(None))
    nothing, lost, silent, back, gone, again, config, _ = lines()
    assert "nothing from a board yet" in nothing
    assert "METER DP DOES NOT ANSWER" in lost
    assert "NOTHING FROM THE BOARD FOR 4 S" in silent
    assert "METER DP" not in back
    assert "BOARD GONE" in gone
    assert "GONE" not in again
    assert "BOARD.JSON" in config
    assert [sentence.split(";")[0].split(":")[0] for sentence in status.take_news()] == [
        "meter dp does not answer, or with faults",
        "meter dp answers again",
        "the board is gone",
        "the board is back",
        "the board says",
        "the board has no radio",
        "the board keeps only its last 0 s",
    ]


def test_records_that_come_again_do_not_change_what_is_shown() -> None:
    now, again = Fed(Status(None)), Fed(Status(None))
    for received in RECEIVED[:400]:
        now.add(received)
    for received in RECEIVED[:200] + RECEIVED[250:400] + RECEIVED[200:249]:
        again.add(received)
    assert now.line().split("  ")[-2:] == again.line().split("  ")[-2:]
    assert (now.missing, again.missing) == (0, 1)
    assert "1 missing" in again.line()


def test_firmware_of_another_version_is_told_once() -> None:
    status = Fed(Status(None))
    for seq in range(3):
        fields = (0, 9, 3, "rp2-pico", "e661", "9.9", 1000, 30)
        status.add(later(seq, encode("board", 1, seq, fields)))
    (warning,) = status.take_news()
    assert "records of format 3, and this version reads formats 1 to 2" in warning
    assert "FIRMWARE OF ANOTHER VERSION" in status.line()

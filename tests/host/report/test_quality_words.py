"""The data's quality in words: shares, gaps, and no word about what is whole."""

from dataclasses import replace

from host.report.results import FULL_STOCK
from pullcurve.measure.channels import SLOW_COLUMNS
from pullcurve.report.quality_words import CHANNELS, quality_sentences


def test_quality_is_told_with_its_shares() -> None:
    told = " ".join(quality_sentences(FULL_STOCK))
    assert "7\xa0561 records arrived, 14 are missing (0.18\xa0%)" in told
    assert "came" not in told
    bad = replace(FULL_STOCK, duplicated=1, late=2, board_starts=3, clipped_samples=14_894)
    told = " ".join(quality_sentences(bad))
    assert "1 record came twice. 2 records came late. The board started 3 times" in told
    assert "14\xa0894 clipped at the end of the sensor's range (10\xa0%)" in told
    empty = replace(FULL_STOCK, records=0, lost=0)
    assert quality_sentences(empty)[0] == "No record arrived."


def test_what_is_whole_is_told_in_three_sentences() -> None:
    whole = replace(
        FULL_STOCK, lost=0, damaged={}, stale_samples=0, channels=FULL_STOCK.channels[1:]
    )
    assert quality_sentences(whole) == [
        "All 7\xa0561 records arrived.",
        "Differential pressure: 148\xa0940 samples, none of them late, faulty or clipped.",
        "Every channel covers the whole run.",
    ]


def test_a_channel_with_gaps_says_how_many_how_long_and_when() -> None:
    told = quality_sentences(FULL_STOCK)
    assert told[-2:] == [
        "Differential pressure: 99.8\xa0% of the run's time covered, 2 gaps, the longest 0.6 s at "
        "3:20.",
        "Every other channel covers the whole run.",
    ]
    silent = replace(
        FULL_STOCK.channels[0], channel="ambient_humidity", covered=0.0, gaps=1, longest_gap_s=510.0
    )
    alone = replace(FULL_STOCK, channels=(silent,))
    assert quality_sentences(alone)[-1] == "Humidity of the open air: not one reading."


def test_every_channel_has_a_name() -> None:
    assert set(CHANNELS) == set(SLOW_COLUMNS.values()) | {
        *("differential_pressure_pa", "speed_rpm", "engine_speed_rpm")
    }

"""The sentences: place and state are named, and every figure in them follows from the numbers."""

import pytest

from host.report.results import FULL_STOCK, REFERENCE, point, result
from pullcurve.quantities import SI, US
from pullcurve.report.sentences import (
    headline,
    meter_sentences,
    quality_sentences,
    site_sentences,
    uncertainty_sentences,
)


@pytest.mark.parametrize(
    ("position", "place"),
    [
        ("port", "through its port"),
        ("hose_end", "through the far end of its hose"),
        ("clean_pipe", "through the clean pipe between filter and blower"),
    ],
)
def test_the_headline_names_place_and_state(position: str, place: str) -> None:
    holds = [point(1, 3432.0, 100.0), point(2, 1500.0, 200.0)]
    told = headline(holds, position, REFERENCE, US)
    assert told.startswith("At 3432 rpm")
    assert (
        f"({REFERENCE}) {place}; in the state of the air at the port (24.9 inHg, 64.4 °F)" in told
    )
    alone = headline([holds[0].model_copy(update={"flow_port": None})], position, REFERENCE, US)
    assert alone.endswith(f"{place}.")


def test_the_uncertainty_says_what_would_be_left_without_its_largest_part() -> None:
    run = result()
    whole, largest = uncertainty_sentences(run, SI)
    flow = run.points[-1].standard_flow_m3_s
    share = 100 * flow.u95 / flow.value
    assert f"±\xa0{share:.1f}\xa0%" in whole
    assert "discharge coefficient, with 91\xa0% of the variance" in largest
    # Variances add (JCGM 100:2008, 5.1.2): a part that holds 91 % of it leaves the root of 9 %.
    assert f"±\xa0{share * 0.09**0.5:.1f}\xa0%. It belongs to the meter" in largest


def test_quality_is_told_with_its_shares() -> None:
    told = " ".join(quality_sentences(FULL_STOCK))
    assert "7\xa0561 records arrived, 14 are missing (0.18\xa0%)" in told
    assert "came" not in told
    bad = FULL_STOCK.model_copy(
        update={"duplicated": 1, "late": 2, "board_starts": 3, "clipped_samples": 14_894}
    )
    told = " ".join(quality_sentences(bad))
    assert "1 record came twice. 2 records came late. The board started 3 times" in told
    assert "14\xa0894 clipped at the end of the sensor's range (10\xa0%)" in told
    whole = FULL_STOCK.model_copy(update={"lost": 0, "damaged": {}, "stale_samples": 0})
    assert quality_sentences(whole) == [
        "All 7\xa0561 records arrived.",
        "Differential pressure: 148\xa0940 samples, none stale, faulty or clipped.",
    ]
    empty = FULL_STOCK.model_copy(update={"records": 0, "lost": 0, "samples": 0})
    assert quality_sentences(empty)[0] == "No record arrived."


def test_bores_and_site_are_told_in_the_units_asked_for() -> None:
    run = result()
    assert "pipe bore 4.0260 in, throat bore 3.0680 in" in meter_sentences(run.meter, US)[0]
    assert "pipe bore 102.26 mm, throat bore 77.927 mm" in meter_sentences(run.meter, SI)[0]
    (us,) = site_sentences(run.site, US)
    assert "1\xa0500 m (4\xa0921 ft)" in us
    # 84.3 kPa over 3.386389 kPa, NIST SP 811:2008; 18 °C is 64.4 °F.
    assert "24.89 inHg absolute (measured), 64.4 °F (measured), relative humidity 38\xa0%" in us

"""What other programs are told: Prometheus's own reader reads it, and nothing unknown is in it."""

from dataclasses import replace

import pytest
from prometheus_client.parser import text_string_to_metric_families

from host.live.test_words import READING, SETTLED, WAY
from pullcurve.live.figures import MEANINGS, figures, metrics
from pullcurve.live.words import Check

HOSTILE = 'a "rig"\nwith \\ lines'


def test_prometheus_reads_every_figure_with_its_meaning_and_unit() -> None:
    known = figures(SETTLED, READING, WAY)
    checks = [Check("Zero", "fine", ""), Check("Zero", "spoilt", ""), Check("Board", "doubt", "")]
    families = {f.name: f for f in text_string_to_metric_families(metrics(known, checks, HOSTILE))}
    flow = families["pullcurve_standard_flow_m3_s"]
    assert flow.type == "gauge"
    assert flow.documentation.endswith("m3/s")
    assert flow.samples[0].value == pytest.approx(0.50968)
    assert flow.samples[0].labels == {"rig": HOSTILE}
    assert families["pullcurve_records"].type == "counter"
    graded = families["pullcurve_check"].samples
    assert {s.labels["name"]: s.value for s in graded} == {"Zero": 2.0, "Board": 1.0}


def test_what_is_not_known_is_left_out_and_not_nought() -> None:
    gone = figures(SETTLED, READING, replace(WAY, gone=True))
    assert gone["board_answers"] == 0
    assert "standard_flow_m3_s" not in gone
    unknown = figures(SETTLED, replace(READING, standard_flow_m3_s=None), WAY)
    assert "standard_flow_m3_s" not in unknown
    assert unknown["speed_rpm"] == pytest.approx(2131.2)
    assert set(unknown) <= set(MEANINGS)

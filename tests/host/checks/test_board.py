"""What is worth knowing of a run is said, and nothing that is not there."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pullcurve.examine import read_run
from pullcurve.quantities import SI
from pullcurve.report.finding_words import evidence_words

SAMPLE = Path(__file__).parents[3] / "sample_logs/healthy_sweep.runlog"


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (
            lambda lines: [*lines[:900], b"damaged", *lines[900:]],
            ["Damaged lines of the log, left out: 1."],
        ),
        (lambda lines: [*lines[:900], *lines[901:]], ["Records that are missing: 1."]),
        (lambda lines: lines, []),
    ],
)
def test_only_what_is_missing_or_damaged_is_counted(
    tmp_path: Path, damage: Callable[[list[bytes]], list[bytes]], said: list[str]
) -> None:
    log = tmp_path / "x.runlog"
    log.write_bytes(b"\n".join(damage(SAMPLE.read_bytes().splitlines())) + b"\n")
    assert [
        evidence_words(each, SI) for each in read_run(log).remarks if each.subject == "link"
    ] == said

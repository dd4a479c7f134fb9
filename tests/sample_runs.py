"""The runs of the sample logs, each reduced once for the tests of a process, which change none."""

from functools import cache
from pathlib import Path

from pullcurve.examine import Run, read_run

SAMPLES = Path(__file__).parents[1] / "sample_logs"


@cache
def sample_run(name: str) -> Run:
    return read_run(SAMPLES / f"{name}.runlog")

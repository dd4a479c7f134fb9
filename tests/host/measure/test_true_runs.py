"""Runs of True."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from pullcurve.measure.true_runs import true_runs


@pytest.mark.parametrize(
    ("flags", "runs"),
    [("", []), ("00", []), ("11", [(0, 2)]), ("0110", [(1, 3)]), ("101", [(0, 1), (2, 3)])],
)
def test_runs_are_whole_and_in_order(flags: str, runs: list[tuple[int, int]]) -> None:
    found = true_runs(np.array([flag == "1" for flag in flags], dtype=bool))
    assert [(run.start, run.stop) for run in found] == runs


@given(st.lists(st.booleans(), min_size=1, max_size=40))
def test_as_ndimage_labels_them(flags: list[bool]) -> None:
    labels, _ = ndimage.label(np.array(flags))
    assert true_runs(np.array(flags)) == [found[0] for found in ndimage.find_objects(labels)]

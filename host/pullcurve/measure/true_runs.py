"""Runs of True in a sequence of flags."""

import numpy as np
from numpy.typing import NDArray


def true_runs(flags: NDArray[np.bool_]) -> list[slice]:
    """Find the longest runs of True, in order, each as a slice of the flags."""
    ends = np.flatnonzero(np.diff(np.concatenate(([0], np.asarray(flags).astype(np.int8), [0]))))
    return [slice(int(start), int(end)) for start, end in ends.reshape(-1, 2)]

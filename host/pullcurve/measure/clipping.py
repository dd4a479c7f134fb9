"""Samples that stood at an end of the sensor's range, at whatever count that end lies."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullcurve.stream.block import Block

CLIPPED_SHARE = 0.02  # of the blocks of a point or sample; above it no result (judgement)
LEAST_BLOCKS = 5  # that share one extreme count, before it is an end and no chance
# Of twenty normal readings the greatest lies 1.9 standard deviations above the mean; where
# it lies nearer than this, the readings pile up under an end.
PILED = 1.4
QUIET = 0.3  # counts: a sensor whose readings scatter by less shows no pile

Flags = NDArray[np.bool_]


def clipped_blocks(blocks: pd.DataFrame, turning: Flags) -> Flags:
    """Which blocks hold samples at an end of the range.

    blocks: block records, with `n`, `pivot`, `sum`, `sumsq`, `least`, `greatest` and `clipped`
    (what the firmware counted at the ends that the header names). turning: whether the shaft
    turned; a standing machine's quiet zero is no end.
    """
    block = Block.of(blocks)
    n, mean, spread = block.n, block.mean, np.sqrt(block.variance * (block.n - 1) / block.n)
    found = blocks["clipped"].to_numpy() > 0
    usable = turning & (n > 1)
    for column, side in (("greatest", 1), ("least", -1)):
        extreme = blocks[column].to_numpy(float)
        if not usable.any():
            continue
        end = (side * extreme[usable]).max() * side
        at_end = usable & (extreme == end)
        elsewhere = spread[(n > 1) & ~at_end]
        noise = float(np.quantile(elsewhere, 0.1)) if len(elsewhere) else 0.0
        with np.errstate(divide="ignore", invalid="ignore"):
            piled = (side * (end - mean) < PILED * spread) & (spread > QUIET)
        still = (spread == 0) & (noise > QUIET)
        if (at_end & (piled | still)).sum() >= LEAST_BLOCKS:
            found = found | at_end
    return np.asarray(found, dtype=bool)

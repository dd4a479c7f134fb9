"""Board seconds from wrapping ticks."""

import numpy as np
from numpy.typing import NDArray


def unwrap(
    ticks: NDArray[np.int64], host_s: NDArray[np.float64], tick_ns: int, tick_bits: int
) -> NDArray[np.float64]:
    """Seconds since the first reading of one boot, never decreasing by more than half a period.

    Parameters
    ----------
    ticks
        Raw readings of the counter, in the order in which the board took them.
    host_s
        When the host received each, in seconds of any zero. Used only to count the wraps in
        a gap too long for the ticks alone (more than a quarter of the period).
    tick_ns, tick_bits
        Length of a tick and width of the counter, from the board's header.
    """
    if len(ticks) == 0:
        return np.empty(0)
    period = 1 << tick_bits
    tick_s = tick_ns * 1e-9
    # Signed difference: a second pickup's record may name an instant just before a block's.
    step = (np.diff(ticks) + period // 2) % period - period // 2
    gap_ticks = np.diff(host_s) / tick_s
    long_gap = gap_ticks > period / 4
    wraps = np.where(long_gap, np.round((gap_ticks - step) / period), 0).astype(np.int64)
    elapsed = np.concatenate(([0], np.cumsum(step + wraps * period)))
    return np.asarray(elapsed * tick_s, dtype=np.float64)

"""Board seconds from wrapping ticks."""

import math

import numpy as np
from numpy.typing import NDArray

from pullcurve.stream.header import Header


def unwrap(
    ticks: NDArray[np.int64],
    seq: NDArray[np.int64],
    host_s: NDArray[np.float64],
    tick_ns: int,
    tick_bits: int,
    block_us: int,
) -> NDArray[np.float64]:
    """Seconds since the first reading of one start of the board, never decreasing by more than
    half a period.

    Parameters
    ----------
    ticks
        Raw readings of the counter, in the order in which the board took them.
    seq
        Sequence numbers of the records that held them. The board sends at least one record a
        block, so they bound how often the counter may have wrapped.
    host_s
        When the host received each, in seconds of any zero. Used only to choose among the
        numbers of wraps within that bound: where no more records are missing than half a
        period holds, the ticks alone rule, whatever the host's clock does.
    tick_ns, tick_bits, block_us
        Length of a tick, width of the counter and length of a block, from the board's header.
    """
    if len(ticks) == 0:
        return np.empty(0)
    period = 1 << tick_bits
    tick_s = tick_ns * 1e-9
    # Signed difference: a second pickup's record may name an instant just before a block's.
    step = (np.diff(ticks) + period // 2) % period - period // 2
    # A block is named by its start and other records by their end: one block more may pass.
    most_ticks = (np.diff(seq) + 1) * (block_us * 1e-6 / tick_s)
    most = np.maximum(np.floor((most_ticks - step) / period), 0)
    wraps = np.clip(np.round((np.diff(host_s) / tick_s - step) / period), 0, most)
    elapsed = np.concatenate(([0], np.cumsum(step + wraps.astype(np.int64) * period)))
    return np.asarray(elapsed * tick_s, dtype=np.float64)


class BlockClock:
    """Board seconds of blocks as they come, from wrapping ticks; time begins with the first one.

    As in `unwrap`, the host's clock only chooses among the numbers of wraps for which records can
    be missing.
    """

    def __init__(self) -> None:
        self._ticks: int | None = None
        self._seq = 0
        self._host_s = 0.0
        self._time_s = 0.0
        self._began = False

    def restart(self) -> None:
        """The board has begun anew: its ticks say nothing of the time between."""
        self._ticks = None

    def place(
        self, ticks: int, length_ticks: int, seq: int, header: Header | None, host_s: float
    ) -> float | None:
        """When a block that is newer than all before it began; None while no header is known."""
        if header is None:
            if not self._began:
                self._began, self._ticks, self._seq, self._host_s = True, ticks, seq, host_s
            return None
        tick_s, period = header.tick_ns * 1e-9, 1 << header.tick_bits
        heard_s = host_s - self._host_s
        if self._ticks is None:
            step_s = max(heard_s, length_ticks * tick_s) if self._began else 0.0
        else:
            ahead = (ticks - self._ticks) % period
            most_s = (seq - self._seq + 1) * header.block_us * 1e-6
            most, turns = ((elapsed_s / tick_s - ahead) / period for elapsed_s in (most_s, heard_s))
            turns = max(min(round(turns), math.floor(most)), 0)
            step_s = (ahead + turns * period) * tick_s
        self._began = True
        self._time_s += step_s
        self._ticks, self._seq, self._host_s = ticks, seq, host_s
        return self._time_s

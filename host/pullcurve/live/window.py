"""What is kept of a stream by who follows it all day: its newest part, and the newest good zero.

Told by the places of records in their starts of the board, so that a clock that steps, the host's
as well, makes nothing old.
"""

import pandas as pd

from pullcurve.stream.records import Assembler, RunRecords

ZERO_S = 8.0  # of a stretch with the engine off, to be kept until the next one
ZERO_KEPT_S = 20.0  # its end
MARGIN_S = 1.5  # kept beside it, so that its own ends are found again
MOST_A_SECOND = 40  # records of one kind, where there are no tables to tell their age

Place = tuple[int, int]  # start of the board, sequence number


class Keeping:
    """`whole`: nothing has been let go of."""

    def __init__(self, kept_s: float) -> None:
        self.whole = True
        self._kept_s = kept_s
        self._zero: tuple[Place, Place] | None = None

    def note_zeros(self, zeros: pd.DataFrame, records: RunRecords) -> None:
        """zeros: the stretches with the engine off, `start_s` and `end_s` as in `records`."""
        long = zeros[zeros["end_s"] - zeros["start_s"] >= ZERO_S]
        if not len(long):
            return
        start_s, end_s = (float(long[name].iloc[-1]) for name in ("start_s", "end_s"))
        start_s = max(start_s, end_s - ZERO_KEPT_S)
        within = records.blocks["time_s"].between(start_s - MARGIN_S, end_s + MARGIN_S)
        blocks = records.blocks[within]
        self._zero = _place(blocks.iloc[0]), _place(blocks.iloc[-1])

    def forget(self, assembler: Assembler, records: RunRecords | None) -> None:
        """Let go of what is older. records: what the assembler's records come to; None where they
        come to nothing."""
        if records is None:
            assembler.keep_newest(round(self._kept_s * MOST_A_SECOND))
            return
        time_s = records.blocks["time_s"]
        old = time_s < time_s.iloc[-1] - self._kept_s
        if not old.any():
            return
        self.whole = False
        oldest, zero = _place(records.blocks[~old].iloc[0]), self._zero
        assembler.forget(
            lambda place: place >= oldest or (zero is not None and zero[0] <= place <= zero[1])
        )


def _place(row: pd.Series) -> Place:
    return int(row["boot"]), int(row["seq"])

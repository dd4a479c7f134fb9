"""Duplicates, gaps and late records, from the sequence numbers of each boot."""

from dataclasses import dataclass, field

from pullcurve.wire.decoder import Record


@dataclass
class _Boot:
    first: int
    beyond: int  # one more than the highest number seen
    missing: list[range] = field(default_factory=list)


class SequenceCheck:
    """Counts what the sequence numbers of a stream reveal.

    A gap counts as missing until its records come late. Records ahead of the first one seen
    are not missing: a log may start anywhere.
    """

    def __init__(self) -> None:
        self._boots: dict[int, _Boot] = {}
        self.duplicates = 0
        self.late = 0

    @property
    def boots(self) -> list[int]:
        return list(self._boots)

    def missing(self) -> dict[int, list[range]]:
        """The sequence numbers that never came, by boot."""
        return {boot: state.missing for boot, state in self._boots.items() if state.missing}

    @property
    def missing_count(self) -> int:
        return sum(len(gap) for state in self._boots.values() for gap in state.missing)

    def accept(self, record: Record) -> bool:
        """Whether the record is new; False for a second copy of one already seen."""
        seq = record.seq
        boot = self._boots.get(record.boot)
        if boot is None:
            self._boots[record.boot] = _Boot(seq, seq + 1)
            return True
        if seq == boot.beyond:
            boot.beyond += 1
            return True
        if seq > boot.beyond:
            boot.missing.append(range(boot.beyond, seq))
            boot.beyond = seq + 1
            return True
        if seq < boot.first:
            if seq + 1 < boot.first:
                boot.missing.append(range(seq + 1, boot.first))
            boot.first = seq
            self.late += 1
            return True
        for i, gap in enumerate(boot.missing):
            if seq in gap:
                parts = (range(gap.start, seq), range(seq + 1, gap.stop))
                boot.missing[i : i + 1] = [part for part in parts if part]
                self.late += 1
                return True
        self.duplicates += 1
        return False

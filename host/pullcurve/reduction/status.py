"""One line about a run while it is received."""

from collections import deque

from pullcurve.reduction import transfer
from pullcurve.rig.models import Rig
from pullcurve.sources import Received
from pullcurve.wire.decoder import Decoder, Record
from pullcurve.wire.header import Header, HeaderAssembler, named
from pullcurve.wire.sequence import SequenceCheck

LATEST = 10  # blocks that the shown values are means of


class Status:
    """Watches what a source yields and says how it goes."""

    def __init__(self, rig: Rig | None) -> None:
        self._rig = rig
        self._decoder = Decoder()
        self._sequence = SequenceCheck()
        self._headers = HeaderAssembler()
        self._header: Header | None = None
        self._blocks: deque[dict[str, int]] = deque(maxlen=LATEST)
        self._began: Received | None = None
        self._elapsed_s = 0.0
        self._trouble = ""
        self.records = 0
        self.damaged = 0

    def add(self, received: Received) -> None:
        if self._began is None:
            self._began = received
        self._elapsed_s = (received.host_time - self._began.host_time).total_seconds()
        for event in self._decoder.feed(received.data):
            if not isinstance(event, Record):
                self.damaged += 1
            elif self._sequence.accept(event):
                self.records += 1
                self._note(event)

    def _note(self, record: Record) -> None:
        if record.kind == "block":
            self._blocks.append(named(record))
        elif record.kind == "event":
            event = named(record)
            if event["code"] == "config":
                self._trouble = f"the board says: {event['text']}"
            elif event["code"] == "sensor_lost":
                self._trouble = f"{event['subject']} does not answer"
            elif event["code"] == "sensor_back":
                self._trouble = ""
        else:
            self._header = self._headers.add(record) or self._header

    def line(self) -> str:
        """Elapsed time, records, speed, differential pressure (zero not taken off), trouble."""
        parts = [f"{self._elapsed_s:6.0f} s", f"{self.records} records"]
        if self._sequence.missing_count:
            parts.append(f"{self._sequence.missing_count} missing")
        if self.damaged:
            parts.append(f"{self.damaged} damaged")
        if len(self._sequence.boots) > 1:
            parts.append(f"{len(self._sequence.boots)} board starts")
        parts.extend(self._readings())
        if self._trouble:
            parts.append(self._trouble.upper())
        if not self.records:
            parts.append("nothing from a board yet")
        return "  ".join(parts)

    def _readings(self) -> list[str]:
        if self._header is None or not self._blocks:
            return []
        shown = []
        pickup = self._header.pickups[0]
        facts = getattr(self._rig.pickups, pickup.role) if self._rig else None
        length_s = sum(b["length_ticks"] for b in self._blocks) * self._header.tick_ns * 1e-9
        edges = sum(b["edges"] for b in self._blocks)
        name = pickup.role.replace("_", " ")
        if facts is not None:
            shown.append(f"{name} {60 * edges / facts.marks_per_turn / length_s:.0f} rpm")
        else:
            shown.append(f"{name} {edges / length_s:.0f} marks/s")
        sensor = self._header.sensor("meter_dp")
        count = sum(b["n"] for b in self._blocks)
        if sensor is not None and count:
            mean = sum(b["pivot"] * b["n"] + b["sum"] for b in self._blocks) / count
            pressure = float(transfer.linear(mean, sensor.channels[0]))
            shown.append(f"differential pressure {pressure:.0f} Pa")
        return shown

"""How it goes while a run is received: one line, and what has just become known."""

import math
from collections import deque
from datetime import datetime
from typing import Any

from pullcurve.errors import RigError
from pullcurve.measure.channels import check_rig_against_header
from pullcurve.measure.shaft_speed import NewestSpeed
from pullcurve.physics import air
from pullcurve.rig.loading import check_station_pressure
from pullcurve.rig.models import Rig
from pullcurve.stream.block import Block
from pullcurve.stream.decoder import VERSIONS
from pullcurve.stream.header import Header
from pullcurve.stream.record_stream import Arrival, Batch
from pullcurve.stream.sequence import SequenceCheck
from record_format import FORMAT_VERSION

LATEST = 10  # records that the shown values are means of
SILENT_S = 3.0


class Status:
    """Watches a stream, batch by batch, and says how it goes."""

    def __init__(self, rig: Rig | None) -> None:
        self._rig = rig
        self._sequence = SequenceCheck()
        self._header: Header | None = None
        self._blocks: deque[dict[str, Any]] = deque(maxlen=LATEST)
        self._shaft: NewestSpeed | None = None  # of the first pickup
        self._known_marks = False
        self._began: datetime | None = None
        self._heard: datetime | None = None
        self._now: datetime | None = None
        self._gone = False
        self._rig_fault = ""
        self._board_troubles: dict[str, str] = {}
        self._told: set[str] = set()  # what the board repeats with its header
        self._news: list[str] = []
        self.records = 0
        self.damaged = 0
        if rig is not None:
            try:
                check_station_pressure(rig, lambda altitude: float(air.standard_pressure(altitude)))
            except RigError as fault:
                self._news.append(f"warning: {fault}")

    def take(self, batch: Batch) -> None:
        self._now = batch.host_time
        self._began = self._began or batch.host_time
        received = batch.received
        if received.data or self._heard is None:
            self._heard = batch.host_time
        if received.link:
            self._gone = received.link == "lost"
            self._news.append(
                "the board is gone; the recording goes on and waits for it: check its plug, or "
                "come nearer"
                if self._gone
                else "the board is back"
            )
        self._sequence = batch.stream.sequence
        self.records += batch.accepted
        self.damaged = batch.stream.damaged.total()
        for each in batch.arrivals:
            # A record that came again says nothing of how it goes now.
            if each.in_order:
                self._note(each)

    @property
    def missing(self) -> int:
        """How many records have not come until now."""
        return self._sequence.missing_count

    def take_news(self) -> list[str]:
        """The sentences that have come up since the last call."""
        news, self._news = self._news, []
        return news

    def _note(self, each: Arrival) -> None:
        if each.kind == "dp":
            self._blocks.append(each.fields())
        elif each.kind == "edges":
            if each.fields()["pickup"] == 0 and self._shaft is not None:
                self._shaft.add(each.fields())
        elif each.kind == "event":
            self._note_event(each.fields())
        elif each.kind == "board":
            self._note_format(each.fields()["format"])
        if each.header is not None and each.header != self._header:
            self._use(each.header)

    def _use(self, header: Header) -> None:
        facts = getattr(self._rig.pickups, header.pickups[0].role) if self._rig else None
        # Without a rig the marks of one turn are not known: shown are marks.
        marks = facts.marks_per_turn if facts is not None else 1
        self._shaft = NewestSpeed(marks, header.tick_ns, header.tick_bits)
        self._known_marks = facts is not None
        self._header = header
        self._compare_rig(header)

    def _note_format(self, format_version: int) -> None:
        if format_version not in VERSIONS and "firmware" not in self._board_troubles:
            self._board_troubles["firmware"] = "FIRMWARE OF ANOTHER VERSION"
            self._news.append(
                f"warning: the board sends records of format {format_version}, and this version "
                f"reads formats 1 to {FORMAT_VERSION}. The recording goes on; copy this version's "
                "firmware to the board, or report the log with the version that belongs to it"
            )

    def _note_event(self, event: dict[str, str]) -> None:
        subject = event["subject"].replace("_", " ")
        if event["code"] == "start":
            self._board_troubles.clear()
            self._told.clear()
        elif event["code"] == "config":
            self._board_troubles["board.json"] = "BOARD.JSON CANNOT BE USED"
            self._news.append(f"the board says: {event['text']}")
        elif event["code"] == "no_radio":
            self._tell_once("the board has no radio: it sends over its cable only")
        elif event["code"] == "short_memory":
            self._tell_once(
                f"the board keeps only its last {event['value']} s: of a longer time without a "
                "link the rest cannot be had again"
            )
        elif event["code"] == "sensor_lost":
            self._board_troubles[subject] = f"{subject} DOES NOT ANSWER".upper()
            self._news.append(f"{subject} does not answer, or with faults: check its wires")
        elif event["code"] == "sensor_back" and subject in self._board_troubles:
            del self._board_troubles[subject]
            self._news.append(f"{subject} answers again")

    def _tell_once(self, sentence: str) -> None:
        """A sentence a start of the board."""
        if sentence not in self._told:
            self._told.add(sentence)
            self._news.append(sentence)

    def _compare_rig(self, header: Header) -> None:
        if self._rig is None:
            return
        fault = ""
        try:
            check_rig_against_header(self._rig, header)
        except RigError as found:
            fault = str(found)
        if fault and fault != self._rig_fault:
            self._news.append(
                f"warning: {fault}. The recording goes on; mend the rig's file and report the log "
                "with --rig"
            )
        self._rig_fault = fault

    def line(self) -> str:
        """Elapsed time, trouble, records, speed, differential pressure (zero not taken off)."""
        parts = [f"{_seconds(self._began, self._now):6.0f} s"]
        silent_s = _seconds(self._heard, self._now)
        if self._gone:
            parts.append("BOARD GONE")
        elif not self.records:
            parts.append("nothing from a board yet")
        elif silent_s > SILENT_S:
            parts.append(f"NOTHING FROM THE BOARD FOR {silent_s:.0f} S")
        if self._rig_fault:
            parts.append("RIG DOES NOT FIT")
        parts.extend(self._board_troubles.values())
        parts.append(f"{self.records} records")
        if self.missing:
            parts.append(f"{self.missing} missing")
        if self.damaged:
            parts.append(f"{self.damaged} damaged")
        if len(self._sequence.boots) > 1:
            parts.append(f"{len(self._sequence.boots)} board starts")
        if silent_s <= SILENT_S:
            parts.extend(self._readings())
        return "  ".join(parts)

    def _readings(self) -> list[str]:
        if self._header is None or not self._blocks:
            return []
        shown = self._turning(self._header.pickups[0].role)
        sensor = self._header.sensor("meter_dp")
        if sensor is not None:
            blocks = Block.of(b for b in self._blocks if b["sensor"] == sensor.index)
            pressure = blocks.pooled_pressure(sensor.channels[0])
            if math.isfinite(pressure):
                shown.append(f"differential pressure {pressure:.0f} Pa")
        return shown

    def _turning(self, role: str) -> list[str]:
        rpm = self._shaft.rpm() if self._shaft is not None else math.nan
        if not math.isfinite(rpm):
            return []
        name = role.replace("_", " ")
        return [f"{name} {rpm:.0f} rpm" if self._known_marks else f"{name} {rpm / 60:.0f} marks/s"]


def _seconds(since: datetime | None, until: datetime | None) -> float:
    return (until - since).total_seconds() if since and until else 0.0

"""The real main.py on real MicroPython, its radio in the air of the host's link, out of reach for
longer than a person takes to walk to the cab and back.

The board does not sleep through that: its clock runs as fast as the computer can follow.
"""

import asyncio
import json
import os
import subprocess
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bumble import link

from fed import Fed
from on_micropython import UNIX, needs_unix
from pullcurve.bench import board_side
from pullcurve.bench.firmware_files import firmware_folder
from pullcurve.cli.status_line import Status
from pullcurve.recording import record
from pullcurve.run_log.reading import read_log
from pullcurve.run_log.writing import LogWriter
from pullcurve.sources import ble as ble_link
from pullcurve.sources.ble import BleLink
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.received import Received
from pullcurve.stream.records import Assembler
from pullcurve.stream.sequence import SequenceCheck
from record_ring import PAGES
from virtual_radio import Air, Ble

pytestmark = needs_unix

RADIO = Path(__file__).parents[2] / "firmware" / "radio"
ADDRESS = "C0:00:00:00:00:01"


class Board:
    """A process of MicroPython whose `bluetooth` ends here, at a device of the air."""

    def __init__(self, folder: Path, pages: int) -> None:
        shipped = json.loads((firmware_folder() / "board.json").read_text(encoding="utf-8"))
        settings = json.dumps(shipped | {"bluetooth": True, "watchdog_ms": 0})
        (folder / "board.json").write_text(settings, encoding="utf-8")
        self._folder = folder
        self._pages = pages
        self.unheard = 0  # blocks of which nobody is in reach
        self._process: subprocess.Popen[bytes] | None = None
        self._partial = b""

    async def start(self, air: link.LocalLink) -> None:
        self.ble = Ble(air, ADDRESS)
        self.ble.irq(lambda event, data: self._send("event", [event, [*data[:2], ""]]))
        await self.ble.device.power_on()
        self.calls, to_radio = os.pipe()
        from_radio, self._answers = os.pipe()
        pipes = f"/dev/fd/{to_radio}", f"/dev/fd/{from_radio}"
        arguments = (firmware_folder(), self._folder, *pipes, self._pages)
        modules = f"{RADIO}:{Path(board_side.__file__).parent}"
        with (self._folder / "usb.txt").open("wb") as usb:
            self._process = subprocess.Popen(
                [str(UNIX), str(RADIO / "radio_board.py"), *map(str, arguments)],
                pass_fds=(to_radio, from_radio),
                env={**os.environ, "MICROPYPATH": modules},
                stdin=subprocess.DEVNULL,
                stdout=usb,
            )
        os.close(to_radio)
        os.close(from_radio)
        asyncio.get_running_loop().add_reader(self.calls, self._answer)

    def _send(self, kind: str, said: Any) -> None:
        os.write(self._answers, json.dumps([kind, said]).encode() + b"\n")

    def _answer(self) -> None:
        data = os.read(self.calls, 65536)
        if not data:
            asyncio.get_running_loop().remove_reader(self.calls)
        *whole, self._partial = (self._partial + data).split(b"\n")
        for line in whole:
            name, args, options = json.loads(line)
            if name == "gatts_notify":
                args[2] = bytes.fromhex(args[2])
            if name == "gap_advertise":
                args[1] = bytes.fromhex(args[1])
            try:
                said = getattr(self.ble, name)(*args, **options)
            except OSError as fault:
                self.unheard += name == "gap_advertise"
                self._send("refused", fault.errno)
            else:
                self._send("said", said.hex() if isinstance(said, bytes) else said)

    async def leave(self, seconds: float) -> None:
        """Out of reach, and ahead in time by so much."""
        await self.ble.leave()
        self._send("skip", int(seconds * 1e6))

    def sent_over_usb(self) -> list[int]:
        data = (self._folder / "usb.txt").read_bytes()
        return [event.seq for event in Decoder().feed(data) if isinstance(event, Record)]

    async def come_back(self) -> None:
        self.ble.reach = True

    def stop(self) -> None:
        assert self._process is not None
        self._process.kill()
        self._process.wait()
        for handle in (self.calls, self._answers):
            os.close(handle)


AWAY_S = 35.0


class Outage:
    """A recording of a board that is out of reach for AWAY_S of its time, until nothing more is
    to come. Each piece takes the recorder `slowness_s` once the board is back."""

    def __init__(self, folder: Path, pages: int, slowness_s: float = 0.0) -> None:
        board = Board(folder, pages)
        air = Air(board)
        status = Fed(Status(None))
        away = back = asked = False

        def befall(received: Received) -> None:
            nonlocal away, back
            if not away and status.records > 40:
                away = True
                air.befall(board.leave(AWAY_S))
            if not back and board.unheard * 0.1 > AWAY_S:
                air.befall(board.come_back())
            back = back or received.link == "opened"
            time.sleep(slowness_s * back)

        def whole() -> bool:
            nonlocal asked
            asked = asked or (back and status.missing > 0)
            return asked and not source.wanted

        path = folder / "run.runlog"
        try:
            with BleLink("pull0001", air.radio) as source, LogWriter(path) as writer:
                assert record(source, writer, (status.add, befall), whole) == []
        finally:
            board.stop()
        self.missing = status.missing
        self.line = status.line()
        self.news = status.take_news()
        self.usb = board.sent_over_usb()
        log = read_log(path)
        states = [item.named()["state"] for item in log.host_records if item.record.kind == "link"]
        assert states == ["opened", "lost", "opened", "closed"]
        assembler, decoder, sequence = Fed(Assembler()), Decoder(), SequenceCheck()
        for received in log.received:
            assembler.add(received)
            for event in decoder.feed(received.data):
                assert isinstance(event, Record)
                sequence.accept(event)
        (self.gaps,) = sequence.missing().values() or [[]]
        self.records = assembler.finish("a log")


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """The virtual radio hears every board within a tenth of a second, and answers sooner."""
    monkeypatch.setattr(ble_link, "_TICK_S", 0.02)
    monkeypatch.setattr(ble_link, "_TRY_AGAIN_S", 0.1)


def test_an_outage_of_35_s_costs_nothing(tmp_path: Path) -> None:
    kept = Outage(tmp_path, PAGES)
    records = kept.records
    assert (records.lost, kept.missing) == (0, 0)
    assert records.late > 10 * AWAY_S
    np.testing.assert_allclose(np.diff(records.blocks["time_s"]), 0.1, atol=1e-9)
    assert records.blocks["after_gap"].sum() == 1  # at the log's beginning
    assert not any("keeps only" in sentence for sentence in kept.news)
    assert {held.header.board for held in records.headers} == {"rp2-pico"}
    # The same records went out over USB, all of them.
    assert kept.usb == list(range(len(kept.usb)))
    assert len(kept.usb) > len(records.blocks)


def test_of_an_outage_longer_than_its_memory_the_newest_part_comes_and_the_rest_is_named(
    tmp_path: Path,
) -> None:
    kept = Outage(tmp_path, 4, slowness_s=0.02)
    records = kept.records
    assert records.lost == kept.missing > 100
    assert f"{kept.missing} missing" in kept.line
    assert records.late > 50
    # What the board says is gone ends where its records begin again.
    gone = set(records.events.loc[records.events["code"] == "gone", "value"])
    assert {gap.stop for gap in kept.gaps} <= gone
    # It had said so beforehand.
    (told_s,) = (int(s.split()[6]) for s in kept.news if s.startswith("the board keeps only its"))
    assert 3 < told_s < AWAY_S / 2

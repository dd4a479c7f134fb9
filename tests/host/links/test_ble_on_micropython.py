"""The real main.py on real MicroPython, its radio in the air of the host's link."""

import asyncio
import json
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bumble import link

from on_micropython import UNIX, needs_unix
from pullcurve.bench import board_side
from pullcurve.bench.firmware_files import firmware_folder
from pullcurve.links.ble_link import BleLink
from pullcurve.wire.decoder import Decoder, Record
from pullcurve.wire.header import HeaderAssembler
from pullcurve.wire.sequence import SequenceCheck
from virtual_radio import Air, Ble

pytestmark = needs_unix

RADIO = Path(__file__).parents[2] / "firmware" / "radio"
ADDRESS = "C0:00:00:00:00:01"


class Board:
    """A process of MicroPython whose `bluetooth` ends here, at a device of the air."""

    def __init__(self, folder: Path) -> None:
        shipped = json.loads((firmware_folder() / "board.json").read_text(encoding="utf-8"))
        settings = json.dumps(shipped | {"bluetooth": True, "watchdog_ms": 0})
        (folder / "board.json").write_text(settings, encoding="utf-8")
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        self._partial = b""

    async def start(self, air: link.LocalLink) -> None:
        self.ble = Ble(air, ADDRESS)
        self.ble.irq(lambda event, data: self._send("event", [event, [*data[:2], ""]]))
        await self.ble.device.power_on()
        self.calls, to_radio = os.pipe()
        from_radio, self._answers = os.pipe()
        paths = [firmware_folder(), self._folder, f"/dev/fd/{to_radio}", f"/dev/fd/{from_radio}"]
        modules = f"{RADIO}:{Path(board_side.__file__).parent}"
        with (self._folder / "usb.txt").open("wb") as usb:
            self._process = subprocess.Popen(
                [str(UNIX), str(RADIO / "radio_board.py"), *map(str, paths)],
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
                self._send("refused", fault.errno)
            else:
                self._send("said", said.hex() if isinstance(said, bytes) else said)

    async def leave(self) -> None:
        await self.ble.leave()

    async def come_back(self) -> None:
        self.ble.reach = True

    def stop(self) -> None:
        assert self._process is not None
        self._process.kill()
        self._process.wait()
        for handle in (self.calls, self._answers):
            os.close(handle)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[Board]:
    made = Board(tmp_path)
    yield made
    made.stop()


def test_main_streams_to_a_host_that_comes_and_goes(board: Board) -> None:
    air = Air(board)
    decoder, sequence, header = Decoder(), SequenceCheck(), HeaderAssembler()
    whole = []
    links = []
    with BleLink("pull0001", air.radio) as source:
        for received in source:
            links.append(received.link)
            new = [
                event
                for event in decoder.feed(received.data)
                if isinstance(event, Record) and sequence.accept(event)
            ]
            whole += [header.add(record) for record in new]
            if sequence.received > 40 and "lost" not in links:
                air.befall(board.leave())
            if "lost" in links and len(links) - links.index("lost") == 15:
                air.befall(board.come_back())
            if "opened" in links and sequence.late > 10 and not source.wanted:
                break
    assert [each for each in links if each] == ["lost", "opened"]
    assert sequence.missing_count == 0
    headers = [each for each in whole if each]
    assert headers
    assert {each.board for each in headers} == {"rp2-pico"}
    # The same records went out over USB, all of them.
    usb = [
        event.seq
        for event in Decoder().feed((board._folder / "usb.txt").read_bytes())
        if isinstance(event, Record)
    ]
    assert usb == list(range(len(usb)))
    assert len(usb) > sequence.received

"""The firmware as it is on an emulated RP2040: I2C peripheral, pin interrupt, flash, USB.

Runs where PULLCURVE_RP2_IMAGE names a MicroPython image (UF2) for an RP2040 board with 2 MiB
of flash and the packages rp2040py and littlefs-python are installed. The emulated I2C takes no
bus time, and the emulated USB takes most of the processor's, so nothing here is a figure of
speed.
"""

import asyncio
import json
import os
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest
from sampling_checks import statistics

from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import Scenario, load_scenario, shipped_scenarios
from pullcurve.bench.world import PINS, World, board_json
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.header import HeaderAssembler, named
from record_format import OK, again

IMAGE = Path(os.environ.get("PULLCURVE_RP2_IMAGE", ""))
FIRMWARE = Path(__file__).parents[2] / "firmware"
FLASH_START, BLOCK_SIZE, BLOCK_COUNT = 0xA0000, 4096, 352  # the image's file system
LOW_US = 500  # how long a mark holds the pin down
BLOCKS = 9  # more than one turn of the slow sensors; a board second takes half a minute
SECONDS = 240

pytestmark = [
    pytest.mark.skipif(
        not IMAGE.is_file(),
        reason="no image for the emulated chip: PULLCURVE_RP2_IMAGE must name a MicroPython UF2",
    ),
    pytest.mark.timeout(SECONDS + 60),
    # The emulator's own coroutines and modules.
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
]


class Wiring:
    """The simulated world on the pins of the emulated chip."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._written = b""
        self._answer = iter(b"")

    def attach(self, chip) -> None:
        self._chip = chip
        self._attach_bus(0)
        self._attach_bus(1)
        for pin in PINS.values():
            chip.gpio[pin].set_input_value(True)
        self._happenings = iter(self._world.happenings(0, 10**7))
        self._at_next_edge()

    def _attach_bus(self, number: int) -> None:
        bus = self._chip.i2c[number]
        bus.on_connect = lambda address, mode: self._connect(bus, number, address, int(mode))
        bus.on_write_byte = lambda byte: self._take(bus, byte)
        bus.on_read_byte = lambda _more: bus.complete_read(next(self._answer))
        bus.on_stop = lambda: self._stop(bus)

    def _now_us(self) -> int:
        return int(self._chip.clock.nanos / 1000)

    def _transact(self, data: bytes, length: int) -> bytes | None:
        return self._world.transact(self._now_us(), *self._place, data, length)

    def _connect(self, bus, number: int, address: int, mode: int) -> None:
        self._place = (number, address)
        there = self._transact(b"", 0) is not None
        if there and mode == 1:
            # The bus asks for one byte at a time; the longest read of any driver is 26.
            self._answer = iter(self._transact(self._written, 32) or b"")
            self._written = b""
        bus.complete_connect(there)

    def _take(self, bus, byte: int) -> None:
        self._written += bytes([byte])
        bus.complete_write(True)

    def _stop(self, bus) -> None:
        if self._written:
            self._transact(self._written, 0)
            self._written = b""
        bus.complete_stop()

    def _after(self, us: float, action: Callable[[], None]) -> None:
        self._chip.clock.create_alarm(action).schedule(us * 1000)

    def _at_next_edge(self) -> None:
        at_us, pin = next(self._happenings, (0, 0))
        if pin in PINS.values():
            self._after(max(at_us - self._now_us(), 0), lambda: self._fall(pin))

    def _fall(self, pin: int) -> None:
        self._chip.gpio[pin].set_input_value(False)
        self._after(LOW_US, lambda: self._chip.gpio[pin].set_input_value(True))
        self._at_next_edge()


def file_system(folder: Path, **others: str) -> Path:
    """The firmware's folder, some files of it replaced, as the image of a board's flash."""
    littlefs = pytest.importorskip("littlefs")
    # MicroPython's littlefs and this one agree on version 2.0 on the disk.
    flash = littlefs.LittleFS(
        block_size=BLOCK_SIZE, block_count=BLOCK_COUNT, disk_version=0x00020000
    )
    flash.mkdir("lib")
    files = {
        file.relative_to(FIRMWARE).as_posix(): file.read_text(encoding="utf-8")
        for file in sorted(FIRMWARE.rglob("*"))
        if file.suffix in (".py", ".json")
    }
    for name, text in (files | others).items():
        with flash.open(name, "wb") as copy:
            copy.write(text.encode())
    image = folder / "flash.img"
    image.write_bytes(flash.context.buffer)
    return image


def scenario() -> Scenario:
    """The shipped board.json's sensors, and a shaft that turns from the start."""
    table = load_scenario(shipped_scenarios()["healthy_sweep"]).model_dump()
    table["machine"]["engine"]["throttle"] = ((0, 2400), (7200, 2400))
    table["sensors"] = [
        {"role": "meter_dp", "part": "HSC", "address": 0x28, "range_pa": (-6895, 6895), "noise": 3},
        {"role": "ambient_air", "part": "BME280", "address": 0x76, "noise": 2},
    ]
    table["pickups"] = [{"role": "blower_shaft", "marks": 2}]
    return Scenario.model_validate(table | {"duration_s": 10})


async def listen(wiring: Wiring, flash: Path, enough: Callable[[bytes], bool]) -> bytes:
    """What the board says on its USB port from power-on until there is enough of it. Half-way its
    first records but number 0 are asked for again."""
    boards = pytest.importorskip("rp2040py.boards")
    device = pytest.importorskip("rp2040py.device")
    said = bytearray()
    board = boards.BoardSpec(
        image=IMAGE,
        layout=boards.FlashLayout(FLASH_START, BLOCK_COUNT, BLOCK_SIZE),
        extras=(lambda: wiring,),
    )
    chip = device.MicroPythonDevice(board=board, filesystem=flash)
    chip.cdc.on_serial_data = said.extend
    async with chip:
        async with asyncio.timeout(SECONDS):
            while not enough(2 * said):
                await asyncio.sleep(0.1)
            for byte in again(1, 1, 6):
                chip.cdc.send_serial_byte(byte)
            while not enough(said):
                await asyncio.sleep(0.1)
    return bytes(said)


def test_main_py_runs_on_the_chip(tmp_path: Path) -> None:
    scene = scenario()
    world = World(scene, simulate(scene))
    served: list[int] = []
    world.parts["meter_dp"][0].on_count = lambda _at, count, _status: served.append(count)
    wiring = Wiring(world)
    starts = BLOCKS + 2  # the last one is not yet whole, and one comes again
    said = asyncio.run(
        listen(wiring, file_system(tmp_path), lambda said: said.count(b"\ndp ") >= starts)
    )

    decoder = Decoder()
    events = decoder.feed(said)
    records = [event for event in events if isinstance(event, Record)]
    assert len(records) >= len(events) - 1, events  # the port opens within a line
    first, last = records[0].seq, records[-1].seq
    begin = next(i for i in range(1, len(records)) if records[i].seq < records[i - 1].seq)
    repeated = records[begin : begin + 5]
    records[begin : begin + 5] = []
    assert [r.seq for r in repeated] == [1, 2, 3, 4, 5]
    assert "event" not in {r.kind for r in repeated}  # the ring found all the room it wants
    assert [r.seq for r in records] == list(range(first, last + 1))

    assembler = HeaderAssembler()
    headers = [h for h in map(assembler.add, records) if h is not None]
    assert [sensor.role for sensor in headers[0].sensors] == ["meter_dp", "ambient_air"]
    assert headers[0].tick_bits == 30
    assert len(headers[0].sensors[1].trim) == 18

    blocks = [named(r) for r in records if r.kind == "dp"]
    assert len(blocks) >= BLOCKS
    names = ("n", "pivot", "sum", "sumsq", "least", "greatest")
    counts = served[1:]  # the first reading starts the part
    for block in blocks:
        n = block["n"]
        expected = statistics([(OK, count) for count in counts[:n]])[:6]
        assert tuple(block[name] for name in names) == expected
        counts = counts[n:]
        assert block["faulty"] == block["clipped"] == 0
    for before, after in pairwise(blocks):
        assert before["start_ticks"] + before["length_ticks"] == after["start_ticks"]

    turns = [named(r) for r in records if r.kind == "edges"]
    edges = sum(each["edges"] for each in turns)
    begin, end = turns[0], turns[-1]
    last = end["start_ticks"] + end["first"] + sum(end["steps"])
    speed_rpm = 60 * (edges - 1) / 2 / (last - begin["start_ticks"] - begin["first"]) * 1e6
    assert speed_rpm == pytest.approx(2400 * 1.2 * (1 - 0.004), rel=0.02)
    assert sum(each["rejects"] for each in turns) == 0
    air = [named(r) for r in records if r.kind == "slow" and named(r)["sensor"] == 1]
    assert air
    assert all(record["status"] == OK and len(record["words"]) == 3 for record in air)


SMALL_HEAP = """
import gc
gc.collect()
ballast = bytearray(gc.mem_free() + gc.mem_alloc() - 192 * 1024)
"""


def test_what_is_promised_of_every_role_fits_a_heap_of_192_kib(tmp_path: Path) -> None:
    scene = load_scenario(shipped_scenarios()["full_sensors"])
    settings = json.dumps(board_json(scene) | {"bluetooth": True})  # whose file takes room too
    flash = file_system(tmp_path, **{"boot.py": SMALL_HEAP, "board.json": settings})
    wiring = Wiring(World(scene, simulate(scene)))
    said = asyncio.run(listen(wiring, flash, lambda said: said.count(b"\ndp ") >= 9))

    records = [event for event in Decoder().feed(said) if isinstance(event, Record)]
    codes = {named(record)["code"] for record in records if record.kind == "event"}
    assert "no_radio" in codes
    assert "short_memory" not in codes
    slow = [named(record) for record in records if record.kind == "slow"]
    assert {each["sensor"]: each["status"] for each in slow} == dict.fromkeys(range(6), OK)

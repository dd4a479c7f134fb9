"""The firmware's own files on this computer's Python against the bench: no MicroPython.

For studies of many runs, and for computers without a pseudo-terminal. Streamer, Sampler,
Sensor, Tach, UsbLink and drivers are those of the board; what main.py does around them is
done here. A test holds the bytes and their times equal to those of BenchLink.
"""

import importlib
import json
import sys
from collections.abc import Iterator
from functools import cache
from types import SimpleNamespace
from typing import Any, Self

from pullcurve.bench.board_side import RUNTIME, BoardEnd, BoardReset, Clock, make_machine
from pullcurve.bench.firmware_files import firmware_folder
from pullcurve.bench.world import board_json
from pullcurve.errors import ScenarioError
from pullcurve.sources.bench import BenchLink
from pullcurve.stream.received import Received


class DirectLink(BenchLink):
    """Yields what BenchLink yields, once the whole run has been computed.

    In an unread window the pipe takes nothing, where a pseudo-terminal still fills its buffer.
    """

    def __enter__(self) -> Self:
        self._spoken = bytearray()
        self._asked = bytearray()
        self._out: list[Received] = []
        self._heard = bytearray()
        self._now_us = 0
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        """Raises ScenarioError, with its sentence, when the firmware refuses the board.json."""
        clock = Clock(self)
        machine: Any = SimpleNamespace()
        make_machine(clock, self, machine)
        boot = 1
        while True:
            try:
                self._run_board(clock, machine, boot)
            except BoardReset:
                clock.reboot()
                boot += 1
            except BoardEnd:
                break
        self._hand_over()
        yield from self._out

    # What BenchLink hears over its pipes: every transaction and every look ahead is a time at
    # which the host reads all that the board has said.

    def transact(
        self, now_us: int, bus: int, address: int, data: bytes, length: int
    ) -> bytes | None:
        self._reach(now_us)
        return self._world.transact(now_us, bus, address, data, length)

    def happenings(self, from_us: int, to_us: int) -> list[tuple[int, int]]:
        self._reach(from_us)
        self._ask_again(from_us)
        self._heard += self._asked
        self._asked.clear()
        return self._world.happenings(from_us, to_us)

    def say(self, line: bytes) -> None:
        self._asked += line

    def _reach(self, now_us: int) -> None:
        self._now_us = now_us
        self._out.extend(self._link_news(now_us))
        if not self._unread(now_us):
            self._hand_over()

    def _hand_over(self) -> None:
        if self._spoken:
            self._out.extend(self._received(self._now_us, bytes(self._spoken)))
            self._spoken.clear()

    def write(self, data: bytes) -> int:
        self._spoken += data
        return len(data)

    def read(self, size: int) -> bytes:
        heard = bytes(self._heard[:size])
        del self._heard[:size]
        return heard

    def _run_board(self, clock: Clock, machine: Any, boot: int) -> None:
        firmware = _firmware()
        ring = firmware.record_ring.RecordRing()
        link = firmware.usb_link.UsbLink(
            ring, self, self, lambda: not self._unread(clock.now_us), lambda: bool(self._heard)
        )
        outbox = firmware.outbox.Outbox(ring, clock, boot)
        try:
            config = firmware.board_config.load(json.dumps(board_json(self._scenario)))
            buses = {
                bus["bus"]: machine.I2C(bus["bus"], freq=bus["frequency_hz"])
                for bus in config["buses"]
            }
            supply = machine.ADC(None) if "supply" in config else None
            sensors = firmware.board_config.make_sensors(config, buses, supply)
            tachs = [_tach(firmware, machine, clock, entry) for entry in config["pickups"]]
        except ValueError as fault:
            raise ScenarioError(f"scenario {self._scenario.name}: board: {fault}") from None
        sampled = firmware.board_config.SAMPLED
        samplers = [firmware.sampler.Sampler(each) for each in sensors if each.role in sampled]
        firmware.streamer.Streamer(
            clock,
            [link],
            outbox,
            samplers,
            sensors[len(samplers) :],
            tachs,
            config["plan"],
            (config["board"], machine.unique_id().hex()),
            RUNTIME,
            lambda: None,
        ).run(machine.reset_cause())


def _tach(firmware: SimpleNamespace, machine: Any, clock: Clock, entry: dict[str, Any]) -> Any:
    pin = machine.Pin(entry["pin"])

    def arm(handler: object) -> None:
        pin.irq(handler, machine.Pin.IRQ_FALLING)

    return firmware.tach.Tach(
        entry["role"],
        entry["pin"],
        entry["least_us"],
        clock,
        machine.disable_irq,
        machine.enable_irq,
        arm,
        pin.value,
    )


@cache
def _firmware() -> SimpleNamespace:
    """The firmware's modules by name. None of them stays in `sys.modules`, where a name such
    as `sensor` may belong to somebody else."""
    folder = firmware_folder()
    folders = [str(folder), str(folder / "lib")]
    names = [path.stem for path in (*folder.glob("*.py"), *folder.glob("lib/*.py"))]
    names = [name for name in names if name not in ("main", "record_format")]
    others = {name: sys.modules.pop(name) for name in names if name in sys.modules}
    sys.path[:0] = folders
    try:
        modules = {name: importlib.import_module(name) for name in names}
    finally:
        for name in folders:
            sys.path.remove(name)
        for name in names:
            sys.modules.pop(name, None)
        sys.modules.update(others)
    firmware = SimpleNamespace(**modules)
    # It fetches a driver when a sensor asks for it.
    vars(firmware.board_config)["__import__"] = modules.__getitem__
    # The board's collector has a small heap to go through, this computer's a large one.
    firmware.streamer.gc = SimpleNamespace(collect=lambda: None)
    return firmware

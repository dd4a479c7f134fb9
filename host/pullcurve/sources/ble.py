"""A board in reach over Bluetooth Low Energy.

`bleak` runs on a thread of its own with its own event loop; what comes waits in a queue, so that
this is a source like any other.
"""

import asyncio
import queue
import threading
import time
from collections.abc import Callable, Coroutine, Iterator
from concurrent.futures import Future
from contextlib import suppress
from datetime import datetime
from typing import Any, NamedTuple, Self, TypeVar

from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakError,
)
from bleak.exc import (
    BleakBluetoothNotAvailableReason as Reason,
)

from pullcurve.errors import LinkError
from pullcurve.stream.gaps import Gaps
from pullcurve.stream.received import Received
from record_format import BLE_RECORDS, BLE_REQUESTS, BLE_SERVICE, GREETING, SILENT_S, again

LISTEN_S = 3.0  # for every board that is in reach
FIND_S = 12.0
CONNECT_S = 15.0
SILENCE_S = 10.0  # of the board, after which its connection is taken for dead
_TICK_S = 0.1
_TRY_AGAIN_S = 1.0
_STOP_S = 5.0

T = TypeVar("T")

_FAULTS = (BleakError, OSError, EOFError, TimeoutError)

_NOT_AVAILABLE = {
    Reason.NO_BLUETOOTH: "this computer has no Bluetooth radio that works: plug one in, or use "
    "the board's cable",
    Reason.NO_BLE_CENTRAL_ROLE: "this computer's Bluetooth radio is too old for the board: plug "
    "in a newer one, or use the board's cable",
    Reason.POWERED_OFF: "Bluetooth is switched off on this computer: switch it on",
}
_ENDED = "Bluetooth has ended on this computer ({}): try once more, or use the board's cable"
_DENIED = "this program may not use Bluetooth: allow it in the system's settings for privacy"


class Radio(NamedTuple):
    """What stands in for the computer's radio: classes as bleak takes them; None: its own."""

    scanner: Any = None
    client: Any = None


class BleLink:
    """Yields what a board sends over Bluetooth. `name` chooses among several: what the board
    calls itself, the end of that, or its address; empty for the only one.

    An empty chunk is yielded when nothing has come for a while, so that a caller can stop. A
    board that goes out of reach is waited for. Records that are missing are asked for again.
    """

    def __init__(self, name: str = "", radio: Radio | None = None) -> None:
        self.name = f"ble:{name}"
        self._wanted_name = name
        self._radio = radio or Radio()
        self._gaps = Gaps()
        self._gone = False
        self._chunks: queue.SimpleQueue[Received] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._opened: Future[None] = Future()
        self._closing = threading.Event()
        self._died: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._heard_s = self._said_s = 0.0

    @property
    def wanted(self) -> int:
        """How many records have been asked for again and may still come, or else how many pieces
        have come that nobody has taken yet."""
        with self._lock:
            return (0 if self._gone else self._gaps.wanted) or self._chunks.qsize()

    def __enter__(self) -> Self:
        """Raises LinkError when there is no radio, no board, or more than one."""
        self._thread.start()
        try:
            self._opened.result()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_fault: object) -> None:
        self._closing.set()
        self._thread.join(_STOP_S)

    def __iter__(self) -> Iterator[Received]:
        while not self._closing.is_set():
            try:
                yield self._chunks.get(timeout=_TICK_S)
            except queue.Empty:
                if self._died is not None:
                    raise LinkError(_ENDED.format(type(self._died).__name__)) from None
                yield Received(datetime.now().astimezone(), b"")

    def _run(self) -> None:
        try:
            asyncio.run(self._work())
        except BaseException as fault:  # noqa: BLE001  (told where the source is read)
            self._died = fault
            if not self._opened.done():
                self._opened.set_exception(LinkError(_ENDED.format(type(fault).__name__)))

    async def _work(self) -> None:
        try:
            board = await _not_ours(self._choose())
            await _not_ours(self._serve(board))
        except Exception as fault:  # noqa: BLE001  (told where the source is entered)
            if not self._opened.done():
                told = LinkError(_why_not(fault)) if isinstance(fault, _FAULTS) else fault
                self._opened.set_exception(told)
                return
        while not self._closing.is_set():
            # The connection was lost.
            try:
                found = await _not_ours(self._listen(FIND_S, lambda found: board.address in found))
                if board.address in found:
                    await _not_ours(self._serve(found[board.address][1]))
                    continue
            except Exception:  # noqa: BLE001, S110  (whatever a radio says now may pass)
                pass
            await asyncio.sleep(_TRY_AGAIN_S)

    async def _choose(self) -> BLEDevice:
        wanted = self._wanted_name.lower()

        def fits(address: str, name: str) -> bool:
            return address.lower() == wanted or name.lower().endswith(wanted)

        def there(found: dict[str, tuple[str, BLEDevice]]) -> bool:
            return any(fits(address, name) for address, (name, _) in found.items())

        found = await self._listen(LISTEN_S, there if wanted else lambda _: False)
        if not there(found):
            found |= await self._listen(FIND_S - LISTEN_S, there)
        names = sorted(name for name, _ in found.values())
        boards = [device for address, (name, device) in found.items() if fits(address, name)]
        if len(boards) == 1:
            return boards[0]
        if boards:
            raise LinkError(f"{' and '.join(names)} are in reach; name one, such as ble:{names[0]}")
        if found:
            raise LinkError(
                f"no board called {self._wanted_name} is in reach, but {' and '.join(names)}: "
                "come nearer, or name one that is"
            )
        raise LinkError(
            "no board is in reach over Bluetooth: come nearer; see that it has power, that its "
            'board.json says "bluetooth": true, and that no other computer is connected to it'
        )

    async def _listen(
        self, seconds: float, enough: Callable[[dict[str, tuple[str, BLEDevice]]], bool]
    ) -> dict[str, tuple[str, BLEDevice]]:
        """Names and devices by address, of all boards that say within `seconds` that they are
        there; fewer when these are enough."""
        found: dict[str, tuple[str, BLEDevice]] = {}

        def heard(device: BLEDevice, said: AdvertisementData) -> None:
            if BLE_SERVICE in said.service_uuids:
                found[device.address] = (said.local_name or device.name or device.address, device)

        end_s = time.monotonic() + seconds
        async with BleakScanner(heard, [BLE_SERVICE], backend=self._radio.scanner):
            while not (enough(found) or time.monotonic() > end_s or self._closing.is_set()):
                await asyncio.sleep(_TICK_S)
        return found

    async def _serve(self, board: BLEDevice) -> None:
        """Connect, greet and receive until the connection is lost."""
        gone = asyncio.Event()
        client = BleakClient(board, lambda _: gone.set(), backend=self._radio.client)
        try:
            await asyncio.wait_for(client.connect(), CONNECT_S)
            if not (
                client.services.get_characteristic(BLE_RECORDS)
                and client.services.get_characteristic(BLE_REQUESTS)
            ):
                raise LinkError(
                    f"{board.name or board.address}: its firmware is of another version; copy "
                    "this version's firmware to the board"
                )
            await client.start_notify(BLE_RECORDS, self._receive)
            await self._say(client, GREETING + b"\n")
            self._report("opened", board)
            self._heard_s = time.monotonic()
            while not gone.is_set() and not self._closing.is_set():
                await self._ask(client)
                await asyncio.sleep(_TICK_S)
                if time.monotonic() - self._heard_s > SILENCE_S:
                    break
        finally:
            with suppress(*_FAULTS):
                await _not_ours(asyncio.wait_for(client.disconnect(), _STOP_S))
            self._report("lost", board)

    def _report(self, link: str, board: BLEDevice) -> None:
        if not self._opened.done():
            if link == "opened":
                self.name = f"ble:{board.name or board.address}"
                self._opened.set_result(None)
            return
        if self._gone == (link == "opened"):
            self._gone = link == "lost"
            if self._gone:
                self._gaps.lose()
            self._chunks.put(Received(datetime.now().astimezone(), b"", link))

    def _receive(self, _characteristic: object, data: bytearray) -> None:
        self._heard_s = time.monotonic()
        with self._lock:
            self._gaps.feed(bytes(data))
            self._chunks.put(Received(datetime.now().astimezone(), bytes(data)))

    async def _ask(self, client: BleakClient) -> None:
        """Ask for what is missing, or say now and then that somebody is there."""
        now_s = time.monotonic()
        line = self._gaps.due(now_s)
        if not line and now_s - self._said_s > SILENT_S / 3:
            line = again(0, 0, 0)
        if line:
            with suppress(*_FAULTS):
                await self._say(client, line)

    async def _say(self, client: BleakClient, line: bytes) -> None:
        await client.write_gatt_char(BLE_REQUESTS, line, response=False)
        self._said_s = time.monotonic()


async def _not_ours(doing: Coroutine[Any, Any, T]) -> T:
    """Where the Bluetooth library raises CancelledError though nobody has cancelled this task, as
    it does when the system cancels a connection, that is a fault like any other."""
    try:
        return await doing
    except asyncio.CancelledError:
        task = asyncio.current_task()
        if task is None or task.cancelling():
            raise
        raise BleakError("the computer broke it off") from None


def _why_not(fault: Exception) -> str:
    if isinstance(fault, BleakBluetoothNotAvailableError):
        return _NOT_AVAILABLE.get(fault.reason, _DENIED)
    text = str(fault)
    if isinstance(fault, TimeoutError):
        return "the board is in reach but does not answer: start it anew, or come nearer"
    if "NotReady" in text or "turned on" in text:
        return _NOT_AVAILABLE[Reason.POWERED_OFF]
    if isinstance(fault, OSError | EOFError) or "ServiceUnknown" in text:
        return "this computer's Bluetooth does not run: start it, or use the board's cable"
    return f"Bluetooth failed: {text}; switch it off and on, and try once more"

"""Bluetooth without a radio: bumble's stack on both ends, in the event loop of the host's link.

`Air` is what is between host and boards. The host's end is bleak over a backend of our own, the
board's end has the shape of MicroPython's `bluetooth.BLE`. HCI, L2CAP, ATT and GATT are real; what
operating systems and radios do is not there.
"""

import asyncio
import errno
import uuid
from collections.abc import Callable, Coroutine
from typing import Any, Protocol

from bleak.backends import characteristic, client, scanner, service
from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason, BleakError
from bumble import controller, core, device, gatt, hci, host, link

from pullcurve.sources.ble import Radio

MTU = 185  # as some telephones and tablets offer
NO_RESPONSE, WRITE, NOTIFY = 4, 8, 16
PROPERTIES = {NO_RESPONSE: "write-without-response", WRITE: "write", NOTIFY: "notify"}


def text_of(number: core.UUID) -> str:
    return str(uuid.UUID(bytes=number.to_bytes(force_128=True)[::-1]))


class Controller(controller.Controller):
    le_acl_data_packet_length = 251

    def on_hci_le_create_connection_cancel_command(self, command: Any) -> Any:
        """A real controller ends the connection attempt; bumble's forgets to say so."""
        self.pending_le_connection = None
        ended = hci.HCI_LE_Connection_Complete_Event(2, 0, 0, 1, hci.Address.ANY_RANDOM, 0, 0, 0, 0)
        asyncio.get_running_loop().call_soon(self.send_hci_packet, ended)
        return super().on_hci_le_create_connection_cancel_command(command)


def make_device(air: link.LocalLink, address: str) -> device.Device:
    own = host.Host()
    own.controller = Controller(address, link=air)
    config = device.DeviceConfiguration(address=hci.Address(address))
    return device.Device(host=own, config=config)


class Peripheral(Protocol):
    """A board in the air."""

    async def start(self, air: link.LocalLink) -> None: ...


class Air:
    """Everything in reach. The boards start with the host's radio, when that is first used."""

    def __init__(self, *boards: Peripheral) -> None:
        self._boards = boards
        self._host: device.Device | None = None
        self.loop: asyncio.AbstractEventLoop | None = None
        self.fault: BaseException | None = None
        self.mtu = MTU
        scanner_class = type("AirScanner", (Scanner,), {"air": self})
        self.radio = Radio(scanner_class, type("AirClient", (Client,), {"air": self}))

    async def host(self) -> device.Device:
        if self.fault is not None:
            raise self.fault
        if self._host is None:
            self.loop = asyncio.get_running_loop()
            local = link.LocalLink()
            self._host = make_device(local, "C0:00:00:00:00:FF")
            await self._host.power_on()
            for board in self._boards:
                await board.start(local)
        return self._host

    def befall(self, happening: Coroutine[Any, Any, None]) -> None:
        """Let something happen in the air's loop, and wait until it has."""
        assert self.loop is not None
        asyncio.run_coroutine_threadsafe(happening, self.loop).result(10)


def switched_off() -> BaseException:
    return BleakBluetoothNotAvailableError("off", BleakBluetoothNotAvailableReason.POWERED_OFF)


def no_adapter() -> BaseException:
    return BleakBluetoothNotAvailableError("none", BleakBluetoothNotAvailableReason.NO_BLUETOOTH)


class Scanner(scanner.BaseBleakScanner):
    air: Air

    def __init__(self, heard: Any = None, uuids: Any = None, *_: Any, **__: Any) -> None:
        super().__init__(heard, uuids)

    def _advertised(self, said: Any) -> None:
        key = said.address.to_string(False)
        numbers = [text_of(number) for found in said.data.get_all(7) for number in found]
        told = scanner.AdvertisementData(said.data.get(9), {}, {}, numbers, None, said.rssi, ())
        if self.is_allowed_uuid(numbers):
            known = self.create_or_update_device(key, key, told.local_name, said.address, told)
            self.call_detection_callbacks(known, told)

    async def start(self) -> None:
        self.seen_devices = {}
        own = await self.air.host()
        own.on("advertisement", self._advertised)
        await own.start_scanning(filter_duplicates=False)

    async def stop(self) -> None:
        own = await self.air.host()
        own.remove_listener("advertisement", self._advertised)
        await own.stop_scanning()


class Client(client.BaseBleakClient):
    air: Air
    link: device.Connection | None = None

    def __init__(self, found: Any, **options: Any) -> None:
        super().__init__(found, **options)
        self._to = found.details

    @property
    def is_connected(self) -> bool:
        return self.link is not None

    @property
    def mtu_size(self) -> int:
        return self.link.att_mtu if self.link else 23

    async def connect(self, pair: bool, **_: Any) -> None:
        own = await self.air.host()
        try:
            self.link = await own.connect(self._to, timeout=self._timeout)
            self.link.on("disconnection", self._gone)
            self.services = await self._discovered(device.Peer(self.link))
        except (core.BaseBumbleError, TimeoutError) as fault:
            raise BleakError("connect failed") from fault
        except asyncio.CancelledError:
            if self.link:
                raise
            raise BleakError("lost while it was asked for its services") from None

    async def _discovered(self, peer: device.Peer) -> service.BleakGATTServiceCollection:
        found = service.BleakGATTServiceCollection()
        if self.air.mtu > 23:
            await peer.request_mtu(self.air.mtu)
        for each in await peer.discover_services():
            own = service.BleakGATTService(each, each.handle, text_of(each.uuid))
            found.add_service(own)
            for one in await each.discover_characteristics():
                words = [word for bit, word in PROPERTIES.items() if one.properties & bit]
                found.add_characteristic(
                    characteristic.BleakGATTCharacteristic(
                        one, one.handle, text_of(one.uuid), words, lambda: self.mtu_size - 3, own
                    )
                )
        return found

    def _gone(self, _reason: int) -> None:
        self.link = self.services = None
        if self._disconnected_callback:
            self._disconnected_callback()

    async def disconnect(self) -> None:
        if self.link:
            await self.link.disconnect()

    async def start_notify(self, one: Any, callback: Callable[[bytearray], None], **_: Any) -> None:
        await one.obj.subscribe(lambda value: callback(bytearray(value)))

    async def write_gatt_char(self, one: Any, data: Any, response: bool) -> None:
        await one.obj.write_value(bytes(data), with_response=response)

    stop_notify = pair = unpair = read_gatt_char = None
    read_gatt_descriptor = write_gatt_descriptor = None


class Ble:
    """MicroPython's `bluetooth.BLE` on a device of the air. `room` is how many notifications it
    takes before it refuses more, None for no end; `reach` whether others can hear it."""

    def __init__(self, air: link.LocalLink, address: str) -> None:
        self.device = make_device(air, address)
        self.room: int | None = None
        self.reach = True
        self._values: dict[int, Any] = {}
        self._written: dict[int, bytearray] = {}
        self._limits: dict[int, int] = {}
        self._handler: Callable[[int, tuple[Any, ...]], None] = lambda event, data: None
        self._tasks: set[asyncio.Task[Any]] = set()
        self.device.on("connection", self._connected)

    def _start(self, task: Coroutine[Any, Any, Any]) -> None:
        started = asyncio.get_running_loop().create_task(task)
        self._tasks.add(started)
        started.add_done_callback(self._tasks.discard)

    def _connected(self, connection: device.Connection) -> None:
        number = connection.handle
        connection.on("disconnection", lambda _: self._handler(2, (number, 0, b"")))
        connection.on(
            "connection_att_mtu_update", lambda: self._handler(21, (number, connection.att_mtu))
        )
        self._handler(1, (number, 0, b""))

    def active(self, on: bool) -> None:
        pass

    def config(self, *, gap_name: str = "", mtu: int = 0) -> None:
        if mtu:
            self.device.gatt_server.max_mtu = mtu

    def irq(self, handler: Callable[[int, tuple[Any, ...]], None]) -> None:
        self._handler = handler

    def gatts_register_services(self, services: Any) -> list[list[int]]:
        handles = []
        for number, ones in services:
            made = [self._characteristic(own, flags) for own, flags in ones]
            self.device.add_service(gatt.Service(number, made))
            handles.append([one.handle for one in made])
            self._values |= {one.handle: one for one in made}
        return handles

    def _characteristic(self, number: str, flags: int) -> gatt.Characteristic[bytes]:
        writes = flags & (NO_RESPONSE | WRITE)

        def written(connection: device.Connection, data: bytes) -> None:
            limit = self._limits.get(one.handle, 20)
            kept = self._written.setdefault(one.handle, bytearray())
            kept += data
            del kept[limit:]
            self._handler(3, (connection.handle, one.handle))

        one: gatt.Characteristic[bytes] = gatt.Characteristic(
            number,
            gatt.Characteristic.Properties(flags),
            gatt.Characteristic.WRITEABLE if writes else gatt.Characteristic.READABLE,
            gatt.CharacteristicValue(write=written) if writes else b"",
        )
        return one

    def gatts_set_buffer(self, handle: int, length: int, append: bool) -> None:
        assert append
        self._limits[handle] = length

    def gatts_read(self, handle: int) -> bytes:
        return bytes(self._written.pop(handle, b""))

    def gatts_notify(self, number: int, handle: int, data: Any) -> None:
        connection = self.device.connections.get(number)
        if connection is None:
            raise OSError(errno.ENOTCONN)
        if self.room is not None:
            if self.room == 0:
                raise OSError(errno.ENOMEM)
            self.room -= 1
        assert len(data) <= connection.att_mtu - 3  # a longer one would be cut without a word
        told = self.device.notify_subscriber(
            connection, self._values[handle], bytes(data), force=True
        )
        try:
            told.send(None)
        except StopIteration:
            return
        raise AssertionError("a notification that waits")

    def gap_advertise(self, us: int, adv_data: bytes) -> None:
        if not self.reach:
            raise OSError(errno.ENODEV)
        assert len(adv_data) <= 31
        self._start(
            self.device.start_advertising(
                advertising_data=adv_data,
                advertising_interval_min=us / 1000,
                advertising_interval_max=us / 1000,
            )
        )

    def gap_disconnect(self, number: int) -> bool:
        if number not in self.device.connections:
            return False
        self._start(self.device.connections[number].disconnect())
        return True

    async def leave(self) -> None:
        """Out of reach: every connection breaks, and nobody hears this one."""
        self.reach = False
        if self.device.is_advertising:
            await self.device.stop_advertising()
        for connection in list(self.device.connections.values()):
            await connection.disconnect()

"""The host's link and the firmware's own, over a real Bluetooth stack with a virtual radio."""

import asyncio
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from bleak import BleakClient, BleakScanner
from bumble import link

from ble_link import BleLink as BoardLink
from ble_link import advertisement
from fed import Fed
from outbox import Outbox
from pullcurve.cli.status_line import Status
from pullcurve.errors import LinkError
from pullcurve.recording import record
from pullcurve.run_log.reading import read_log
from pullcurve.run_log.writing import LogWriter
from pullcurve.sources import ble as ble_link
from pullcurve.sources.ble import BleLink, Radio
from pullcurve.stream.decoder import Decoder, Record
from pullcurve.stream.received import Received
from pullcurve.stream.sequence import SequenceCheck
from record_format import BLE_RECORDS, BLE_REQUESTS, BLE_SERVICE, again
from record_ring import RecordRing
from virtual_radio import Air, Ble, no_adapter, switched_off

RECORDS_A_SECOND = 30  # more than a board with a sensor in every role sends
MOST_S = 60.0  # of a recording that never has enough
NAME = "pull1a2b"
OTHER = "1f0d3d62-2f6a-4c0b-8a2e-57c1f7a5d0b4"


class Clock:
    """A board's ticks, from the computer's clock; `pace` of them for each of its own."""

    pace = 1

    def ticks_us(self) -> int:
        return int(time.monotonic() * self.pace * 1e6) & 0x3FFFFFFF

    def ticks_diff(self, end: int, start: int) -> int:
        return ((end - start + (1 << 29)) & 0x3FFFFFFF) - (1 << 29)


class Board:
    """The firmware's link, ring and outbox, with records of no meaning."""

    def __init__(self, name: str = NAME, address: str = "C0:00:00:00:00:01") -> None:
        self._name = name
        self._address = address
        self.clock = Clock()
        self._boot = 0
        self._task: asyncio.Task[None] | None = None
        self.heard: list[bytes] = []

    async def start(self, air: link.LocalLink) -> None:
        self.ble = Ble(air, self._address)
        self.start_anew()
        await self.ble.device.power_on()
        self._task = asyncio.get_running_loop().create_task(self._run())

    def start_anew(self) -> None:
        self._boot += 1
        self.ring = RecordRing()
        self.outbox = Outbox(self.ring, self.clock, self._boot)
        self.link = BoardLink(self.ring, self.ble, str, self.clock, self._name)
        self.outbox.event("start")

    async def _run(self) -> None:
        begin_s, made = time.monotonic(), 0
        while True:
            if (time.monotonic() - begin_s) * RECORDS_A_SECOND > made:
                made += 1
                self.outbox.event("late", value=self.ring.next, text="x" * 60)
                if made % 3 == 0:  # once a block
                    self.outbox.answer(self.link)
            self.link.pump()
            await asyncio.sleep(0.002)

    async def refuse(self) -> None:
        self.ble.room = 0

    async def take_all(self) -> None:
        self.ble.room = None

    async def leave(self) -> None:
        await self.ble.leave()

    async def come_back(self) -> None:
        self.ble.reach = True


class Kept:
    """What a recording of a link has kept, and how it stands with the numbers.

    A step of the plan is taken when its time has come, however slow the computer is; the recording
    ends after the last step, when it has `enough`.
    """

    def __init__(
        self,
        source: BleLink,
        path: Path,
        plan: list[tuple[Callable[["Kept"], bool], Callable[[], None]]],
        enough: Callable[["Kept"], bool],
    ):
        self.status = Fed(Status(None))
        self.seen: list[str] = []
        self._step_s = time.monotonic()

        def befall(received: Received) -> None:
            if received.link:
                self.seen.append(received.link)
            if plan and plan[0][0](self):
                plan.pop(0)[1]()
                self._step_s = time.monotonic()

        with source, LogWriter(path) as writer:
            self.name = source.name
            faults = record(
                source,
                writer,
                (self.status.add, befall),
                lambda: not plan and (enough(self) or self.since_s > MOST_S),
            )
        assert faults == []
        log = read_log(path)
        self.sequence, self.numbers = SequenceCheck(), []
        decoder = Decoder()
        for received in log.received:
            for event in decoder.feed(received.data):
                if isinstance(event, Record) and self.sequence.accept(event):
                    self.numbers.append((event.boot, event.seq))
        assert self.status.missing == self.sequence.missing_count
        self.links = [
            str(item.named()["state"]) for item in log.host_records if item.record.kind == "link"
        ]

    @property
    def since_s(self) -> float:
        """Since the last step of the plan."""
        return time.monotonic() - self._step_s


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """The virtual radio hears every board within a tenth of a second."""
    monkeypatch.setattr(ble_link, "LISTEN_S", 0.5)
    monkeypatch.setattr(ble_link, "FIND_S", 1.0)


def records(number: int) -> Callable[[Kept], bool]:
    return lambda kept: kept.status.records >= number


def asked_again(kept: Kept) -> bool:
    """A record has come that shows what is missing: the first answer is on its way."""
    return kept.seen[-1:] == ["opened"] and kept.status.missing > 0


def whole_again(kept: Kept) -> bool:
    return kept.seen.count("opened") == 2 and not kept.status.missing


def test_records_come_in_order_and_whole(tmp_path: Path) -> None:
    air = Air(Board())
    kept = Kept(BleLink(radio=air.radio), tmp_path / "x.runlog", [], records(45))
    assert kept.name == f"ble:{NAME}"
    assert kept.links == ["opened", "closed"]
    assert (kept.sequence.missing_count, kept.sequence.late) == (0, 0)
    assert len(kept.numbers) >= 45


def test_a_connection_that_agrees_on_nothing_takes_small_pieces(tmp_path: Path) -> None:
    air = Air(Board())
    air.mtu = 23
    kept = Kept(BleLink(radio=air.radio), tmp_path / "x.runlog", [], records(20))
    assert (kept.sequence.missing_count, kept.sequence.late) == (0, 0)
    assert len(kept.numbers) >= 20


def test_a_board_out_of_reach_is_waited_for_and_nothing_is_lost(tmp_path: Path) -> None:
    """It goes while records are on their way; an answer to a request is cut off as well."""
    board = Board()
    air = Air(board)
    plan = [
        (records(15), lambda: air.befall(board.leave())),
        (lambda kept: kept.since_s > 2.0, lambda: air.befall(board.come_back())),
        (asked_again, lambda: air.befall(board.leave())),
        (lambda kept: kept.since_s > 0.5, lambda: air.befall(board.come_back())),
    ]
    kept = Kept(BleLink(NAME, air.radio), tmp_path / "x.runlog", plan, whole_again)
    assert kept.links == ["opened", "lost", "opened", "lost", "opened", "closed"]
    assert kept.sequence.missing_count == 0
    assert kept.sequence.late > 1.5 * RECORDS_A_SECOND
    assert sorted(kept.numbers) == [
        (1, seq) for seq in range(min(kept.numbers)[1], len(kept.numbers) + min(kept.numbers)[1])
    ]


def test_full_buffers_cost_nothing(tmp_path: Path) -> None:
    board = Board()
    air = Air(board)
    plan = [
        (records(15), lambda: air.befall(board.refuse())),
        (
            lambda kept: board.ring.next > kept.status.records + 80,
            lambda: air.befall(board.take_all()),
        ),
    ]
    kept = Kept(BleLink(radio=air.radio), tmp_path / "x.runlog", plan, records(100))
    assert kept.links == ["opened", "closed"]
    assert (kept.sequence.missing_count, kept.sequence.late) == (0, 0)
    assert len(kept.numbers) >= 100


def test_the_board_drops_whoever_is_silent_and_does_nothing_else_for_anybody() -> None:
    """Another program connects, greets, asks for nonsense, and then says no more."""
    board = Board()
    board.clock.pace = 3
    air = Air(board)
    got: list[bytes] = []

    async def visit() -> None:
        found = await BleakScanner.find_device_by_name(NAME, backend=air.radio.scanner)
        gone = asyncio.Event()
        client = BleakClient(found, lambda _: gone.set(), backend=air.radio.client)
        await client.connect()
        await client.start_notify(BLE_RECORDS, lambda _, data: got.append(bytes(data)))
        await asyncio.sleep(0.5)
        assert got == []  # it has not greeted
        for line in (b"import machine\n", b"again 1 0 99999\n", b"x" * 60, b"\n", b"hello\n"):
            await client.write_gatt_char(BLE_REQUESTS, line, response=True)
            await asyncio.sleep(0.2)
        before = board.ring.next
        await client.write_gatt_char(BLE_REQUESTS, again(1, 0, 5), response=False)
        await asyncio.wait_for(gone.wait(), 8)
        assert board.ring.next - before > 4 / 3 * RECORDS_A_SECOND

    asyncio.run(asyncio.wait_for(visit(), 20))
    numbers = [event.seq for event in Decoder().feed(b"".join(got)) if isinstance(event, Record)]
    assert numbers.count(3) == 1
    assert len(numbers) > 4 / 3 * RECORDS_A_SECOND


@pytest.mark.parametrize(
    ("boards", "name", "sentence"),
    [
        ((), "", "no board is in reach over Bluetooth: come nearer"),
        ((NAME,), "pull9", "no board called pull9 is in reach, but pull1a2b"),
        ((NAME, "pull3c4d"), "", "pull1a2b and pull3c4d are in reach; name one, such as ble:pull"),
    ],
)
def test_no_board_and_too_many_are_sentences(
    boards: tuple[str, ...], name: str, sentence: str
) -> None:
    made = [Board(each, f"C0:00:00:00:00:0{i}") for i, each in enumerate(boards)]
    with pytest.raises(LinkError, match=sentence), BleLink(name, Air(*made).radio):
        pass


def test_one_of_two_boards_is_chosen_by_the_end_of_its_name() -> None:
    boards = Board(), Board("pull3c4d", "C0:00:00:00:00:02")
    with BleLink("3C4D", Air(*boards).radio) as source:
        assert source.name == "ble:pull3c4d"
        assert any(received.data for received in source)


def test_firmware_of_another_version_is_a_sentence() -> None:
    class Other(Board):
        """Its service has none of the characteristics that are wanted."""

        async def start(self, air: link.LocalLink) -> None:
            ble = Ble(air, "C0:00:00:00:00:01")
            ble.gatts_register_services([(BLE_SERVICE, [(OTHER, 16)])])
            await ble.device.power_on()
            ble.gap_advertise(100000, advertisement(NAME))

    with pytest.raises(LinkError, match="pull1a2b: its firmware is of another version"):
        BleLink(radio=Air(Other()).radio).__enter__()


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        (no_adapter(), "no Bluetooth radio that works: plug one in, or use the board's cable"),
        (switched_off(), "Bluetooth is switched off on this computer: switch it on"),
        (FileNotFoundError(2, "No such file"), "Bluetooth does not run: start it, or use the"),
    ],
)
def test_a_computer_without_bluetooth_says_so(fault: Any, sentence: str) -> None:
    air = Air()
    air.fault = fault
    with pytest.raises(LinkError, match=sentence), BleLink(radio=air.radio):
        pass


def breaking(air: Air, tried: int, fault: type[BaseException] = asyncio.CancelledError) -> Radio:
    """The computer's radio, whose library raises a fault at the connection of this number, and
    once more when that is to be ended. Some systems' raise CancelledError of their own."""
    tries = count(1)

    class Breaking(air.radio.client):
        broken = False

        async def connect(self, pair: bool, **options: Any) -> None:
            self.broken = next(tries) == tried
            if self.broken:
                raise fault
            await super().connect(pair, **options)

        async def disconnect(self) -> None:
            if self.broken:
                raise fault
            await super().disconnect()

    return Radio(air.radio.scanner, Breaking)


@pytest.mark.timeout(30)
def test_a_first_connection_that_the_computer_breaks_off_is_a_sentence() -> None:
    with pytest.raises(LinkError, match="Bluetooth failed: the computer broke it off"):
        BleLink(radio=breaking(Air(Board()), 1)).__enter__()


def test_a_later_connection_that_the_computer_breaks_off_is_tried_again(tmp_path: Path) -> None:
    board = Board()
    air = Air(board)
    plan = [
        (records(15), lambda: air.befall(board.leave())),
        (lambda kept: kept.since_s > 0.5, lambda: air.befall(board.come_back())),
    ]
    kept = Kept(BleLink(NAME, breaking(air, 2)), tmp_path / "x.runlog", plan, records(60))
    assert kept.links == ["opened", "lost", "opened", "closed"]
    assert kept.sequence.missing_count == 0


class NoFault(BaseException):
    """As little foreseen as can be."""


@pytest.mark.timeout(30)
def test_a_link_whose_thread_has_died_says_so() -> None:
    with pytest.raises(LinkError, match="Bluetooth has ended"):
        BleLink(radio=breaking(Air(Board()), 1, NoFault)).__enter__()


@pytest.mark.timeout(30)
def test_a_link_that_is_cancelled_ends_and_says_so() -> None:
    async def cancel() -> None:
        for task in asyncio.all_tasks() - {asyncio.current_task()}:
            task.cancel()

    air = Air(Board())
    with BleLink(radio=air.radio) as source:
        pieces = (received.data for received in source)
        assert any(pieces)
        air.befall(cancel())
        with pytest.raises(LinkError, match="Bluetooth has ended"):
            list(pieces)

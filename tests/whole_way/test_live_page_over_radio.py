"""The live page and a board on Bluetooth: the firmware's link and ring, and a virtual radio."""

import asyncio
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from bumble import link

import ble_link as board_link
from fed import Fed
from host.live.browser import PHONE, browser, needs_chromium, opened, wait
from host.live.served import served
from host.live.stepped import Stepped, sweep
from outbox import Outbox
from pullcurve.examine import read_run, reduce_run
from pullcurve.rig.loading import load_rig
from pullcurve.run_log.reading import Log, read_log
from pullcurve.sources import ble as ble_link
from pullcurve.sources.ble import BleLink
from pullcurve.stream.received import Received
from pullcurve.stream.records import Assembler
from record_ring import RecordRing
from virtual_radio import Air, Ble

RIG = load_rig(Path(__file__).parents[2] / "hardware/rigs/port.toml")
NAME = "pull1a2b"
GONE_AT_S, GONE_FOR_S = 32.0, 31.0  # by the board's clock; it keeps 40 s
STEP_S = board_link.APART_US * 1e-6  # of the board's clock, which goes as fast as all can follow
PAUSE_S = 0.0025
NOON = datetime(2025, 9, 16, 12).astimezone()

pytestmark = needs_chromium


class Board:
    """Sends the records of a bench run as they come, and what is asked for again. Its clock is
    that of its link, and the host's time of day."""

    def __init__(self, received: list[Received]) -> None:
        began, under_way = received[0].host_time, b""
        self._lines: list[tuple[float, bytes]] = []
        for each in received:
            *whole, under_way = (under_way + each.data).split(b"\n")
            at_s = (each.host_time - began).total_seconds()
            self._lines += [(at_s, line + b"\n") for line in whole]
        self.at_s = 0.0
        self._task: asyncio.Task[None] | None = None

    def now(self) -> datetime:
        return NOON + timedelta(seconds=self.at_s)

    def ticks_us(self) -> int:
        return round(self.at_s * 1e6)

    def ticks_diff(self, end: int, start: int) -> int:
        return end - start

    async def start(self, air: link.LocalLink) -> None:
        self.ble = Ble(air, "C0:00:00:00:00:01")
        ring = RecordRing()
        radio = board_link.BleLink(ring, self.ble, str, self, NAME)
        await self.ble.device.power_on()
        self._task = asyncio.create_task(self._run(ring, radio, Outbox(ring, self, 1)))

    async def _run(self, ring: RecordRing, radio: board_link.BleLink, outbox: Outbox) -> None:
        waiting = list(reversed(self._lines))
        while True:
            self.at_s += STEP_S
            while waiting and waiting[-1][0] <= self.at_s:
                line = waiting.pop()[1]
                ring.put(line, len(line))
            outbox.answer(radio)
            radio.pump()
            await asyncio.sleep(PAUSE_S)

    async def leave(self) -> None:
        await self.ble.leave()

    async def come_back(self) -> None:
        self.ble.reach = True


def test_a_board_that_leaves_for_half_a_minute_is_told_and_costs_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_link, "SILENT_S", 100.0)  # the host speaks by a slower clock
    monkeypatch.setattr(ble_link, "LISTEN_S", 0.5)
    monkeypatch.setattr(ble_link, "FIND_S", 1.0)
    sent = Stepped(sweep([1210.0])).received
    board, log = Board(sent), tmp_path / "x.runlog"
    monkeypatch.setattr(ble_link, "datetime", board)
    air = Air(board)
    with (
        served(lambda: BleLink(NAME, air.radio), log, RIG, patient=True) as watch,
        browser() as chromium,
        opened(chromium, watch.address, PHONE) as page,
    ):

        def is_stale() -> bool:
            return bool(page.evaluate("document.body.classList.contains('stale')"))

        wait(page, lambda: "Engine off" in page.inner_text("#sentence"))
        wait(page, lambda: board.at_s > GONE_AT_S)
        air.befall(board.leave())
        wait(page, lambda: "The board is gone" in page.inner_text("#alarms"))
        assert "come nearer" in page.inner_text("#sentence")
        wait(page, is_stale)
        wait(page, lambda: board.at_s > GONE_AT_S + GONE_FOR_S)
        assert "The board is gone" in page.inner_text("#sentence")
        air.befall(board.come_back())
        wait(page, lambda: page.locator("#alarms .alarm").count() == 0)
        wait(page, lambda: not is_stale())
        # The hold that nobody saw is on the curve, from records that came later.
        wait(page, lambda: page.locator("#points tr").count() == 1)
        wait(page, lambda: "Engine off" in page.inner_text("#sentence"))
        wait(page, lambda: board.at_s > sent_s(sent))
    run, assembler = read_run(log), Fed(Assembler())
    states = [i.named()["state"] for i in read_log(log).host_records if i.record.kind == "link"]
    assert states == ["opened", "lost", "opened", "closed"]
    assert run.records.lost == 0
    assert run.records.late > GONE_FOR_S * 10
    for received in sent:
        assembler.add(received)
    truth = reduce_run(Log(log, sent[:1]), assembler.finish("bench"), RIG)
    assert run.points["standard_flow_m3_s"].tolist() == pytest.approx(
        truth.points["standard_flow_m3_s"].tolist(), rel=1e-3
    )


def sent_s(sent: list[Received]) -> float:
    return (sent[-1].host_time - sent[0].host_time).total_seconds()

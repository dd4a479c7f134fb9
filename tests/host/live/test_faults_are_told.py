"""What keeps a board away is said in the terminal and on the page, until it is mended."""

import json
import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from bumble import link

from ble_link import advertisement
from host.live.served import Served, served
from host.sources.test_ble import NAME, OTHER, Board
from pullcurve.live import receiving
from pullcurve.rig.loading import load_rig
from pullcurve.sources import ble as ble_link
from pullcurve.sources.ble import BleLink
from pullcurve.sources.serial_port import SerialLink
from pullcurve.sources.source import Source
from record_format import BLE_SERVICE
from virtual_radio import Air, Ble, Peripheral, no_adapter, switched_off

RIG = load_rig(Path(__file__).parents[3] / "hardware/rigs/port.toml")
AGAIN = "It is tried again by itself."


class OfAnotherVersion(Board):
    """A board whose service has none of the characteristics that are wanted."""

    async def start(self, air: link.LocalLink) -> None:
        ble = Ble(air, "C0:00:00:00:00:01")
        ble.gatts_register_services([(BLE_SERVICE, [(OTHER, 16)])])
        await ble.device.power_on()
        ble.gap_advertise(100000, advertisement(NAME))


def over_radio(*boards: Peripheral, fault: BaseException | None = None, name: str = "") -> Source:
    air = Air(*boards)
    air.fault = fault
    return BleLink(name, air.radio)


def stands(watch: Served, words: str) -> None:
    """Until these words are the page's sentence and in one of its alarms."""
    end_s = time.monotonic() + 30
    while True:
        state, alarms = (json.loads(watch.board.latest(t) or "{}") for t in ("state", "alarms"))
        if words in state.get("sentence", "") and any(words in each["what"] for each in alarms):
            assert state["old"]
            return
        assert time.monotonic() < end_s, (words, state, alarms)
        time.sleep(0.05)


def test_every_fault_of_the_way_is_a_sentence_until_it_is_mended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ble_link, "LISTEN_S", 0.5)
    monkeypatch.setattr(ble_link, "FIND_S", 1.0)
    monkeypatch.setattr(receiving, "TRY_AGAIN_S", 0.1)
    faults: list[tuple[Callable[[], Source], str]] = [
        (lambda: over_radio(fault=no_adapter()), "his computer has no Bluetooth radio"),
        (lambda: over_radio(fault=switched_off()), "Bluetooth is switched off"),
        (over_radio, "o board is in reach over Bluetooth: come nearer"),
        (lambda: over_radio(Board(), name="pull9"), "but pull1a2b: come nearer, or name one"),
        (
            lambda: over_radio(Board(), Board("pull3c4d", "C0:00:00:00:00:02")),
            "pull1a2b and pull3c4d are in reach; name one, such as ble:pull1a2b",
        ),
        (lambda: over_radio(OfAnotherVersion()), "pull1a2b: its firmware is of another version"),
    ]
    if os.name == "posix":
        _, port = os.openpty()
        name = os.ttyname(port)
        holder = SerialLink(name)
        holder.__enter__()
        faults.append((lambda: SerialLink(name), f"{name}: the port is in use; close the other"))
    now = [faults[0][0]]
    said: list[str] = []
    log = tmp_path / "x.runlog"

    def source() -> Source:
        return now[-1]()

    with served(source, log, RIG, patient=True, complain=said.append) as watch:
        for source, words in faults:
            now.append(source)
            stands(watch, words)
            assert words in said[-1]
            assert said[-1].endswith(f". {AGAIN}")
            assert "stands above" in json.loads(watch.board.latest("guide") or "{}")["do"]
        now.append(lambda: over_radio(Board()))
        while not log.exists():
            time.sleep(0.05)
        assert said[len(faults) :] == ["ble:pull1a2b is there, and is recorded from now on"]
        assert watch.session.receiver.fault == ""

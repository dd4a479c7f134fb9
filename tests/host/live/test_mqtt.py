"""Readings over a real broker: what is retained, what is said when all ends, and a broker away."""

import json
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from host.live.served import served
from pullcurve.errors import PageError
from pullcurve.live.mqtt import Publisher
from pullcurve.rig.loading import load_rig
from pullcurve.sources.opening import open_source

ROOT = Path(__file__).parents[3]
SAMPLE = ROOT / "sample_logs/rough_link.runlog"
MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
needs_broker = pytest.mark.skipif(
    MOSQUITTO is None, reason="no mosquitto command: install the package mosquitto"
)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])


def until(holds: Callable[[], object], seconds: float = 30) -> None:
    end_s = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end_s
        time.sleep(0.05)


@contextmanager
def broker(folder: Path, port: int) -> Iterator[None]:
    settings = folder / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n", encoding="utf-8")
    process = subprocess.Popen(
        [str(MOSQUITTO), "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield
    finally:
        process.terminate()
        process.wait(10)


class Subscriber:
    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, str, bool]] = []
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = self._hear
        self._client.on_connect = lambda client, *_: client.subscribe("#", 1)

        def answers() -> bool:
            try:
                self._client.connect("127.0.0.1", port)
            except OSError:
                return False
            return True

        until(answers)
        self._client.loop_start()

    def _hear(self, _client: Any, _user: Any, message: Any) -> None:
        self.heard.append((message.topic, message.payload.decode(), message.retain))

    def of(self, topic: str) -> list[str]:
        return [payload for at, payload, _ in self.heard if at == topic]

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@needs_broker
def test_a_run_reaches_the_broker_and_says_when_it_ends(tmp_path: Path) -> None:
    rig, port = load_rig(ROOT / "hardware/rigs/port.toml"), free_port()
    base = "site/grit unit"
    with broker(tmp_path, port):
        listener = Subscriber(port)
        said = list[str]()
        address = f"mqtt://127.0.0.1:{port}/site/grit%20unit"
        publisher = Publisher(address, rig.name, said.append)
        with served(
            lambda: open_source(f"replay:{SAMPLE}@20"),
            tmp_path / "x.runlog",
            rig,
            publisher=publisher,
        ):
            until(lambda: len(listener.of(f"{base}/reading")) >= 5)
            assert listener.of(f"{base}/status") == ["online"]
            until(lambda: any("standard_flow_m3_s" in r for r in listener.of(f"{base}/reading")))
            late = Subscriber(port)
            until(lambda: late.of(f"{base}/status"))
            assert (f"{base}/status", "online", True) in late.heard
            late.close()
        until(lambda: listener.of(f"{base}/status") == ["online", "offline"])
        assert not said
        listener.close()
    readings = [json.loads(reading) for reading in listener.of(f"{base}/reading")]
    assert all(reading["time"].startswith("2025-") for reading in readings)
    flows = [reading.get("standard_flow_m3_s", 0.0) for reading in readings]
    assert 0.1 < max(flows) < 0.8
    assert json.loads(listener.of(f"{base}/about")[0]) == {"rig": rig.name}


@needs_broker
def test_a_watch_that_is_killed_is_told_to_be_offline(tmp_path: Path) -> None:
    port = free_port()
    program = (
        "import time; from pullcurve.live.mqtt import Publisher;"
        f"p = Publisher('mqtt://127.0.0.1:{port}/x', 'x'); p.start(); time.sleep(60)"
    )
    with broker(tmp_path, port):
        listener = Subscriber(port)
        process = subprocess.Popen([sys.executable, "-c", program])
        until(lambda: listener.of("x/status") == ["online"])
        process.kill()
        process.wait()
        until(lambda: listener.of("x/status") == ["online", "offline"])
        listener.close()


@needs_broker
def test_a_broker_that_is_away_is_named_and_found_again(tmp_path: Path) -> None:
    port, said = free_port(), list[str]()
    publisher = Publisher(f"mqtt://127.0.0.1:{port}", "grit unit 3, port", said.append)
    publisher.start()
    until(lambda: f"127.0.0.1:{port} cannot be reached" in publisher.fault)
    with broker(tmp_path, port):
        listener = Subscriber(port)
        until(lambda: listener.of("pullcurve/grit_unit_3_port/status") == ["online"])
        assert publisher.fault == ""
        listener.close()
    until(lambda: "tried again" in publisher.fault)
    publisher.stop()
    assert re.fullmatch(rf"warning: The broker \S+:{port} cannot be reached[^|]+", said[0])
    assert ["has hung up" in each for each in said] == [False, True]


def test_a_broker_that_is_away_is_told_once_however_often_it_is_tried() -> None:
    said = list[str]()
    publisher = Publisher(f"mqtt://127.0.0.1:{free_port()}", "x", said.append)
    tries = list[object]()
    lost = publisher._client.on_connect_fail
    publisher._client.on_connect_fail = lambda *what: tries.append(lost(*what))
    publisher.start()
    until(lambda: len(tries) >= 2)
    publisher.stop()
    assert len(said) == 1


@pytest.mark.parametrize(
    ("url", "sentence"),
    [
        ("broker", "does not begin with mqtt:// or mqtts://"),
        ("http://broker", "does not begin with mqtt:// or mqtts://"),
        ("mqtt://", "names no host"),
        ("mqtt://[::1", "cannot be read"),
        (f"mqtt://me:secret@{'a' * 64}.org", "no name that a computer can have"),
        ("mqtt://a..b", "no name that a computer can have"),
        ("mqtt://.b", "no name that a computer can have"),
        ("mqtt://x:none", "no number from 1 to 65535"),
        ("mqtt://me:secret@x:99999", "no number from 1 to 65535"),
        ("mqtt://x:0", "no number from 1 to 65535"),
        ("mqtt://x/a/+", "no topic"),
    ],
)
def test_what_is_no_address_is_refused(url: str, sentence: str) -> None:
    with pytest.raises(PageError, match=sentence) as fault:
        Publisher(url, "x")
    assert "secret" not in str(fault.value)

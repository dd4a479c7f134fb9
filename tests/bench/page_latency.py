"""From a record received to the number on the page: measured in a real browser.

    .venv/bin/python tests/bench/page_latency.py

Plays a sample log at the pace of a board, as if it came in now, while one browser and 19 other
viewers watch, and prints how late the readings are when the browser's next frame shows them.
"""

import http.client
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from threading import Thread
from typing import Self

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from host.live.browser import PHONE, browser  # noqa: E402
from host.live.served import served  # noqa: E402
from pullcurve.examine import rig_of  # noqa: E402
from pullcurve.run_log.reading import read_log  # noqa: E402
from pullcurve.sources.replay import Replay  # noqa: E402
from pullcurve.stream.received import Received  # noqa: E402

SECONDS = 60.0
WANTED_MS = 200.0
OTHERS = 19
LOG = read_log(ROOT / "sample_logs/full_sensors.runlog")
LISTEN = """() => {
  window.late = [];
  const source = new EventSource("/events");
  source.addEventListener("reading", (event) => {
    const at = JSON.parse(event.data).at;
    requestAnimationFrame(() => late.push(Date.now() - 1000 * at));
  });
}"""


class Now:
    """The log's bytes with the times at which they are really handed over."""

    name = "now"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        for received in Replay(LOG, 1.0):
            yield received._replace(host_time=datetime.now().astimezone())


def watch(port: int) -> None:
    link = http.client.HTTPConnection("127.0.0.1", port)
    link.request("GET", "/events")
    answer = link.getresponse()
    while answer.readline():
        pass


def main() -> None:
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Now, Path(folder) / "x.runlog", rig_of(LOG, None)) as page,
        browser() as chromium,
    ):
        for _ in range(OTHERS):
            Thread(target=watch, args=(page.port,), daemon=True).start()
        tab = chromium.new_page(viewport=dict(PHONE))
        tab.goto(page.address)
        tab.evaluate(LISTEN)
        time.sleep(SECONDS)
        late = np.array(tab.evaluate("late"))
    print(f"{len(late)} readings in {SECONDS:.0f} s, {1 + OTHERS} viewers")
    for name, share in (("median", 50), ("95 of 100", 95), ("99 of 100", 99), ("all", 100)):
        print(f"{name:>10} within {np.percentile(late, share):6.1f} ms")
    sys.exit(np.percentile(late, 95) > WANTED_MS)


if __name__ == "__main__":
    main()

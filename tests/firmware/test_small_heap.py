"""All of the firmware and its ring of records on a heap of 192 KiB."""

import json
from pathlib import Path

from on_micropython import needs_unix, run_unix
from pullcurve.bench.scenario import load_scenario, shipped_scenarios
from pullcurve.bench.world import board_json

FIRMWARE = Path(__file__).parents[2] / "firmware"


@needs_unix
def test_every_sensor_and_the_ring_fit_a_small_heap(tmp_path: Path) -> None:
    board = board_json(load_scenario(shipped_scenarios()["full_sensors"]))
    assert len(board["sensors"]) == 6
    settings = tmp_path / "board.json"
    settings.write_text(json.dumps(board), encoding="utf-8")
    script = Path(__file__).with_name("small_heap.py")
    path = [FIRMWARE, FIRMWARE / "lib"]
    done = run_unix(script, str(settings), path=path, options=["-X", "heapsize=192k"])
    assert (done.stderr, done.returncode) == ("", 0), done.stdout
    said = json.loads(done.stdout)
    assert said["kept"] > 800
    assert said["sent"] > said["kept"] + 300  # the ring has come round
    assert said["heap"] < 192 * 1024

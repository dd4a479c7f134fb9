"""The bench's machine at work, with what happens to it named by a test."""

from pathlib import Path
from typing import Any

import numpy as np

from cut_records import Instruments, received
from fed import Fed
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import Scenario, load_scenario, shipped_scenarios
from pullcurve.cut.alarm import CutAlarm
from pullcurve.cut.needs import Needs
from pullcurve.cut.watch import Watch
from pullcurve.rig.loading import parse_rig
from pullcurve.rig.models import Rig
from pullcurve.stream.received import Received

ROOT = Path(__file__).parents[3]
SAMPLE = ROOT / "sample_logs/cut.runlog"
THROTTLE = ((0.0, 0.0), (15.0, 0.0), (16.0, 1030.0), (19.0, 1030.0), (21.0, 2050.0))
WORK_S = 60.0


def clean_pipe_rig(**replaced: str) -> Rig:
    """A rig for the bench's cut; `replaced` lines of it by their key."""
    lines = {
        "kind": 'kind = "venturi"',
        "position": 'position = "clean_pipe"',
        "bores": 'pipe_bore = "144.60 mm"\nthroat_bore = "98.30 mm"',
        "site": '[site]\naltitude = "620 m"',
        "pickup": "[pickups.blower_shaft]\nmarks_per_turn = 2",
    } | replaced
    return parse_rig("[meter]\n" + "\n".join(lines.values()) + "\n", "a rig")


def scenario(
    seconds: float,
    *,
    throttle: tuple[tuple[float, float], ...] = (),
    machine: dict[str, Any] | None = None,
    unevenness: float = 0.2,
    **events: Any,
) -> Scenario:
    """Loaded from WORK_S on; `events` as in a scenario's file, clogs on top of the load."""
    tree = load_scenario(shipped_scenarios()["cut"]).model_dump()
    tree["duration_s"] = seconds
    points = (*THROTTLE, *throttle)
    tree["machine"]["engine"]["throttle"] = (*points, (seconds, points[-1][1]))
    tree["machine"]["filter"]["loading_pa_s_m3_per_s"] = 0.0
    for table, values in (machine or {}).items():
        tree["machine"][table] |= values
    load = {
        "from_s": WORK_S,
        "to_s": seconds,
        "extra_loss": 6.0,
        "rise_s": 3.0,
        "unevenness": unevenness,
        "uneven_time_s": 1.2,
    }
    clogs = (load, *events.pop("clogs", ()))
    tree["events"] = {"clogs": clogs if unevenness else clogs[1:], **events}
    return Scenario.model_validate(tree)


def heard(chosen: Scenario, *, tank: bool = False) -> list[Received]:
    roles = ("ambient_air", "meter_air", *(("tank_air",) if tank else ()))
    offsets = dict(zip(roles, (45.0, -60.0, 80.0), strict=False))
    tools = Instruments(6894.757, 9.0, 2.5, offsets, 1.5, True, 2, 0.012, 5e-4)
    return list(received(simulate(chosen), tools, np.random.default_rng(7)))


def watched(
    said: list[Received], rig: Rig | None = None, needs: Needs | None = None
) -> tuple[Watch, list[CutAlarm]]:
    """The watch, fed, and each alarm as it was when it was first spoken."""
    watch = Fed(Watch(rig or clean_pipe_rig(), needs))
    news = [event for each in said for event in watch.add(each)]
    news += watch.finish()
    spoken: dict[int, CutAlarm] = {}
    for event in news:
        spoken.setdefault(event.number, event)
    return watch, list(spoken.values())

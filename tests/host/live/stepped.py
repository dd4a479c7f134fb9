"""A bench whose time the test moves on, and a sweep for it."""

import time
from collections.abc import Iterator
from threading import Condition
from typing import Any, Self

from direct_link import DirectLink
from pullcurve.bench.plant import simulate
from pullcurve.bench.scenario import Scenario, load_scenario, shipped_scenarios
from pullcurve.bench.world import World
from pullcurve.stream.received import Received

TRICKLE = 5.0  # times as slow as a board
OFF_S, HOLD_S, RAMP_S = 24.0, 42.0, 2.0


def sweep(speeds: list[float], **meter: Any) -> Scenario:
    """The healthy machine, held for HOLD_S at each throttle setting (engine rev/min), its
    engine off for OFF_S before and after."""
    throttle, at_s = [(0.0, 0.0), (OFF_S, 0.0)], OFF_S
    for speed in speeds:
        throttle += [(at_s + RAMP_S, speed), (at_s + RAMP_S + HOLD_S, speed)]
        at_s += RAMP_S + HOLD_S
    throttle += [(at_s + 1, 0.0), (at_s + 60, 0.0)]
    scene = load_scenario(shipped_scenarios()["healthy_sweep"])
    engine = scene.machine.engine.model_copy(update={"throttle": tuple(throttle)})
    changed = {
        "seed": 8,
        "duration_s": at_s + OFF_S + 6,
        "machine": scene.machine.model_copy(update={"engine": engine}),
        "meter": scene.meter.model_copy(update=meter),
    }
    return scene.model_copy(update=changed)


def hold_end_s(number: int) -> float:
    """When a hold of `sweep` ends."""
    return OFF_S + number * (RAMP_S + HOLD_S)


class Stepped:
    """Yields what the bench's board says: at once until the time that the test has set, and
    from there so slowly that a page has time, and the board does not seem to be gone."""

    name = "bench:sweep"

    def __init__(self, scene: Scenario) -> None:
        with DirectLink(scene, World(scene, simulate(scene))) as link:
            self.received = list(link)
        self._moved = Condition()
        self._at_s = self._until_s = 0.0
        self._there_s: float | None = None  # since when the time that was set has been reached

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_fault: object) -> None:
        pass

    def __iter__(self) -> Iterator[Received]:
        began = newest = self.received[0].host_time
        for received in self.received:
            while not self._may_go((received.host_time - began).total_seconds()):
                yield Received(newest, b"")  # as a port where nothing comes, to be stopped
            newest = received.host_time
            yield received

    def _may_go(self, at_s: float) -> bool:
        with self._moved:
            if at_s <= self._until_s:
                self._at_s = at_s
                return True
            now_s = time.monotonic()
            self._there_s = self._there_s or now_s
            wait_s = TRICKLE * (at_s - self._until_s) - (now_s - self._there_s)
            if wait_s > 0:
                self._moved.wait(min(wait_s, 0.1))
                return False
            self._at_s = at_s
            return True

    def go_to(self, until_s: float) -> None:
        with self._moved:
            self._until_s = max(until_s, self._at_s)
            self._there_s = None
            self._moved.notify()

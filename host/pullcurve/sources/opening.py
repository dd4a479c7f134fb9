"""From the name of a source, as it is typed, to the source. Each imports its work when named."""

import re
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

from pullcurve.errors import LinkError
from pullcurve.sources.source import Source, paced
from pullcurve.stream.received import Received

FORMS = (
    "PORT (such as COM5 or /dev/ttyACM0), serial:PORT, serial: for the one board that answers, "
    "ble: for the one in reach, ble:NAME, bench:SCENARIO, replay:LOG"
)

# A port that is not there may come yet, where it is called as one.
_A_PORT = re.compile(r"com\d+|/dev/.+|\\\\\.\\.+", re.IGNORECASE)
_SPEED = re.compile(r"(.+)@([-+.\d][^@/\\]*|)")


class Paced:
    """Another source at the pace of its own times; `speed` 2 is twice as fast."""

    def __init__(self, source: Source, speed: float) -> None:
        self.name = source.name
        self._source = source
        self._speed = speed

    def __enter__(self) -> Self:
        self._source.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._source.__exit__(kind, value, traceback)

    def __iter__(self) -> Iterator[Received]:
        return paced(self._source, self._speed)


def open_source(text: str) -> Source:
    """The source of this name, to be entered.

    A port's name may stand alone. `bench:` and `replay:` run at the pace of a real run, or with
    `@10` behind the name ten times as fast. Raises LinkError, ScenarioError or LogError when
    there is none of that name.
    """
    form, colon, name = text.partition(":")
    if form == "ble" and colon:
        from pullcurve.sources.ble import BleLink

        return BleLink(name)
    if colon and form in ("bench", "replay"):
        return _simulated_or_recorded(form, name)
    from pullcurve.sources.serial_port import SerialLink, find_board

    if form == "serial" and colon:
        return SerialLink(_port(name) if name else find_board())
    return SerialLink(_port(text))


def _simulated_or_recorded(form: str, name: str) -> Source:
    if not name:
        raise LinkError(f"{form}: the name is missing; sources are {FORMS}")
    name, speed = _speed(name)
    if form == "replay":
        from pullcurve.run_log.reading import read_log
        from pullcurve.sources.replay import Replay

        return Replay(read_log(Path(name)), speed)
    from pullcurve.bench.plant import simulate
    from pullcurve.bench.scenario import find_scenario
    from pullcurve.bench.world import World
    from pullcurve.sources.bench import BenchLink

    scenario = find_scenario(name)
    return Paced(BenchLink(scenario, World(scenario, simulate(scenario))), speed)


def _port(text: str) -> str:
    if Path(text).is_file():
        raise LinkError(f"{text}: this is a file, not a port; to play a run log: replay:{text}")
    if Path(text).is_dir() or not (Path(text).exists() or _A_PORT.fullmatch(text)):
        raise LinkError(f"'{text}' names no source; sources are {FORMS}")
    return text


def _speed(name: str) -> tuple[str, float]:
    match = _SPEED.fullmatch(name)
    if match is None or Path(name).exists():
        return name, 1.0
    speed = float(match[2]) if re.fullmatch(r"\d+(\.\d+)?", match[2]) else 0.0
    if not speed:
        raise LinkError(
            f"{name}: {match[2]!r} is no speed; it is a plain number above 0, as in {match[1]}@10"
        )
    return match[1], speed

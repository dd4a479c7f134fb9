"""What a board's sensors give while nothing moves, and what must be wrong where that cannot be.

Every threshold is a judgement unless it comes from the parts' data sheets.
"""

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

import numpy as np

from pullcurve.board.identity import pickup_words, sensor_words
from pullcurve.measure.channels import quantities
from pullcurve.physics.air import altitude_of_pressure
from pullcurve.quantities import ZERO_CELSIUS
from pullcurve.rig.sensor_parts import SENSOR_PARTS
from pullcurve.stream.block import Block
from pullcurve.stream.header import Header, Sensor
from pullcurve.stream.records import METERS
from record_format import OK, STALE

REST_S: Final = 10.0

_FAULTY: Final = 0.01  # of the readings
_ZERO_BOUND: Final = 0.02  # of the span, for a part whose data sheet is not known here
_WANDER: Final = 0.0005  # of the span, between the two halves of the rest
_RESTLESS: Final = 0.005  # of the span, standard deviation of single readings
_PRESSURES_PA: Final = (50e3, 110e3)  # absolute, where people work
_TEMPERATURES_K: Final = (ZERO_CELSIUS - 40, ZERO_CELSIUS + 85)
_HUMIDITIES: Final = (0.01, 1.0)
_SUPPLY_V: Final = (1.8, 60.0)  # of a chip at the least, of a machine's battery at the most
_DAMAGED: Final = 0.01  # of the lines


class Finding(NamedTuple):
    """What was looked at and, where it is not as it should be, what to do."""

    good: bool
    text: str
    action: str = ""


class AtRest:
    """What comes in while nothing moves."""

    def __init__(self, header: Header) -> None:
        self.damaged = 0  # lines
        self._header = header
        self._blocks: dict[int, list[dict[str, Any]]] = {}  # by sensor; meter_dp is the first
        self._slow: dict[int, list[tuple[int, tuple[int, ...]]]] = {
            sensor.index: [] for sensor in header.sensors
        }
        self._edges = {pickup.index: 0 for pickup in header.pickups}
        self._records = self._late = 0

    @property
    def moving(self) -> bool:
        """Whether a pickup saw edges."""
        return any(self._edges.values())

    def take(self, kind: str, fields: dict[str, Any]) -> bool:
        """Whether this was enough."""
        self._records += 1
        if kind == "dp":
            self._blocks.setdefault(fields["sensor"], []).append(fields)
        elif kind == "edges" and fields["pickup"] in self._edges:
            self._edges[fields["pickup"]] += fields["edges"]
        elif kind == "slow" and fields["sensor"] in self._slow:
            self._slow[fields["sensor"]].append((fields["status"], fields["words"]))
        elif kind == "event" and fields["code"] == "late":
            self._late += fields["value"]
        return self._count() * self._header.block_us * 1e-6 >= REST_S

    def _count(self) -> int:
        return max((len(blocks) for blocks in self._blocks.values()), default=0)

    def findings(self) -> Iterator[Finding]:
        yield self._link()
        seen: dict[str, dict[str, float]] = {}
        for sensor in self._header.sensors:
            if sensor.role in METERS:
                yield from self._zero(sensor, self._blocks.get(sensor.index, []))
            else:
                yield from self._air(sensor, seen)
        yield from _agreement(self._header, seen)
        for pickup in self._header.pickups:
            if self._edges.get(pickup.index):
                yield Finding(
                    False,
                    f"{pickup_words(pickup)}: {self._edges[pickup.index]} edges while nothing "
                    "should move",
                    "Keep away until nothing turns. If nothing did: no sun or lamp on the pickup, "
                    "its wire away from the ignition's, its pull-up as in hardware/wiring.md.",
                )

    def _link(self) -> Finding:
        share = self.damaged / max(self.damaged + self._records, 1)
        if share > _DAMAGED:
            return Finding(
                False,
                f"link: {self.damaged} of {self.damaged + self._records} lines came damaged",
                "Use a shorter or better cable, away from the ignition.",
            )
        slots = self._count() * self._header.block_us // self._header.period_us
        if self._late > _FAULTY * slots:
            return Finding(
                False,
                f"board: late for {self._late} of {slots} readings",
                "Set a longer period_us in board.json, or take a faster bus.",
            )
        return Finding(True, f"link: {self._records} records, {self.damaged} damaged lines")

    def _zero(self, sensor: Sensor, blocks: list[dict[str, Any]]) -> Iterator[Finding]:
        """The differential-pressure sensor: answers, within its range, still, near zero."""
        channel = sensor.channels[0]
        span = channel.value_high - channel.value_low
        block = Block.of(blocks)
        n, clipped, faulty = block.n, block.clipped, block.faulty
        if not n.sum():
            yield _silent(sensor)
            return
        if faulty.sum() > _FAULTY * (n.sum() + faulty.sum()):
            yield _faulty(sensor, faulty.sum() / (n.sum() + faulty.sum()))
            return
        if clipped.sum():
            yield Finding(
                False,
                f"{sensor_words(sensor)}: stands at the end of its range",
                "Take both tubes off it. If it still does, part and range_pa in board.json are not "
                "those on its label, or it is broken.",
            )
            return
        mean = block.pressure(channel)[n > 0]
        noise = float(np.sqrt(np.nanmean(block.spread(channel) ** 2)))
        half = len(mean) // 2
        wander = abs(float(mean[half:].mean() - mean[:half].mean()))
        zero = float(mean.mean())
        part = SENSOR_PARTS.get(sensor.part)
        accuracy = part.differential_pressure if part else None
        limit = span * (accuracy.zero_bound if accuracy else _ZERO_BOUND)
        said = f"{sensor_words(sensor)}: zero {zero:+.1f} Pa"
        if abs(zero) > limit:
            yield Finding(
                False,
                f"{said}, more than the {limit:.0f} Pa that its data sheet allows",
                "Take both tubes off it and test again. If it stays, part and range_pa in "
                "board.json are not those on its label, or it is broken.",
            )
        elif noise > _RESTLESS * span:
            yield Finding(
                False,
                f"{said}, but single readings scatter by {noise:.1f} Pa",
                "Keep wind off the open tubes; check its wires and its supply of 3.3 V.",
            )
        elif wander > _WANDER * span:
            yield Finding(
                False,
                f"{said}, but it moved by {wander:.1f} Pa in {REST_S:.0f} s",
                "Let the board warm up for ten minutes out of the sun, then test again.",
            )
        else:
            yield Finding(True, f"{said}, steady within {wander:.1f} Pa")

    def _air(self, sensor: Sensor, seen: dict[str, dict[str, float]]) -> Iterator[Finding]:
        """Any other sensor: answers, with values that can be, which are added to `seen`."""
        readings = self._slow[sensor.index]
        bad = [status for status, _ in readings if status not in (OK, STALE)]
        words = [words for status, words in readings if status == OK]
        words = [each for each in words if len(each) == len(sensor.channels)]
        values = quantities(sensor, np.array(words, dtype=float)) if words else {}
        if not values:
            yield _silent(sensor)
            return
        if len(bad) > max(1.0, _FAULTY * len(readings)):
            yield _faulty(sensor, len(bad) / len(readings))
            return
        means = {name: float(value.mean()) for name, value in values.items()}
        told, wrong = _plausible(sensor, means)
        said = f"{sensor_words(sensor)}: {', '.join(told)}"
        if wrong:
            yield Finding(
                False,
                f"{said}; {', '.join(wrong)} cannot be",
                "Check that part and address in board.json are those of this sensor, and its "
                "wires; if they are, it is broken.",
            )
        else:
            seen[sensor.role] = means
            yield Finding(True, said)


def _plausible(sensor: Sensor, means: dict[str, float]) -> tuple[list[str], list[str]]:
    """The values in words, and which of them cannot be."""
    told, wrong = [], []
    for name, value in means.items():
        if name == "pressure":
            low, high = _PRESSURES_PA
            said = f"{value / 1000:.2f} kPa absolute"
            if low <= value <= high and sensor.role == "ambient_air":
                altitude = round(float(altitude_of_pressure(value)), -1)
                said += f" (as at {altitude:.0f} m above the sea, 250 m more or less with "
                said += "the weather)"
        elif name == "temperature":
            low, high = _TEMPERATURES_K
            said = f"{value - ZERO_CELSIUS:.1f} °C"
        elif name == "voltage":
            low, high = _SUPPLY_V
            said = f"{value:.2f} V"
        else:
            low, high = _HUMIDITIES
            said = f"{100 * value:.0f} % relative humidity"
        told.append(said)
        if not low <= value <= high:
            wrong.append(name)
    return told, wrong


def _agreement(header: Header, seen: dict[str, dict[str, float]]) -> Iterator[Finding]:
    """At rest every absolute sensor stands in the same air."""
    first = next((s for s in header.sensors if "pressure" in seen.get(s.role, {})), None)
    for sensor in header.sensors:
        if first is None or sensor is first or "pressure" not in seen.get(sensor.role, {}):
            continue
        off = seen[sensor.role]["pressure"] - seen[first.role]["pressure"]
        bounds = [SENSOR_PARTS[s.part].pressure for s in (first, sensor) if s.part in SENSOR_PARTS]
        allowed = sum(bound.bound for bound in bounds if bound is not None)
        names = f"{sensor.role} and {first.role}"
        if abs(off) > allowed:
            yield Finding(
                False,
                f"{names}: {abs(off):.0f} Pa apart at rest, more than their data sheets allow "
                f"({allowed:.0f} Pa)",
                "See that no tube is bent shut or full of water, and the vacuum gone; then test "
                "again.",
            )
        else:
            yield Finding(True, f"{names}: {abs(off):.0f} Pa apart at rest")


def _silent(sensor: Sensor) -> Finding:
    return Finding(
        False,
        f"{sensor_words(sensor)}: does not answer",
        "Check its four wires and its supply of 3.3 V, then that part, bus and address in "
        "board.json are its own.",
    )


def _faulty(sensor: Sensor, share: float) -> Finding:
    return Finding(
        False,
        f"{sensor_words(sensor)}: {100 * share:.0f} % of its readings fail",
        "Shorten its wires or slow the bus down (frequency_hz in board.json), and look for a "
        "loose plug.",
    )

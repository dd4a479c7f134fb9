"""What a board says of itself, over the link by which it is recorded."""

import time
from collections.abc import Iterable, Iterator
from contextlib import suppress
from typing import Final, NamedTuple

from pullcurve.errors import BoardError, LinkError
from pullcurve.sources.serial_port import SerialLink, names_of
from pullcurve.stream.decoder import VERSIONS
from pullcurve.stream.header import Header, Pickup, Runtime, Sensor
from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import Batch, RecordStream
from record_format import FORMAT_VERSION, KEPT_S

WITHIN_S: Final = 15.0  # a board repeats its header every 10 s, and at once when it is greeted
_TRY_AGAIN_S: Final = 0.25


class Introduction(NamedTuple):
    """`complaint` is what the board says of a board.json that it cannot use, `kept_s` how much
    it can send again."""

    header: Header | None
    complaint: str = ""
    kept_s: int = KEPT_S


def batches(received: Iterable[Received]) -> Iterator[Batch]:
    """What a source yields, as batches of one stream."""
    stream = RecordStream()
    for each in received:
        yield stream.add(each)


def introduction(heard: Iterator[Batch]) -> Introduction:
    """The first whole header, or the first complaint. Raises BoardError when none comes."""
    began, records, kept_s = None, 0, KEPT_S
    for batch in heard:
        began = began or batch.host_time
        records += batch.accepted
        for each in batch.arrivals:
            if each.kind == "event" and each.fields()["code"] == "config":
                return Introduction(None, each.fields()["text"])
            if each.kind == "event" and each.fields()["code"] == "short_memory":
                kept_s = each.fields()["value"]
            if each.kind == "board" and each.fields()["format"] not in VERSIONS:
                raise BoardError(
                    f"the board sends records of format {each.fields()['format']}, and this "
                    f"pullcurve reads formats 1 to {FORMAT_VERSION}: put its firmware on the board "
                    "with pullcurve board install"
                )
        if batch.stream.header is not None:
            return Introduction(batch.stream.header, kept_s=kept_s)
        if (batch.host_time - began).total_seconds() > WITHIN_S:
            break
    if records:
        raise BoardError(
            "the board sends records, but no whole header came: try another cable, or put the "
            "firmware on the board again with pullcurve board install"
        )
    raise BoardError(
        "the board sends no records: the firmware does not run on it; put it there with "
        "pullcurve board install"
    )


def introduction_after_restart(port: str, usb_number: str | None) -> Introduction:
    """The same from a board that has just been started anew, whose port may vanish meanwhile.

    Raises BoardError and LinkError.
    """
    stop_s = time.monotonic() + WITHIN_S
    while True:
        for name in names_of(port, usb_number):
            with suppress(LinkError), SerialLink(name) as link:
                return introduction(batches(link))
        if time.monotonic() > stop_s:
            raise LinkError(
                f"{port}: the board did not come back after its restart; unplug it, plug it in, "
                "then see what it says with: pullcurve board show"
            )
        time.sleep(_TRY_AGAIN_S)


def identity_lines(header: Header, kept_s: int, revision: str) -> list[str]:
    """revision: that of the firmware which comes with this package."""
    same = "as this pullcurve brings" if header.firmware == revision else f"NOT {revision}"
    lines = [
        f"board     {header.board}, number {header.board_id}",
        f"firmware  {header.firmware}, {same}; records of format {header.format}",
        *([f"runtime   {ran}"] if (ran := runtime_words(header.runtime)) else []),
        f"pace      a reading every {header.period_us / 1000:g} ms, a record every "
        f"{header.block_us / 1000:g} ms",
        f"memory    {memory_words(kept_s)}",
    ]
    lines += [f"sensor    {sensor_words(sensor)}" for sensor in header.sensors]
    lines += [
        f"pickup    {pickup_words(pickup)}, edges within {pickup.least_us} µs of another left out"
        for pickup in header.pickups
    ]
    if header.firmware != revision:
        lines.append(f"To put {revision} on the board: pullcurve board install")
    return lines


def sensor_words(sensor: Sensor) -> str:
    """Role, as in board.json, part, place and range of a sensor."""
    if sensor.bus < 0:
        return f"{sensor.role}: pin {sensor.address}"
    said = f"{sensor.role}: {sensor.part}, bus {sensor.bus}, 0x{sensor.address:02x}"
    channel = sensor.channels[0]
    if channel.quantity == "differential_pressure":
        said += f", {channel.value_low:g} Pa to {channel.value_high:g} Pa"
    return said


def runtime_words(runtime: Runtime) -> str:
    """Name and version of what the firmware runs on, and the machine, as the runtime says them."""
    if not runtime.runtime:
        return ""
    return f"{runtime.runtime} {runtime.version} on {runtime.machine}"


def memory_words(kept_s: int) -> str:
    """What the board can send again when its link was lost."""
    if kept_s < KEPT_S:
        return (
            f"ONLY the last {kept_s} s can be sent again when its link was lost; a longer block_us "
            "or slow_us in board.json makes it more"
        )
    return f"at least the last {KEPT_S} s can be sent again when its link was lost"


def pickup_words(pickup: Pickup) -> str:
    return f"{pickup.role}, pin {pickup.pin}"

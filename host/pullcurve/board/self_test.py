"""A board tested where it stands: everything at rest first, then a mark passed by hand."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final

from pullcurve.board.at_rest import REST_S, AtRest, Finding
from pullcurve.board.identity import WITHIN_S, batches, introduction, pickup_words
from pullcurve.errors import BoardError
from pullcurve.stream.header import Header, Pickup
from pullcurve.stream.received import Received
from pullcurve.stream.record_stream import Batch
from record_format import KEPT_S

PICKUP_WITHIN_S: Final = 60.0
EDGES_WANTED: Final = 4
_BOUNCING: Final = 0.5  # edges that came too soon, for one that counts: a judgement
CAUTION: Final = (
    "Engine stopped, shafts locked out, vacuum gone, and so until this test has ended. Local "
    "rules and licensed trades come first. Nothing here asks you to turn a shaft."
)
STILL: Final = (
    f"First {REST_S:.0f} s at rest: no wind on the tubes of the pressure sensor, nothing moving "
    "before a pickup."
)
PASS_A_MARK: Final = (
    "Now pass a strip with a mark on it before each pickup by hand, as near as the shaft's mark "
    f"will be, {EDGES_WANTED} times or more. There are {PICKUP_WITHIN_S:.0f} s for that."
)


def self_test(received: Iterable[Received]) -> Iterator[Finding | str]:
    """What is found, and sentences that ask for something, as they come up.

    It ends at once where something moves that should be at rest. Raises BoardError when the
    board says nothing, or nothing that can be understood.
    """
    heard = batches(received)
    header, complaint, kept_s = introduction(heard)
    if header is None:
        yield Finding(False, f"board.json: {complaint}", "Mend board.json on the board.")
        return
    yield STILL
    rest = AtRest(header)
    rest.damaged = _until(heard, rest.take)
    yield from rest.findings()
    if kept_s < KEPT_S:
        yield Finding(
            False,
            f"memory: the board can send again only the last {kept_s} s when its link was lost",
            "Make block_us or slow_us in board.json longer, or see to it that its link holds.",
        )
    if rest.moving:
        return
    yield PASS_A_MARK
    pickups = _Pickups(header)
    _until(heard, pickups.take)
    for pickup in header.pickups:
        yield pickups.finding(pickup)


def _until(heard: Iterator[Batch], take: Callable[[str, dict[str, Any]], bool]) -> int:
    """Hand over the records until that was enough: how many lines came damaged meanwhile."""
    last, damaged = None, None
    for batch in heard:
        last = last or batch.host_time
        damaged = batch.stream.damaged.total() if damaged is None else damaged
        enough = [take(each.kind, each.fields()) for each in batch.arrivals]
        if any(enough):
            return batch.stream.damaged.total() - damaged
        if batch.accepted:
            last = batch.host_time
        if (batch.host_time - last).total_seconds() > WITHIN_S:
            break
    raise BoardError(
        "the board says nothing any more, so the test is not complete: check its plug, and see "
        "what it says with pullcurve board show"
    )


class _Pickups:
    """Waits until every pickup has seen a mark pass."""

    def __init__(self, header: Header) -> None:
        self._edges = {pickup.index: 0 for pickup in header.pickups}
        self._rejects = dict(self._edges)
        self._blocks_left = PICKUP_WITHIN_S / (header.block_us * 1e-6)

    def take(self, kind: str, fields: dict[str, Any]) -> bool:
        """Whether this was enough."""
        self._blocks_left -= kind == "dp" and fields["sensor"] == 0
        if kind == "edges" and (index := fields["pickup"]) in self._edges:
            self._edges[index] += fields["edges"]
            self._rejects[index] += fields["rejects"]
        return self._blocks_left < 0 or min(self._edges.values()) >= EDGES_WANTED

    def finding(self, pickup: Pickup) -> Finding:
        edges, rejects = self._edges[pickup.index], self._rejects[pickup.index]
        said = f"{pickup_words(pickup)}: saw {edges} edges"
        if edges < EDGES_WANTED:
            return Finding(
                False,
                f"{said} in {PICKUP_WITHIN_S:.0f} s",
                "A phone's camera shows whether its lamp glows. Then its distance to the strip, a "
                "mark that shines where the rest is dull, its wire on the pin named here.",
            )
        if rejects > _BOUNCING * edges:
            return Finding(
                False,
                f"{said}, and {rejects} more within {pickup.least_us} µs of another",
                "The edges bounce: move it nearer, check its pull-up, look for a loose wire.",
            )
        return Finding(True, said)

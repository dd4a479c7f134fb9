"""Records of version 1, read as those of today.

A board of version 1 sent differential pressure and the edges of its first pickup in one `block`,
and those of a second pickup in a `shaft`; of the edges the first, the last and the extreme
intervals. All other records are those of version 2.
"""

from typing import Any, Final

from record_format import DATA, INT

_EDGES: Final = (
    ("edges", INT),
    ("first_ticks", INT),
    ("last_ticks", INT),
    ("least_interval", INT),
    ("greatest_interval", INT),
    ("rejects", INT),
)
KINDS: Final = {
    "block": (*DATA["dp"][1:], *_EDGES),
    "shaft": (*DATA["edges"][:3], *_EDGES),
}


def as_of_today(kind: str, values: tuple[Any, ...]) -> list[tuple[str, tuple[Any, ...]]]:
    """Kind and values of the records of today's version that say the same as one of KINDS."""
    fields = dict(zip((name for name, _ in KINDS[kind]), values, strict=True))
    edges, first, last = (fields[name] for name in ("edges", "first_ticks", "last_ticks"))
    told = (
        fields.get("pickup", 0),
        fields["start_ticks"],
        fields["length_ticks"],
        edges,
        fields["rejects"],
        fields["least_interval"],
        fields["greatest_interval"],
        max(edges - 1, 1),
        first - fields["start_ticks"] if edges else 0,
        (last - first,) if edges > 1 else (),
    )
    if kind == "shaft":
        return [("edges", told)]
    return [("dp", (0, *values[: -len(_EDGES)])), ("edges", told)]

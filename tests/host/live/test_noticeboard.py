"""Viewers get all that is known, then what is new; nothing piles up for a slow one."""

import asyncio
import re
from collections.abc import AsyncIterator

import pytest

from pullcurve.live.noticeboard import Noticeboard


async def words(stream: AsyncIterator[bytes], count: int) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    while len(found) < count:
        found += re.findall(r"event: (\w+)\ndata: (.*)\n\n", (await anext(stream)).decode())
    return found


def test_a_viewer_gets_what_was_said_then_the_newest_of_each() -> None:
    async def check() -> None:
        board = Noticeboard()
        board.post("state", {"sentence": "line\nbreak"})
        board.open()
        stream = board.stream()
        assert await words(stream, 1) == [("state", '{"sentence":"line\\nbreak"}')]
        for number in range(1000):
            board.post("reading", number)
            board.post("state", "same")
        await asyncio.sleep(0)
        assert await words(stream, 2) == [("reading", "999"), ("state", '"same"')]
        waiting = asyncio.ensure_future(anext(stream))
        board.post("state", "same")
        await asyncio.sleep(0.01)
        assert not waiting.done()
        assert board.viewers == 1
        board.close()
        with pytest.raises(StopAsyncIteration):
            await waiting
        assert board.viewers == 0

    asyncio.run(check())

"""The newest word on each topic, for any number of viewers."""

import asyncio
import json
from collections.abc import AsyncIterator


class Noticeboard:
    """Keeps what was last said on each topic. A slow viewer misses what was replaced meanwhile,
    so that nothing piles up for it. What was said already is not said again.

    `post` may be called from any thread, all else from the event loop's.
    """

    def __init__(self) -> None:
        self._said: dict[str, str] = {}
        self._viewers: set[_Viewer] = set()
        self._loop: asyncio.AbstractEventLoop | None = None

    def open(self) -> None:
        """Viewers come from now on, in the running loop."""
        self._loop = asyncio.get_running_loop()

    def close(self) -> None:
        """End all streams; later words reach nobody."""
        self._loop = None
        for viewer in self._viewers:
            viewer.ended = True
            viewer.news.set()

    def post(self, topic: str, word: object) -> None:
        said = json.dumps(word, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        if said == self._said.get(topic):
            return
        self._said[topic] = said
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._tell, topic)

    def _tell(self, topic: str) -> None:
        for viewer in self._viewers:
            viewer.unseen[topic] = None
            viewer.news.set()

    def latest(self, topic: str) -> str | None:
        """The newest word on a topic, as JSON."""
        return self._said.get(topic)

    @property
    def viewers(self) -> int:
        return len(self._viewers)

    async def stream(self) -> AsyncIterator[bytes]:
        """Server-sent events (WHATWG HTML, 9.2): all that was said, then what is new."""
        viewer = _Viewer(dict.fromkeys(self._said))
        self._viewers.add(viewer)
        try:
            yield b"retry: 1000\n\n"
            while not viewer.ended:
                viewer.news.clear()
                while viewer.unseen:
                    topic = next(iter(viewer.unseen))
                    del viewer.unseen[topic]
                    yield f"event: {topic}\ndata: {self._said[topic]}\n\n".encode()
                await viewer.news.wait()
        finally:
            self._viewers.discard(viewer)


class _Viewer:
    def __init__(self, unseen: dict[str, None]) -> None:
        self.unseen = unseen  # topics, in the order in which they were said
        self.news = asyncio.Event()
        self.ended = False

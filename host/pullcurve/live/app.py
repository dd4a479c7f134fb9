"""What the server answers."""

import asyncio
import hashlib
import json
import re
from base64 import b64encode
from collections.abc import Callable
from concurrent.futures.process import BrokenProcessPool
from importlib.resources import files

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from pullcurve.errors import PullcurveError
from pullcurve.live.noticeboard import Noticeboard
from pullcurve.live.session import Session

_ASSETS = {
    "/": ("page.html", "text/html; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
    "/curve.js": ("curve.js", "text/javascript; charset=utf-8"),
    "/guide.js": ("guide.js", "text/javascript; charset=utf-8"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
}
LONGEST_BODY = 4000  # bytes


def application(session: Session, board: Noticeboard) -> Starlette:
    folder = files("pullcurve.live") / "page"

    def asset(name: str, kind: str) -> Callable[[Request], Response]:
        content = (folder / name).read_bytes()
        return lambda _: Response(content, media_type=kind)

    async def events(_: Request) -> Response:
        return StreamingResponse(board.stream(), media_type="text/event-stream")

    async def note(request: Request) -> Response:
        said = await _body(request)
        text = said.get("text")
        if not isinstance(text, str):
            return _refused("There are no words in it.")
        try:
            understood = await run_in_threadpool(session.receiver.say, text)
        except ValueError as fault:
            return _refused(f"Not noted: {fault}")
        except PullcurveError as fault:
            return _refused(f"Not noted: {fault}", 500)
        return JSONResponse({"sentence": f"Noted: {understood}"})

    async def answer(request: Request) -> Response:
        said = await _body(request)
        fields = said.get("fields")
        try:
            understood = await run_in_threadpool(
                session.answer,
                str(said.get("question")),
                str(said.get("button")),
                fields if isinstance(fields, dict) else {},
                str(said.get("hold")),
            )
        except ValueError as fault:
            return _refused(f"Not noted: {fault}")
        except PullcurveError as fault:
            return _refused(f"Not noted: {fault}", 500)
        return JSONResponse({"sentence": f"Noted: {understood}" if understood else ""})

    async def press(request: Request) -> Response:
        said = await _body(request)
        if said.get("button") == "seen":
            await run_in_threadpool(session.see, str(said.get("key")))
        else:
            of_card = (str(said.get(name)) for name in ("button", "step", "trouble"))
            await run_in_threadpool(session.press, *of_card)
        return JSONResponse({"sentence": ""})

    async def report(request: Request) -> Response:
        of_shift = request.query_params.get("of") == "shift"
        try:
            html = await asyncio.wrap_future(session.report(of_shift=of_shift))
        except PullcurveError as fault:
            return _refused(str(fault), 409)
        except BrokenProcessPool:
            return _refused("The making of the report was interrupted: ask once more.", 500)
        name = session.receiver.log.stem + (".cut.html" if of_shift else ".report.html")
        return Response(
            html,
            media_type="text/html; charset=utf-8",
            headers={"content-security-policy": _report_policy(html)}
            | (_as_file(name) if "keep" in request.query_params else {}),
        )

    async def metrics(_: Request) -> Response:
        return Response(session.metrics, media_type="text/plain; version=0.0.4; charset=utf-8")

    async def run_log(_: Request) -> Response:
        if not session.receiver.log.exists():
            return _refused("Nothing is recorded yet.", 409)
        return FileResponse(
            session.receiver.log, media_type="text/plain", filename=session.receiver.log.name
        )

    routes = [Route(path, asset(*what)) for path, what in _ASSETS.items()]
    return Starlette(
        routes=[
            *routes,
            Route("/events", events),
            Route("/note", note, methods=["POST"]),
            Route("/answer", answer, methods=["POST"]),
            Route("/press", press, methods=["POST"]),
            Route("/report", report),
            Route("/runlog", run_log),
            Route("/metrics", metrics),
        ],
        exception_handlers={Exception: _failed},
    )


def _failed(_: Request, fault: Exception) -> Response:
    return _refused(f"The laptop failed at this by an error of its own: {fault!r}.", 500)


async def _body(request: Request) -> dict[str, object]:
    """What the page sent; nothing when it is no small JSON object."""
    content = b""
    async for chunk in request.stream():
        content += chunk
        if len(content) > LONGEST_BODY:
            return {}
    try:
        said = json.loads(content)
    except (ValueError, RecursionError):  # the latter by brackets within brackets
        return {}
    return said if isinstance(said, dict) else {}


def _refused(sentence: str, status: int = 400) -> Response:
    return JSONResponse({"sentence": sentence}, status)


def _as_file(name: str) -> dict[str, str]:
    plain = re.sub(r"[^\w.-]", "_", name, flags=re.ASCII)
    return {"content-disposition": f'attachment; filename="{plain}"'}


def _report_policy(html: str) -> str:
    """The report brings its own style and pictures, and nothing that runs."""
    styles = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    hashes = " ".join(
        f"'sha256-{b64encode(hashlib.sha256(style.encode()).digest()).decode()}'"
        for style in styles
    )
    allowed = hashes or "'none'"
    return (
        f"default-src 'none'; style-src {allowed}; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'self'"
    )

"""Who may see the page: right host, right token, right origin, and nothing from elsewhere.

Without sharing, the page answers on the loopback address alone and asks for no token; the host
name is checked all the same, or any web page could reach it through a name of its own (DNS
rebinding). With sharing every request needs the token: as a cookie, set by the link that
carries it, or as a bearer token for programs. A page from elsewhere may lead here, and nothing
more: where a browser says who asks, no work is done for it.
"""

import hmac
import secrets
from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_BYTES = 16
HTTP_PORT = 80
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; frame-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}
_FOREIGN = "Asked for by a page from elsewhere."
STALE = (
    "This link is not, or no longer, one of this watch. Each start of the watch makes a new one: "
    "scan the code that the laptop shows now, or open its link."
)
_STALE_PAGE = f"""<!doctype html><html lang="en-GB"><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>pullcurve: link no longer good</title>
<link rel="stylesheet" href="/page.css"><main class="alone"><h1>Link no longer good</h1>
<p>{STALE}</p></main></html>"""
# A redirection would still be the other page's doing, and the cookie held back from it.
_LEADS_ON = """<!doctype html><html lang="en-GB"><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="refresh" content="0; url=/"><title>pullcurve</title>
<link rel="stylesheet" href="/page.css"><main class="alone"><p><a href="/">To the page</a></p>
</main></html>"""
_OPEN_PATHS = {"/page.css", "/icon.svg"}  # the look of that page; they say nothing of a run


def new_token() -> str:
    return secrets.token_urlsafe(TOKEN_BYTES)


class Guard:
    """Stands before an application.

    hosts: names and addresses, without port, under which the page may be asked for. token: what
    every request must carry, None for no token.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str], port: int, token: str | None) -> None:
        self._app = app
        self._hosts = {f"{host.lower()}:{port}" for host in hosts}
        if port == HTTP_PORT:  # which a browser leaves out
            self._hosts |= {host.lower() for host in hosts}
        self._token = token
        self._cookie = f"pullcurve_{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = self._refusal(scope)
        await (refusal or self._app)(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if host.lower() not in self._hosts:
            return PlainTextResponse("This name is not one of this page's.", 400)
        origin = headers.get("origin")
        writes = scope["method"] not in ("GET", "HEAD")
        if (origin is not None or writes) and origin != f"http://{host}":
            return PlainTextResponse(_FOREIGN, 403)
        # Fetch Metadata Request Headers (W3C); sent to this computer's own address and over https.
        site, mode = (headers.get(f"sec-fetch-{what}") for what in ("site", "mode"))
        leads_here = scope["path"] == "/" and mode == "navigate"
        if site not in (None, "none", "same-origin") and not leads_here:
            return PlainTextResponse(_FOREIGN, 403)
        if self._token is None or scope["path"] in _OPEN_PATHS:
            return None
        return None if self._is_right(self._carried(headers)) else self._without_token(scope)

    def _without_token(self, scope: Scope) -> Response:
        told = parse_qs(scope["query_string"].decode("ascii", "replace")).get("token", [""])[0]
        if scope["path"] != "/":
            return PlainTextResponse(STALE, 403)
        if not self._is_right(told):
            return HTMLResponse(_STALE_PAGE, 403)
        # The token goes out of the address bar and its history.
        answer = HTMLResponse(_LEADS_ON)
        answer.set_cookie(self._cookie, told, httponly=True, samesite="strict")
        return answer

    def _carried(self, headers: Headers) -> str:
        bearer = headers.get("authorization", "")
        if bearer.startswith("Bearer "):
            return bearer.removeprefix("Bearer ")
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(self._cookie)
        except CookieError:
            return ""
        return morsel.value if morsel else ""

    def _is_right(self, told: str) -> bool:
        return self._token is not None and hmac.compare_digest(
            told.encode("utf-8", "replace"), self._token.encode()
        )

"""Who may ask: only a page that this server gave out itself. Everything else is refused before any of it is read.

The token stands in the path, so that no cookie goes to other servers on this machine and no other site can make a
browser send it. The host is checked against rebinding of names, the origin against pages of other sites.
"""

from __future__ import annotations

import asyncio
import secrets
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 2 << 20  # of a body: a design file has at most one MiB
SECONDS = 10.0  # in which a body must be here
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "frame-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# Reports and other pages of the program: their own styles, no script, nothing from outside, no origin.
REPORT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; frame-ancestors 'self'"
HEADERS = {
    "Content-Security-Policy": PAGE_POLICY,
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


class Refused(Exception):  # noqa: N818  an answer, no error of the program
    """A request that is not served, with the status and the words of the answer."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


class Guard:
    """Lets through what comes with the right host, origin and token; adds the headers to every answer."""

    def __init__(self, app: ASGIApp, token: str, hosts: tuple[str, ...]) -> None:
        self.app, self.token, self.hosts = app, token, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        refused = self._refusal(scope)
        if refused is None:
            path = scope["path"][len(self.token) + 1 :]
            await self.app({**scope, "path": path, "raw_path": path.encode()}, receive, with_headers(send))
        else:
            from starlette.responses import PlainTextResponse

            answer = PlainTextResponse(str(refused) + "\n", refused.status, {"Connection": "close"})
            await answer(scope, receive, with_headers(send))

    def _refusal(self, scope: Scope) -> Refused | None:
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        host, origin = headers.get("host", []), headers.get("origin", [])
        if len(host) != 1 or host[0] not in self.hosts:
            return Refused(421, "this server answers to 127.0.0.1 alone")
        if any(one.removeprefix("http://") not in self.hosts for one in origin) or len(origin) > 1:
            return Refused(403, "asked by another site")
        if headers.get("sec-fetch-site", ["none"])[0] not in ("same-origin", "none"):
            return Refused(403, "asked by another site")
        first, slash, _ = str(scope["path"]).removeprefix("/").partition("/")
        if not slash or not secrets.compare_digest(first.encode(), self.token.encode()):
            return Refused(403, "the address must be the one that was printed, with its token")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return Refused(405, "GET and POST only")
        return None


def with_headers(send: Send) -> Send:
    """Adds the headers to an answer that does not state them itself."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            stated = {name.lower() for name, _ in message["headers"]}
            more = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
            message = {**message, "headers": [*message["headers"], *(one for one in more if one[0] not in stated)]}
        await send(message)

    return sent


async def body_of(request: Request) -> dict[str, Any]:
    """The table in the body of a request; Refused where it is none, too large or too slow."""
    import json

    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise Refused(415, "the body must be application/json")
    declared = request.headers.get("content-length", "0")
    if not declared.isdecimal() or int(declared) > MOST_BYTES:
        raise Refused(413, f"a body has at most {MOST_BYTES} bytes")
    content = bytearray()
    try:
        async with asyncio.timeout(SECONDS):
            async for part in request.stream():
                content += part
                if len(content) > MOST_BYTES:
                    raise Refused(413, f"a body has at most {MOST_BYTES} bytes")
    except TimeoutError:
        raise Refused(408, f"a body must be here within {SECONDS:g} s") from None
    try:
        found = json.loads(content, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise Refused(400, "the body must be JSON") from None
    if not isinstance(found, dict):
        raise Refused(400, "the body must be a table")
    return found


def _no_number(word: str) -> float:
    raise ValueError(word)


def text_in(body: dict[str, Any], name: str, most: int = 1 << 20) -> str:
    """A text of a body; Refused where it is none."""
    found = body.get(name)
    if not isinstance(found, str) or len(found) > most or any("\ud800" <= letter <= "\udfff" for letter in found):
        raise Refused(400, f"{name} must be a text of at most {most} letters")
    return found

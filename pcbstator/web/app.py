"""What the page may ask for, by its path behind the token."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from functools import cache, partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from pcbstator import project
from pcbstator.errors import OutputError, PcbstatorError
from pcbstator.web.answers import Answers
from pcbstator.web.guard import REPORT_POLICY, Guard, Refused, body_of, text_in
from pcbstator.web.knobs import knob_groups
from pcbstator.web.newest import Newest
from pcbstator.web.second import Second
from pcbstator.web.tasks import TASKS, Asked
from pcbstator.web.work import Works

TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
BETWEEN_EVENTS = 0.1  # s


@cache
def assets() -> dict[str, tuple[bytes, str]]:
    """The files of the page with their types, by name: nothing else is ever served from a disk."""
    found = {}
    for entry in files("pcbstator.web").joinpath("page").iterdir():
        kind = TYPES.get(Path(entry.name).suffix)
        if kind is not None:
            found[entry.name] = entry.read_bytes(), kind
    return found


class Page:
    """The page of one design."""

    def __init__(self, path: Path, ending: Callable[[], bool]) -> None:
        self.ending = ending
        self.answers = Answers(path, whole=False)
        self.second = Second(path)
        self.newest, self.newest_whole = Newest(), Newest()
        self.works = Works()

    async def index(self, request: Request) -> Response:
        """The page itself, or one of its files."""
        name = request.path_params.get("name", "index.html")
        if name not in assets():
            raise Refused(404, "no such file")
        content, kind = assets()[name]
        return Response(content, media_type=kind)

    async def start(self, request: Request) -> Response:
        """The knobs and the text of the saved design."""
        answers = self.answers
        return JSONResponse({
            "file": answers.path.name, "folder": str(answers.path.parent), "text": answers.text,
            "groups": knob_groups(),
        })  # fmt: skip

    async def answer(self, request: Request) -> Response:
        """What becomes of a text with some keys set."""
        body = await body_of(request)
        text, page, number = text_in(body, "text"), text_in(body, "page", 40), body.get("number")
        settings = body.get("settings", {})
        if not isinstance(number, int) or isinstance(number, bool) or not isinstance(settings, dict):
            raise Refused(400, "number must be a whole number and settings a table")
        asked, whole = (text, settings, str(body.get("drawn", ""))), body.get("whole") is True
        newest = self.newest_whole if whole else self.newest
        work = partial(self.second.ask, "answer", *asked) if whole else partial(self.answers.answer, *asked)
        found: dict[str, Any] | None = await newest.run_newest(page, number, work)
        return JSONResponse({"number": number, "superseded": True} if found is None else {"number": number} | found)

    async def results(self, request: Request) -> Response:
        """Every result in words."""
        text = text_in(await body_of(request), "text")
        found = await self.newest_whole.run(lambda: self.second.ask("results", text))
        return JSONResponse({"results": found})

    async def save(self, request: Request) -> Response:
        """Writes the design file."""
        body = await body_of(request)
        text = text_in(body, "text")
        over = body.get("over") is True
        if not over and await self.newest.run(self.answers.changed_elsewhere):
            return JSONResponse({"conflict": f"{self.answers.path.name} was changed by another program"})
        content = await self.newest.run(lambda: self.answers.save(text, over))
        await self.newest_whole.run(lambda: self.second.ask("look", content))
        return JSONResponse({"saved": self.answers.path.name})

    async def take(self, request: Request) -> Response:
        """The text of a design of a study."""
        body = await body_of(request)
        number, home = body.get("number"), self.answers.path.parent
        if not isinstance(number, int):
            raise Refused(400, "number must be a whole number")
        folder = Asked("", "", home, text_in(body, "place", 200), {}).folder
        return JSONResponse({"text": (await self.newest.run(lambda: project.take(folder, number))).text})

    async def begin(self, request: Request) -> Response:
        """Begins long work."""
        body = await body_of(request)
        name, more, path = text_in(body, "task", 20), body.get("more", {}), self.answers.path
        if name not in TASKS or not isinstance(more, dict):
            raise Refused(400, f"task must be one of {', '.join(TASKS)}")
        asked = Asked(text_in(body, "text"), path.name, path.parent, text_in(body, "place", 200), more)
        return JSONResponse({"id": self.works.begin(name, asked)})

    async def events(self, request: Request) -> Response:
        """How the work goes on, as server-sent events."""
        work = self.works.work(request.path_params["id"])

        async def told() -> AsyncIterator[bytes]:
            last: dict[str, Any] | None = None
            while not self.ending():
                event = work.events[-1] if work.events else None
                if event is not None and event is not last:
                    last = event
                    yield f"data: {json.dumps(event)}\n\n".encode()
                    if "end" in event:
                        return
                await asyncio.sleep(BETWEEN_EVENTS)

        return StreamingResponse(told(), media_type="text/event-stream")

    async def stop(self, request: Request) -> Response:
        """Stops the work."""
        await body_of(request)
        self.works.work(request.path_params["id"]).stop()
        return JSONResponse({"stopped": True})

    async def made(self, request: Request) -> Response:
        """The page that some work made, without scripts and without an origin."""
        html = self.works.work(request.path_params["id"]).html
        if not html:
            raise Refused(404, "no page was made")
        return HTMLResponse(html, headers={"Content-Security-Policy": REPORT_POLICY})

    def close(self) -> None:
        """Ends all that is under way."""
        self.works.close()
        self.second.close()
        self.newest.close()
        self.newest_whole.close()


def page_app(path: Path, token: str, hosts: tuple[str, ...], ending: Callable[[], bool]) -> Guard:
    """The server's application for one design file. hosts: names and port that it answers to; ending: whether the
    server is about to end.
    """
    page = Page(path, ending)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        answers, second = page.answers, page.second
        looking = [
            asyncio.create_task(page.newest.run(lambda: answers.look(answers.content))),
            asyncio.create_task(page.newest_whole.run(lambda: second.ask("results", answers.text))),
        ]
        yield
        for one in looking:
            one.cancel()
        page.close()

    routes = [
        Route("/", page.index),
        Route("/static/{name}", page.index),
        Route("/api/start", page.start),
        Route("/api/answer", page.answer, methods=["POST"]),
        Route("/api/results", page.results, methods=["POST"]),
        Route("/api/save", page.save, methods=["POST"]),
        Route("/api/take", page.take, methods=["POST"]),
        Route("/api/work", page.begin, methods=["POST"]),
        Route("/api/work/{id:int}/events", page.events),
        Route("/api/work/{id:int}/stop", page.stop, methods=["POST"]),
        Route("/made/{id:int}", page.made),
    ]
    handlers: dict[Any, Any] = {Refused: _refused, PcbstatorError: _told, HTTPException: _unknown, Exception: _fault}
    return Guard(Starlette(routes=routes, exception_handlers=handlers, lifespan=lifespan), token, hosts)


async def _refused(request: Request, reason: Refused) -> Response:
    return JSONResponse({"error": str(reason)}, reason.status, {"Connection": "close"})


async def _told(request: Request, reason: PcbstatorError) -> Response:
    return JSONResponse({"error": str(reason)}, 409 if isinstance(reason, OutputError) else 422)


async def _fault(request: Request, reason: Exception) -> Response:
    words = f"a fault of the program; please report it: {type(reason).__name__}: {reason}"
    return JSONResponse({"error": words}, 500)


async def _unknown(request: Request, reason: HTTPException) -> Response:
    return JSONResponse({"error": reason.detail}, reason.status_code)

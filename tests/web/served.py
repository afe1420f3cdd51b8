"""A page's server in this process, on a port of its own, and what a client asks of it, right or wrong."""

from __future__ import annotations

import http.client
import json
import shutil
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from pcbstator.web.serve import listening_socket, server_of
from tests.command import DESIGNS

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
WHEEL = next(path for path in DESIGNS if path.stem == "filter-wheel")


class Served:
    """An address with its token, and requests to it."""

    def __init__(self, address: str, path: Path) -> None:
        self.address, self.path = address, path
        self.host, self.base = urlsplit(address).netloc, urlsplit(address).path
        self.number = 0

    def ask(
        self, method: str, place: str, body: Any = None, headers: Mapping[str, str] | None = None, raw: bool = False
    ) -> tuple[int, Any, Mapping[str, str]]:
        """Status, content and headers; place: behind the token unless it begins with a slash."""
        content = body if raw or body is None else json.dumps(body)
        stated = ({} if body is None else {"Content-Type": "application/json"}) | dict(headers or {})
        with closing(http.client.HTTPConnection(self.host, timeout=60)) as connection:
            connection.request(method, place if place.startswith("/") else self.base + place, content, stated)
            answer = connection.getresponse()
            told, found = {name.lower(): value for name, value in answer.getheaders()}, answer.read()
        if told.get("content-type", "").startswith("application/json"):
            return answer.status, json.loads(found), told
        return answer.status, found.decode(errors="replace"), told

    def answer(self, settings: Mapping[str, Any] | None = None, whole: bool = False, **more: Any) -> dict[str, Any]:
        """What the page is told of the saved text with some keys set."""
        self.number += 1
        body = {"text": self.path.read_text(), "settings": settings or {}, "page": "p", "number": self.number}
        status, found, _ = self.ask("POST", "api/answer", body | {"whole": whole} | more)
        assert status == 200, found
        return found

    def work(self, task: str, place: str = "-", **more: Any) -> tuple[int, dict[str, Any]]:
        """Number and last event of some work, carried to its end."""
        body = {"task": task, "place": place, "text": self.path.read_text(), "more": more}
        status, found, _ = self.ask("POST", "api/work", body)
        assert status == 200, found
        _, events, _ = self.ask("GET", f"api/work/{found['id']}/events")
        return found["id"], json.loads(events.strip().rpartition("data: ")[2])


@contextmanager
def served(path: Path) -> Iterator[Served]:
    """The server of a design's page while it is used."""
    with listening_socket(0) as listening:
        server, address = server_of(path, listening)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            while not server.started:
                time.sleep(0.01)
            yield Served(address, path)
        finally:
            server.should_exit = True
            thread.join()


def copied(design: Path, folder: Path) -> Path:
    """A design's file in a folder of its own."""
    return Path(shutil.copy(design, folder / design.name))

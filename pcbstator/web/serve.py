"""The server on this machine alone: one port of 127.0.0.1, one token, one design."""

from __future__ import annotations

import asyncio
import secrets
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pcbstator import project
from pcbstator.errors import DesignError, MissingLibraryError, OutputError, install_words

HOST = "127.0.0.1"
SECONDS_TO_ASK = 10.0  # in which the head of a first request must be here
MOST_CONNECTIONS = 64


def serve(path: Path, port: int, tell: Callable[[str], None], show: Callable[[str], object] | None) -> None:
    """Serves the page of a design until Ctrl-C. port: 0 for any that is free; tell: takes the address, which is said
    before anything else; show: opens it.

    Raises DesignError where there is no such file, OutputError where the libraries or the port are not to be had.
    """
    require_library()
    require_file(path)
    with listening_socket(port) as listening:
        server, address = server_of(path, listening)
        tell(address)
        if show is not None:
            show(address)
        server.run(sockets=[listening])


def server_of(path: Path, listening: socket.socket) -> tuple[Any, str]:
    """The server of a design on a socket, and the address of its page, token included."""
    import uvicorn

    from pcbstator.web.app import page_app

    port, token = listening.getsockname()[1], secrets.token_urlsafe(24)
    app = page_app(path, token, (f"{HOST}:{port}", f"localhost:{port}"), lambda: bool(server.should_exit))
    config = uvicorn.Config(
        app, http=_prompt(), ws="none", lifespan="on", log_level="critical", access_log=False, server_header=False,
        limit_concurrency=MOST_CONNECTIONS, timeout_keep_alive=30, timeout_graceful_shutdown=2,
    )  # fmt: skip
    server = uvicorn.Server(config)
    return server, f"http://{HOST}:{port}/{token}/"


def require_file(path: Path) -> None:
    """Refuses what is no design file that could be mended on the page: DesignError where it cannot be read."""
    try:
        project.load_design(path)
    except DesignError as error:
        if any(complaint.key == "file" for complaint in error.complaints):
            raise


def require_library() -> None:
    """Raises MissingLibraryError where what serves pages is not there."""
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError:
        raise MissingLibraryError(f"the page needs starlette and uvicorn: {install_words('page')}") from None


def listening_socket(port: int) -> socket.socket:
    """A socket of this machine alone; OutputError where the port is not to be had."""
    listening = socket.socket()
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HOST, port))
        listening.listen(MOST_CONNECTIONS)  # whoever has the address may call: the answer comes as soon as there is one
    except OSError as error:
        listening.close()
        raise OutputError(f"port {port} of {HOST}: {error.strerror}; choose another one") from None
    return listening


def _prompt() -> Any:
    """The protocol of the server, but for connections on which no request comes in time: they are closed."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Prompt(H11Protocol):
        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            asyncio.get_running_loop().call_later(SECONDS_TO_ASK, self._late)

        def _late(self) -> None:
            if self.cycle is None and not self.transport.is_closing():
                self.transport.close()

    return Prompt

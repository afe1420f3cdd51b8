"""Workers behind a scheduler of dask.distributed, and a quick word where there is none.

The library itself would go on trying for long, and tells of it in tracebacks.
"""

from __future__ import annotations

import asyncio
import importlib.util
import re
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from pcbstator.errors import MissingLibraryError, install_words
from pcbstator.study.workforce import MOST_FAILURES, WorkerError, Workforce, executor_workforce

ANSWER_SECONDS = 1.5  # to find the host, and again for its first words; a scheduler needs a fraction of it
CONNECT_SECONDS = 20  # for the rest, once a scheduler has answered
ADDRESS = re.compile(r"(?:(?:tcp|tls|ws|wss)://)?(\[[0-9a-fA-F:.]+\]|[^\s/:\[\]]+):(\d{1,5})/?")


@contextmanager
def cluster_workforce(address: str) -> Iterator[Workforce]:
    """The workers behind a scheduler of dask.distributed.

    Raises WorkerError where nobody answers or no worker is there.
    """
    require_scheduler(address)
    from distributed import Client

    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise _unanswered(address, str(error)) from None
    try:
        threads = sum(client.nthreads().values())
        if threads == 0:
            raise WorkerError(f"--scheduler {address}: it has no workers; start some that can import pcbstator")
        with executor_workforce(client.get_executor(pure=False, retries=MOST_FAILURES), threads) as force:
            yield force
    finally:
        client.close()


def require_scheduler(address: str) -> None:
    """Raises WorkerError where no scheduler answers at an address, MissingLibraryError without the library."""
    if importlib.util.find_spec("distributed") is None:
        raise MissingLibraryError(f"--scheduler needs the library distributed: {install_words('cluster')}")
    parts = ADDRESS.fullmatch(address)
    if parts is None or not 0 < int(parts[2]) < 65536:
        rule = "must be an address such as tcp://10.0.0.5:8786; a scheduler prints its own when it starts"
        raise WorkerError(f"--scheduler {address or '(nothing)'}: {rule}")
    reason = _refusal(parts[1].strip("[]"), int(parts[2]))
    if reason:
        raise _unanswered(address, reason)
    _require_identity(address)


def _refusal(host: str, port: int) -> str:
    """Why no connection can be made, "" where one can.

    Asked in a thread, since the look-up of a host's name knows no time limit.
    """
    told: list[str] = []

    def ask() -> None:
        try:
            socket.create_connection((host, port), ANSWER_SECONDS).close()
            told.append("")
        except (OSError, UnicodeError) as error:  # UnicodeError: a name that no host can have
            told.append(getattr(error, "strerror", None) or str(error))

    thread = threading.Thread(target=ask, daemon=True)
    thread.start()
    thread.join(ANSWER_SECONDS)
    return told[0] if told else f"no answer within {ANSWER_SECONDS:g} s"


def _require_identity(address: str) -> None:
    """Raises WorkerError where what answers is no scheduler."""
    from distributed.core import rpc
    from distributed.security import Security

    async def ask() -> Any:
        async with rpc(address, connection_args=Security().get_connection_args("client")) as other:
            return await asyncio.wait_for(other.identity(), ANSWER_SECONDS)

    try:
        found = asyncio.run(ask())
    except Exception as error:  # noqa: BLE001  whatever a stranger's bytes lead to
        raise _unanswered(address, f"what is there is none; {type(error).__name__}") from None
    if not isinstance(found, dict) or found.get("type") != "Scheduler":
        raise _unanswered(address, "what is there is none")


def _unanswered(address: str, reason: str) -> WorkerError:
    return WorkerError(f"--scheduler {address}: no scheduler answers there ({reason}); start one first")

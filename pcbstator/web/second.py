"""Predictions in full, in a process of their own: the motor as built and the ways out may take a second, and the next
move of a knob shall not wait for them.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from pcbstator.web.answers import Answers
from pcbstator.web.work import SPAWN, end_with_parent


class Second:
    """The other process, which is begun again where it has ended. For one thread."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._process: multiprocessing.process.BaseProcess | None = None
        self._connection: Connection | None = None

    def ask(self, name: str, *arguments: Any) -> Any:
        """What a method of its answers gives."""
        if self._process is None or self._connection is None or not self._process.is_alive():
            self._connection, theirs = SPAWN.Pipe()
            self._process = SPAWN.Process(target=_serve, args=(self._path, theirs), daemon=True)
            self._process.start()
            theirs.close()
        self._connection.send((name, arguments))
        return self._connection.recv()

    def close(self) -> None:
        """Ends it."""
        if self._process is not None:
            self._process.kill()


def _serve(path: Path, connection: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server
    end_with_parent()
    answers = Answers(path, whole=True)
    methods: dict[str, Callable[..., Any]] = {
        "look": answers.look, "answer": answers.answer, "results": answers.results
    }  # fmt: skip
    answers.look(answers.content)
    with contextlib.suppress(EOFError):
        while True:
            name, arguments = connection.recv()
            connection.send(methods[name](*arguments))

"""Long work in a process of its own, so that it can be stopped and answers stay quick; its events are kept for pages
that ask again.
"""

from __future__ import annotations

import contextlib
import itertools
import multiprocessing
import os
import signal
import threading
from collections import OrderedDict
from multiprocessing.connection import Connection
from typing import Any

from pcbstator.web.guard import Refused
from pcbstator.web.tasks import Asked, carry_out

MOST_AT_ONCE = 2
MOST_KEPT = 12  # finished ones, with their pages
SECONDS_TO_STOP = 5.0  # in which work ends in order; then it is ended
SPAWN = multiprocessing.get_context("spawn")


class Work:
    """One piece of work under way, or done: its events in their order, the last one with ``end``."""

    def __init__(self, name: str, asked: Asked) -> None:
        self.events: list[dict[str, Any]] = []
        self.html = ""
        self._reader, writer = SPAWN.Pipe(duplex=False)
        self._process = SPAWN.Process(target=_begin, args=(name, asked, writer))
        self._process.start()
        writer.close()
        threading.Thread(target=self._read, daemon=True).start()

    @property
    def ended(self) -> bool:
        """Whether nothing more will come."""
        return bool(self.events) and "end" in self.events[-1]

    def _read(self) -> None:
        with contextlib.suppress(EOFError, OSError):
            while not self.ended:
                event = self._reader.recv()
                self.html = event.pop("html", self.html)
                if self.html and "end" in event:
                    event["page"] = True
                if self.events and "end" not in event and "picture" not in event:
                    self.events[:] = [one for one in self.events if "picture" in one]  # the last words are enough
                self.events.append(event)
        self._process.join()
        if not self.ended:
            self.events.append({"end": "stopped", "words": "stopped"})

    def stop(self) -> None:
        """Asks it to end in order, as Ctrl-C does; what does not is ended."""
        if self._process.is_alive() and self._process.pid is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self._process.pid, signal.SIGINT)
            timer = threading.Timer(SECONDS_TO_STOP, self.kill)
            timer.daemon = True
            timer.start()

    def kill(self) -> None:
        """Ends it at once; the processes that it started end with it."""
        if self._process.is_alive():
            self._process.kill()


class Works:
    """The work of all pages of this server, by number."""

    def __init__(self) -> None:
        self._works: OrderedDict[int, Work] = OrderedDict()
        self._numbers = itertools.count(1)

    def begin(self, name: str, asked: Asked) -> int:
        """Begins some work; Refused where enough is under way."""
        if sum(not work.ended for work in self._works.values()) >= MOST_AT_ONCE:
            raise Refused(409, "two things are under way already: wait, or stop one of them")
        number = next(self._numbers)
        self._works[number] = Work(name, asked)
        for old in [one for one, work in self._works.items() if work.ended][:-MOST_KEPT]:
            del self._works[old]
        return number

    def work(self, number: int) -> Work:
        """One of them; Refused where there is none."""
        if number not in self._works:
            raise Refused(404, "no such work")
        return self._works[number]

    def close(self) -> None:
        """Ends all."""
        for work in self._works.values():
            work.kill()


def _begin(name: str, asked: Asked, writer: Connection) -> None:
    """In the process of the work."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    end_with_parent()
    with contextlib.suppress(BrokenPipeError, KeyboardInterrupt):
        carry_out(name, asked, writer.send)


def end_with_parent() -> None:
    """Ends this process as soon as its parent is gone, however that went."""
    parent = multiprocessing.parent_process()

    def end() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=end, daemon=True).start()

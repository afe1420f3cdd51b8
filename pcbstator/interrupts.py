"""Ctrl-C on the command line: one line and exit 130, never a traceback.

The first Ctrl-C lets what is under way end in order; the next one ends the process at once. Worker processes end with
this one (``study/workforce.py``).
"""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress
from typing import Any, NoReturn

INTERRUPTED = 130  # what shells give after Ctrl-C
STOPPED = "stopped"
SHOW_CURSOR = "\x1b[?25h\n"  # which a progress bar hides; on a line below the bar


class Interrupts:
    """Counts Ctrl-C, since a library may swallow the exception or make another one of it."""

    def __init__(self) -> None:
        self.count = 0
        self.unraisable = sys.unraisablehook

    def heed(self) -> None:
        """Takes Ctrl-C over, unless it is ignored, as for what a script starts in the background."""
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, self.pressed)
            sys.unraisablehook = self.swallowed

    def pressed(self, number: int, frame: object) -> None:
        """Ends what is under way in order the first time, the process at once after that."""
        self.count += 1
        if self.count > 1:
            leave_at_once()
        raise KeyboardInterrupt

    def swallowed(self, event: Any) -> None:
        """An exception where none can be raised, as in clean-up code: nobody would hear of Ctrl-C."""
        if self.count and issubclass(event.exc_type, KeyboardInterrupt):
            leave_at_once()
        self.unraisable(event)


def leave_at_once(told: bool = False) -> NoReturn:
    """Ends the process from wherever it is; nothing can stand in the way. told: the user has had the line already."""
    if told:
        with suppress(OSError, ValueError):
            sys.stdout.flush()
    else:
        cursor = SHOW_CURSOR if os.isatty(2) else ""
        os.write(2, f"{cursor}{STOPPED}\n".encode())
    os._exit(INTERRUPTED)

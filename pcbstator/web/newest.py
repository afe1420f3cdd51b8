"""The newest request of a page wins: older ones that still wait are dropped, and one is worked on at a time."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
PAGES = 64  # whose newest number is kept


class Newest:
    """A thread of its own for answers of one kind, and which request of each page is the newest."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(1, "answers")
        self._newest: OrderedDict[str, int] = OrderedDict()

    async def run(self, work: Callable[[], T]) -> T:
        """The result of some work, in its turn."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, work)

    async def run_newest(self, page: str, number: int, work: Callable[[], T]) -> T | None:
        """The result of a page's request; None where a newer one of the same page came before its turn."""
        self._newest[page] = max(number, self._newest.get(page, number))
        self._newest.move_to_end(page)
        while len(self._newest) > PAGES:
            self._newest.popitem(last=False)
        return await self.run(lambda: work() if self._newest.get(page, number) == number else None)

    def close(self) -> None:
        """Ends the thread; what waits is dropped."""
        self._thread.shutdown(wait=False, cancel_futures=True)

"""Who does the work: this process, processes of its own, or any executor of the kind of ``concurrent.futures``."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any

from pcbstator.errors import PcbstatorError
from pcbstator.study.search import MissingLibraryError, install_words

MOST_FAILURES = 4  # of a task in a row, after which its designs are named in an error
CONNECT_SECONDS = 20


class WorkerError(PcbstatorError):
    """Work that no worker could finish."""


class Workforce:
    """Takes tasks and makes good for workers that die.

    workers: how many tasks run at a time. ``made`` builds an executor, again where one broke.
    """

    def __init__(self, workers: int, made: Callable[[], Executor] | None) -> None:
        self.workers = workers
        self.made = made
        self.executor = made() if made else None

    def submit(self, task: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Starts a task; without an executor it is done at once."""
        if self.executor is None:
            done: Future[Any] = Future()
            try:
                done.set_result(task(*arguments))
            except Exception as error:  # noqa: BLE001  told where the result is asked for
                done.set_exception(error)
            return done
        try:
            return self.executor.submit(task, *arguments)
        except RuntimeError:  # the pool broke
            self.renew()
            return self.executor.submit(task, *arguments)

    def renew(self) -> None:
        """A new executor in place of a broken one."""
        if self.made is not None and self.executor is not None:
            self.executor.shutdown(wait=False, cancel_futures=True)
            self.executor = self.made()

    def close(self) -> None:
        """Ends the executor; what still waits is dropped."""
        if self.executor is not None:
            self.executor.shutdown(wait=True, cancel_futures=True)


@contextmanager
def local_workforce(workers: int) -> Iterator[Workforce]:
    """This process for one worker, else that many processes; 0 for as many as there are cores."""
    count = workers or _cores()

    def made() -> Executor:
        return ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), _leave_interrupts)

    force = Workforce(count, made if count > 1 else None)
    try:
        yield force
    finally:
        force.close()


@contextmanager
def executor_workforce(executor: Executor, workers: int) -> Iterator[Workforce]:
    """Somebody else's executor; it is left open."""
    force = Workforce(workers, None)
    force.executor = executor
    yield force


@contextmanager
def cluster_workforce(address: str) -> Iterator[Workforce]:
    """The workers behind a scheduler of dask.distributed.

    Raises WorkerError where nobody answers or no worker is there.
    """
    try:
        from distributed import Client
    except ImportError:
        raise MissingLibraryError(
            f"--scheduler needs the library distributed: {install_words('cluster')}"
        ) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise WorkerError(f"--scheduler {address}: nobody answers there ({error}); start a scheduler first") from None
    try:
        threads = sum(client.nthreads().values())
        if threads == 0:
            raise WorkerError(f"--scheduler {address}: it has no workers; start some that can import pcbstator")
        with executor_workforce(client.get_executor(pure=False, retries=MOST_FAILURES), threads) as force:
            yield force
    finally:
        client.close()


def _cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _leave_interrupts() -> None:
    """Ctrl-C is for the process that keeps the results; workers finish what they have."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

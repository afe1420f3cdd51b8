"""Who does the work: this process, processes of its own, or any executor of the kind of ``concurrent.futures``."""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.connection import wait
from typing import Any

from pcbstator.errors import PcbstatorError

MOST_FAILURES = 4  # of a task in a row, after which its designs are named in an error
FREED_BYTES = 30 << 20  # less than the 32 MB that glibc follows
QUIET_TRACKER = "ignore:resource_tracker:UserWarning"


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
        with _interrupts_held():  # what is started here has nothing to do with Ctrl-C
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
        return ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), _begin_work)

    if count > 1:
        _start_tracker()
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


def _cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C waits; processes and threads that are started meanwhile never get it, from their first moment on."""
    if not hasattr(signal, "pthread_sigmask"):  # systems without such masks go without
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _start_tracker() -> None:
    """Starts the process that clears semaphores away when this one is killed; it shall not complain about that."""
    try:
        from multiprocessing.resource_tracker import ensure_running
    except ImportError:  # systems where semaphores go by themselves
        return
    stated = os.environ.get("PYTHONWARNINGS")
    os.environ["PYTHONWARNINGS"] = ",".join(filter(None, [stated, QUIET_TRACKER]))
    try:
        ensure_running()
    finally:
        if stated is None:
            del os.environ["PYTHONWARNINGS"]
        else:
            os.environ["PYTHONWARNINGS"] = stated


def settle_in() -> None:
    """In a worker that this program has started, once all is imported that its tasks need; elsewhere nothing.

    What was imported stays, so the collector of cyclic garbage need not look through it time and again. And the C
    library keeps some 60 MB of freed memory: arrays of some 100 kB come and go so often that giving them back to the
    system each time takes as long as the sums in them. glibc keeps twice the largest block that was freed (mallopt(3),
    M_MMAP_THRESHOLD), so one is taken and freed, untouched; others do as they like.
    """
    if multiprocessing.parent_process() is not None:
        gc.collect()
        gc.freeze()
        bytearray(FREED_BYTES)


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """In such a worker, the collector waits for the end of a batch, a tenth of whose time it would take."""
    if multiprocessing.parent_process() is None:
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def _begin_work() -> None:
    """In a worker: Ctrl-C is for the process that keeps the results, and the worker ends when that one does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """Ends this process as soon as its parent is gone, however that went."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)

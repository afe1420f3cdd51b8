"""The work done by real worker processes behind a scheduler, one of which is killed."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time

import pytest

from pcbstator.errors import MissingLibraryError, install_words
from pcbstator.study.cluster import cluster_workforce
from pcbstator.study.run import run_study
from pcbstator.study.store import open_store
from pcbstator.study.workforce import WorkerError
from tests.study.studies import KM, TURNS, wheel_study
from tests.study.test_run import told

distributed = pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """Address and worker processes of a cluster on this machine."""
    folder = tmp_path_factory.mktemp("cluster")
    environment = dict(os.environ, DASK_DISTRIBUTED__WORKER__DAEMON="False", OPENBLAS_NUM_THREADS="1")
    started = []

    def start(*arguments):
        log = (folder / f"{len(started)}.log").open("w")
        command = [sys.executable, "-m", *arguments]
        started.append(subprocess.Popen(command, stdout=log, stderr=log, env=environment, cwd=folder))
        return started[-1]

    address_file = folder / "address.json"
    start("distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(address_file))
    limit = time.monotonic() + 60
    while not address_file.exists() and time.monotonic() < limit:
        time.sleep(0.1)
    address = json.loads(address_file.read_text())["address"]
    for number in (1, 2):
        start(
            "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard", "--no-nanny",
            "--local-directory", str(folder / f"w{number}"), "--name", f"w{number}",
        )  # fmt: skip
    with distributed.Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
    yield address, started[1:]
    for process in started:
        process.kill()
        process.wait()


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::DeprecationWarning")
def test_a_cluster_gives_the_same_though_a_worker_is_killed(tmp_path, scheduler):
    address, workers = scheduler
    variables = [TURNS, {"key": "board.track_width_mm", "from": 0.15, "to": 0.4}]
    study = wheel_study(variables=variables, objectives=[KM], budget=256)
    alone = told(study, tmp_path / "alone")

    def kill_one(progress):
        if progress.computed >= 64 and workers[0].poll() is None:
            os.kill(workers[0].pid, signal.SIGKILL)

    with cluster_workforce(address) as force, open_store(tmp_path / "cluster", study, "test") as store:
        assert force.workers == 2
        run_study(study, store, force, kill_one)
        assert workers[0].poll() is not None
        rows = store.base.execute("SELECT * FROM designs ORDER BY id").fetchall()
    assert rows == alone[0]


def test_nobody_answers(monkeypatch):
    monkeypatch.setattr("pcbstator.study.cluster.ANSWER_SECONDS", 0.5)
    with pytest.raises(WorkerError, match="no scheduler answers there"), cluster_workforce("tcp://127.0.0.1:9"):
        pass


@pytest.mark.parametrize("words", [b"HTTP/1.0 400 Bad Request\r\n\r\n", b"", b"\xff" * 4096])
def test_who_answers_is_no_scheduler(monkeypatch, words):
    """A server that says something of its own, or nothing at all."""
    monkeypatch.setattr("pcbstator.study.cluster.ANSWER_SECONDS", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as server:
        callers = []

        def answer():
            with contextlib.suppress(OSError):  # the server is closed at the end
                while True:
                    callers.append(server.accept()[0])
                    with contextlib.suppress(OSError):
                        callers[-1].sendall(words)

        threading.Thread(target=answer, daemon=True).start()
        address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        with pytest.raises(WorkerError, match="no scheduler answers there"), cluster_workforce(address):
            pass
        server.shutdown(socket.SHUT_RDWR)
        for caller in callers:
            caller.close()


def test_without_the_library(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(MissingLibraryError, match=re.escape(install_words("cluster"))), cluster_workforce("x"):
        pass

"""Ctrl-C ends every command with one line and 130, whenever it comes; workers end with the process that began them."""

from __future__ import annotations

import itertools
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from pcbstator.interrupts import Interrupts
from tests.command import DESIGNS, run, toml_text
from tests.study.studies import WHEEL

STAGE = str(DESIGNS[1])
# What is started in the background may be told to ignore interrupts; a user's terminal does not do that.
heeding = partial(signal.signal, signal.SIGINT, signal.default_int_handler)
COMMANDS = {
    "predict": ["predict", STAGE],
    "make": ["make", STAGE, "-o", "out"],
    "simulate": ["simulate", STAGE, "-o", "out"],
    "draw": ["draw", STAGE, "-o", "out.svg"],
    "report": ["report", STAGE, "-o", "out.html"],
    "explore": ["explore", "study.toml", "-o", "out", "--workers", "2"],
    "suggest": ["suggest", STAGE, "--workers", "2"],
}
# Interrupts itself once a module is asked for, which is a moment that can be met again.
AT_IMPORT = """
import os, signal, sys
class Finder:
    def find_spec(self, name, path=None, target=None):
        if name == {name!r}:
            sys.meta_path.remove(self)
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Finder())
sys.argv = ["pcbstator", *{arguments!r}]
from pcbstator.__main__ import main
main()
"""


@pytest.fixture
def place(tmp_path):
    """A folder with a study that takes long."""
    variables = [{"key": "board.track_width_mm", "from": 0.15, "to": 0.4}]
    tables = {"title": "long", "design": str(WHEEL), "variables": variables, "budget": 100_000}
    (tmp_path / "study.toml").write_text(toml_text(tables), encoding="utf-8")
    return tmp_path


def begun(place, *command):
    """A process of its own, in a group of its own, as a terminal starts it."""
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])}
    return subprocess.Popen(
        [sys.executable, *command], stdout=-1, stderr=-1, text=True, cwd=place, env=environment,
        start_new_session=True, preexec_fn=heeding,
    )  # fmt: skip


def at_work(place, process):
    """Waits until the study's workers have given their first results."""
    log = place / "out" / "designs.sqlite-wal"
    limit = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < limit:
        if log.exists() and log.stat().st_size > 100_000:
            return
        time.sleep(0.02)
    raise AssertionError("the study did not begin")


def without_progress(told):
    """What is told but for the progress of a study, which comes where a busy machine takes seconds for its first."""
    return [line for line in told.splitlines() if not line.startswith("looking at designs: ")]


def one_line(process):
    """That a process ends with 130 and one line; all who hold its outputs must end too."""
    _, told = process.communicate(timeout=60)
    assert process.returncode == 130
    (line,) = without_progress(told)
    assert line.startswith("stopped")


MODULES = ("click", "numpy", "scipy.special", "shapely")
EACH_ONCE = {*((command, "numpy") for command in COMMANDS), *(("explore", module) for module in MODULES)}


@pytest.mark.parametrize(("command", "module"), [
    pytest.param(*each, marks=() if each in EACH_ONCE else pytest.mark.slow)
    for each in itertools.product(COMMANDS, MODULES)
])  # fmt: skip
def test_while_it_is_imported(place, command, module):
    one_line(begun(place, "-c", AT_IMPORT.format(name=module, arguments=COMMANDS[command])))
    assert [path.name for path in place.iterdir()] == ["study.toml"]


@pytest.mark.slow
@pytest.mark.parametrize("command", ["explore", "suggest"])  # which take long enough
@pytest.mark.parametrize("after", [0.3, 0.6, 0.9, 1.3])
def test_at_any_time(place, command, after):
    process = begun(place, "-m", "pcbstator", *COMMANDS[command])
    time.sleep(after)
    os.killpg(process.pid, signal.SIGINT)
    one_line(process)


@pytest.mark.usefixtures("unrendered")
@pytest.mark.parametrize("target", ["pcbstator.predict", "pcbstator.output.files.write_file"])
def test_in_this_process(monkeypatch, tmp_path, target):
    def interrupted(*arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr(target, interrupted)
    shown = run("report", STAGE, "-o", tmp_path / "page.html")
    assert (shown.code, shown.err) == (130, "stopped\n")


@pytest.mark.parametrize(
    "swallowed",
    [
        "try: press()\nexcept BaseException: raise ImportError('numpy') from None",
        "class Odd:\n def __del__(self): press()\nOdd()\nsum(range(10**6))",
        "try: press()\nexcept BaseException: pass\nsys.exit(0)",
    ],
    ids=["another exception", "clean-up", "dropped"],
)
def test_one_that_a_library_swallows_counts(place, swallowed):
    press = "def press():\n os.kill(os.getpid(), signal.SIGINT)\n sum(range(10**6))\n"
    begin = "from pcbstator.__main__ import main\npcbstator.cli.commands.main = lambda: exec(code)\nmain()"
    code = f"import os, signal, sys, pcbstator.cli.commands\n{press}code = {swallowed!r}\n{begin}"
    one_line(begun(place, "-c", code))


def test_only_where_the_user_has_not_said_otherwise(monkeypatch):
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        Interrupts().heed()
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


@pytest.mark.parametrize(
    "apart", [pytest.param(0.0, marks=pytest.mark.slow), pytest.param(0.1, marks=pytest.mark.slow), 0.3]
)
def test_three_times_within_a_second(place, apart):
    process = begun(place, "-m", "pcbstator", *COMMANDS["explore"])
    at_work(place, process)
    for _ in range(3):
        os.killpg(process.pid, signal.SIGINT)
        time.sleep(apart)
    one_line(process)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_workers_end_with_their_parent(place, how):
    """Nobody holds the outputs any more, and nothing is said by those who end."""
    process = begun(place, "-m", "pcbstator", *COMMANDS["explore"])
    at_work(place, process)
    os.kill(process.pid, how)  # the parent alone
    out, told = process.communicate(timeout=60)
    assert (process.returncode, out, without_progress(told)) == (-how, "", [])

"""Compiled functions: kept where they can be, made all the same where not, and waited for only by what runs in time."""

import os
import subprocess
import sys
from pathlib import Path

import numba

from pcbstator import compiling

TOP = Path(__file__).parents[1]
RUN = """
import numpy as np, pcbstator, sys
from pcbstator.physics.drive.plant import Plant, PlantValues
body = Plant(PlantValues(3, 4.0, 1.0, 1e-3, (0j,) * 16, 1.0), 1e-3)
body.advance(1 + 0j, 0.0, 3)
print(body.state.current.real.hex())
"""


def run(script, **environment):
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=TOP,
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert not done.stderr
    return done.stdout.strip()


def test_a_second_process_takes_what_the_first_has_kept(tmp_path):
    """Nothing new is written the second time, and the numbers are the same to the last bit."""
    first = run(RUN, NUMBA_CACHE_DIR=str(tmp_path))
    kept = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.nb*")}
    assert len(kept) >= 2
    assert run(RUN, NUMBA_CACHE_DIR=str(tmp_path)) == first
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.nb*")} == kept


def test_without_a_folder_to_keep_it_in_it_is_made_each_time(monkeypatch):
    plain = numba.njit

    def nowhere(*arguments, cache=False, **options):
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return plain(*arguments, **options)

    monkeypatch.setattr(numba, "njit", nowhere)
    assert compiling.compiled(lambda value: 2.0 * value)(4.0) == 8.0


def test_only_what_runs_in_time_waits_for_the_compiler():
    """A prediction, its findings and the command line do without."""
    script = (
        "import sys, pcbstator, pcbstator.cli.commands; "
        "pcbstator.predict(pcbstator.load_design('designs/photogrammetry-stage.toml')); "
        "print('numba' in sys.modules)"
    )
    assert run(script) == "False"

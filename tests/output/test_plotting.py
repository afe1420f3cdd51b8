"""No settings of matplotlib but the program's own have a say in what is drawn."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import matplotlib
import pytest

import pcbstator
from pcbstator.output.fabrication.legend import _letters
from pcbstator.output.fabrication.package import package_files
from pcbstator.output.plotting import plain_settings
from pcbstator.output.report.simulation import simulation_files
from pcbstator.output.study_report.page import study_files
from pcbstator.study.results import gather
from pcbstator.study.run import run_study
from pcbstator.study.store import open_store
from pcbstator.study.workforce import local_workforce
from tests.command import DESIGNS
from tests.shipped import shipped_report
from tests.study.studies import COST, KM, TURNS, WIDTH, wheel_study

HERE = Path(__file__).parents[2]
FAN = HERE / "designs" / "small-fan.toml"
STRANGE = {
    "lines.linewidth": 7.0, "font.style": "italic", "font.weight": "bold", "axes.grid": True, "text.usetex": True,
    "figure.dpi": 33.0, "savefig.facecolor": "black", "axes.autolimit_mode": "round_numbers", "svg.id": "mine",
    "patch.linewidth": 5.0, "path.sketch": (5.0, 50.0, 1.0), "xtick.direction": "in", "legend.fontsize": 30.0,
    "axes.formatter.use_locale": True, "axes.prop_cycle": matplotlib.cycler(color="krb"), "pdf.compression": 0,
    "axes.unicode_minus": False, "image.cmap": "hot", "savefig.bbox": "tight", "text.hinting": "force_autohint",
}  # fmt: skip


def everything(folder: Path) -> dict[str, str | bytes]:
    """All files of a package, a simulation and a study."""
    _letters.cache_clear()
    design = pcbstator.load_design(DESIGNS[0])  # with a drive
    copper = pcbstator.lay_copper(design)
    prediction = pcbstator.predict(design, copper)
    files = package_files(design, copper, prediction)
    files |= simulation_files(design, pcbstator.simulate(design, ("hold",), prediction))
    study = wheel_study(variables=[TURNS, WIDTH], objectives=[KM, COST], budget=60)
    with open_store(folder, study, "test") as store, local_workforce(1) as alone:
        run_study(study, store, alone)
        return files | study_files(gather(study, store), "x")


@pytest.mark.slow
def test_settings_of_the_process_have_no_say(tmp_path):
    usual = everything(tmp_path)
    with matplotlib.rc_context(STRANGE):
        strange = everything(tmp_path)
        assert matplotlib.rcParams["lines.linewidth"] == 7.0  # they are left as they were
    assert [name for name in usual if usual[name] != strange[name]] == []


def test_every_setting_is_the_usual_one_inside():
    with matplotlib.rc_context(STRANGE), plain_settings({"font.size": 3.0}):
        usual = dict(matplotlib.rcParamsDefault) | {"font.size": 3.0}
        assert [key for key in usual if key != "backend" and matplotlib.rcParams[key] != usual[key]] == []


STYLED, NONSENSE, BROKEN = b"lines.linewidth: 9\nfont.style: italic\n", b"nonsense\nno.key: 1\n", b"\xff\xfe\x00"


@pytest.mark.parametrize(
    ("content", "place"),
    [
        (STYLED, "folder"),
        pytest.param(BROKEN, "folder", marks=pytest.mark.slow),
        pytest.param(NONSENSE, "folder", marks=pytest.mark.slow),
        pytest.param(BROKEN, "environment", marks=pytest.mark.slow),
    ],
    ids=["styled", "broken", "nonsense", "environment"],
)
def test_a_file_of_settings_neither_changes_nor_breaks_a_report(tmp_path, content, place):
    there = tmp_path / place
    there.mkdir()
    (there / "matplotlibrc").write_bytes(content)
    environment = os.environ | {"PYTHONPATH": str(HERE), "PYTHONWARNINGS": "error", "MPLBACKEND": "nonsense"}
    folder = there
    if place == "environment":
        environment["MATPLOTLIBRC"], folder = str(there / "matplotlibrc"), tmp_path
    command = [sys.executable, "-m", "pcbstator", "report", str(FAN), "-o", str(tmp_path / "a.html")]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{tmp_path / 'a.html'}: written\n"
    assert (tmp_path / "a.html").read_text(encoding="utf-8") == shipped_report(FAN.stem)

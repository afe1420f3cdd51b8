"""The commands of studies as a user types them."""

from __future__ import annotations

import csv
import math
import re
import sys

import pytest

from pcbstator.cli.study_commands import progress_words
from pcbstator.errors import install_words
from pcbstator.study.run import Progress
from pcbstator.study.suggestion import look
from tests.command import run, toml_text
from tests.study.studies import KM, TURNS, WHEEL, WIDTH


@pytest.fixture
def study(tmp_path):
    """Writes a study beside nothing, about the filter wheel."""

    def write(**tables):
        place = tmp_path / "study.toml"
        place.write_text(toml_text({"title": "typed", "design": str(WHEEL), "workers": 1, **tables}), encoding="utf-8")
        return place

    return write


def test_search_take_and_go_on(study, tmp_path):
    place = study(variables=[TURNS, WIDTH], objectives=[KM], budget=48)
    told = run("explore", place, "-o", tmp_path / "out")
    assert told.code == 0 and "1 on the Pareto front" in told.out
    names = {entry.name for entry in (tmp_path / "out").iterdir()}
    assert {"designs.csv", "designs.sqlite", "explore.html", "pareto-front.svg", "parallel.svg"} <= names
    with (tmp_path / "out" / "designs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 48
    (best,) = [row for row in rows if row["on_pareto_front"] == "yes"]
    page = (tmp_path / "out" / "explore.html").read_text(encoding="utf-8")
    assert f'id="design-{best["number"]}"' in page
    assert run("explore", place, "-o", tmp_path / "out").out == told.out  # all of it from the store
    taken = run("take", tmp_path / "out", best["number"], "-o", tmp_path / "best.toml")
    assert taken.code == 0 and "confirms" in taken.out
    assert run("predict", tmp_path / "best.toml").code == 0
    assert run("take", tmp_path / "out", best["number"], "-o", tmp_path / "best.txt").code == 2


@pytest.mark.usefixtures("unrendered")
def test_a_recorded_motion_goes_along(tmp_path, monkeypatch):
    """A design that is taken says what to copy; suggestions bring it with them."""
    text = WHEEL.read_text(encoding="utf-8")
    for key in ("move_deg", "stops_deg", "speed_rpm", "acceleration_deg_s2", "dwell_s", "settle_s"):
        text = re.sub(rf"(?m)^{key} = .*$", "", text)
    text = re.sub(r"(?ms)^\[requirement\]\n.*?(?=^\[)", "", text)  # which is about other moves
    (tmp_path / "moves").mkdir()
    place = tmp_path / "moves" / "wheel.toml"
    place.write_text(text.replace("[motion]", '[motion]\ntable_csv = "turns.csv"'), encoding="utf-8")
    rows = "\n".join(f"{0.05 * i},{10 * math.sin(0.2 * i):.4f}" for i in range(63))
    (tmp_path / "moves" / "turns.csv").write_text(f"time_s,angle_deg\n{rows}\n", encoding="utf-8")
    asked = tmp_path / "study.toml"
    tables = {"title": "typed", "design": str(place), "workers": 1, "variables": [TURNS], "budget": 4}
    asked.write_text(toml_text(tables), encoding="utf-8")
    assert run("explore", asked, "-o", tmp_path / "out").code == 0
    taken = run("take", tmp_path / "out", "1", "-o", tmp_path / "one.toml")
    assert "copy turns.csv" in taken.out
    assert "copy" not in run("take", tmp_path / "out", "1", "-o", tmp_path / "moves" / "one.toml").out
    monkeypatch.setattr(look, "MOST_COARSE", 16)
    monkeypatch.setattr(look, "FINE_BUILDS", 2)
    assert run("suggest", place, "--workers", "1", "-o", tmp_path / "options").code == 0
    assert (tmp_path / "options" / "turns.csv").read_text() == (tmp_path / "moves" / "turns.csv").read_text()
    assert run("predict", next((tmp_path / "options").glob("*.toml"))).code == 0


def test_nothing_meets_everything(study, tmp_path):
    limit = {"key": "magnetic.torque_constant_n_m_per_a", "least": 9.0}
    told = run("explore", study(variables=[TURNS, WIDTH], constraints=[limit], budget=60), "-o", tmp_path / "out")
    assert told.code == 1
    assert "no design meets everything" in told.err and "magnetic.torque_constant_n_m_per_a at least 9" in told.err
    assert "No design meets everything" in (tmp_path / "out" / "explore.html").read_text(encoding="utf-8")


def test_designs_that_never_fit(study, tmp_path):
    told = run("explore", study(variables=[{"key": "winding.turns", "values": [300, 400]}]), "-o", tmp_path / "out")
    assert told.code == 1 and "winding.turns" in told.err


@pytest.mark.usefixtures("unrendered")
def test_a_search_without_its_library(study, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pymoo.algorithms.moo.nsga2", None)
    place = study(variables=[TURNS, WIDTH], objectives=[KM], budget=48)
    told = run("explore", place, "-o", tmp_path / "out")
    assert told.code == 2 and install_words("explore") in told.err
    assert not (tmp_path / "out").exists()
    assert run("explore", study(variables=[TURNS], budget=12), "-o", tmp_path / "sweep").code == 0


def test_a_place_that_cannot_be_written(study, tmp_path):
    (tmp_path / "file").write_text("")
    told = run("explore", study(variables=[TURNS]), "-o", tmp_path / "file")
    assert told.code == 2 and "cannot be written" in told.err


@pytest.mark.usefixtures("unrendered")
def test_a_remark_in_the_base_costs_nothing(study, tmp_path):
    """The designs stay; what is taken has the base's words of today."""
    base = tmp_path / "wheel.toml"
    base.write_text(WHEEL.read_text(encoding="utf-8"), encoding="utf-8")
    place = study(design="wheel.toml", variables=[TURNS], budget=4)
    first = run("explore", place, "-o", tmp_path / "out")
    base.write_text("# seen again\n" + base.read_text(encoding="utf-8"), encoding="utf-8")
    assert run("explore", place, "-o", tmp_path / "out") == first
    assert run("take", tmp_path / "out", "1", "-o", tmp_path / "one.toml").code == 0
    assert "# seen again" in (tmp_path / "one.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("address", ["", "nonsense", "tcp://nonsense", "foo://here:1", "tcp://127.0.0.1:99999"])
def test_what_is_no_address_of_a_scheduler(study, tmp_path, address):
    told = run("explore", study(variables=[TURNS]), "-o", tmp_path / "out", "--scheduler", address)
    assert told.code == 2 and "must be an address such as" in told.err and len(told.err.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_progress_in_words():
    progress = Progress(100)
    assert progress.seconds_left is None and progress_words(progress) == "from the store, 0 meet all"
    progress.known, progress.computed, progress.feasible = 20, 40, 7
    progress.started -= 10.0
    progress.best["a.b"] = 3, 0.125
    assert 3.9 < progress.rate <= 4.0 and 9.9 < progress.seconds_left < 10.2
    assert progress_words(progress) == "4/s, 10 s left, 7 meet all; b 0.125 (3)"


@pytest.mark.usefixtures("unrendered")
def test_a_folder_whose_name_is_no_utf8(study, tmp_path):
    """Filled as any other; where its name is told, a byte that is no letter is a question mark."""
    folder = tmp_path / "out\udcff"
    told = run("explore", study(variables=[TURNS], budget=4), "-o", folder)
    assert told.code == 0 and "out?" in told.out
    assert "\udcff" not in (folder / "explore.html").read_text(encoding="utf-8")
    assert run("take", folder, 1, "-o", tmp_path / "taken.toml").code == 0

"""The file that a sheet gives to fill in takes the readings of that sheet."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from pcbstator.bench.load import KINDS, load_bench
from pcbstator.design.keys import record_keys
from pcbstator.output.bench_report.bench_file import CHOSEN
from tests.bench.test_sheet import DELTA, NAMES
from tests.command import DESIGNS, run

TABLES = {
    "warm_up": ("time_s,voltage_v", lambda k: f"{60 * k},{9.3 + 0.1 * k}"),
    "coast_down": ("time_s,speed_rpm", lambda k: f"{0.1 * k},{60 - 2 * k}"),
    "slow_turn": ("time_s,angle_deg", lambda k: f"{k},{20 * k}"),
    "move": ("time_s,angle_deg,terminal_peak_a", lambda k: f"{0.1 * k},{k * k},0.1"),
    "sensor": ("reference_deg,sensor_deg", lambda k: f"{15 * k},{15 * k + 0.1}"),
}
CHOSEN_VALUES = {"peak_to_peak_v": 9.7, "frequency_hz": 60.0, "grams": 39.0, "terminal_peak_a": 0.09}


def made(folder: Path, design: str) -> Path:
    outcome = run("bench", design, "-o", folder)
    assert outcome.code == 0, outcome.err
    return folder / "bench.toml"


def filled(place: Path) -> tuple[str, dict[str, int]]:
    """The text as somebody fills it in who has measured everything; how many entries of each kind."""
    lines, counts, kind = [], {}, ""
    for line in place.read_text(encoding="utf-8").splitlines():
        entry = re.fullmatch(r"# \[\[(\w+)\]\]", line)
        blank = re.match(r"# (\w+) =(\s*)(?:#|$)", line)
        given = re.match(r"# (\w+) = [^ ]", line)
        if entry:
            kind = entry[1]
            counts[kind] = counts.get(kind, 0) + 1
            lines.append(line[2:])
        elif blank:
            lines.append(f"{blank[1]} = {json.dumps(value(kind, blank[1], place.parent))}")
        elif given and kind:
            lines.append(line[2:])
    return "\n".join(lines) + "\n", counts


def value(kind: str, name: str, folder: Path):
    if name == "table_csv":
        head, row = TABLES[kind]
        (folder / f"{kind}.csv").write_text("\n".join([head, *map(row, range(25))]) + "\n")
        return f"{kind}.csv"
    if name in CHOSEN_VALUES:
        return CHOSEN_VALUES[name]
    return next(key.example for key in record_keys("", KINDS[kind]) if key.name == name)


@pytest.mark.usefixtures("unrendered")
@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name == "small-fan" else pytest.mark.slow) for name in NAMES]
)
def test_filled_in_it_loads(tmp_path, name):
    place = made(tmp_path / "sheet", f"designs/{name}.toml")
    text, counts = filled(place)
    place.write_text(text)
    bench = load_bench(place)
    assert {kind: len(getattr(bench, kind)) for kind in KINDS} == {kind: counts.get(kind, 0) for kind in KINDS}
    assert set(counts) == set(KINDS)
    assert counts["resistance"] == counts["emf"] == counts["inductance"] == 3
    assert counts["gap"] == 4
    assert counts["field"] == 2


@pytest.mark.usefixtures("unrendered")
def test_every_key_of_every_reading_is_named(tmp_path):
    text = made(tmp_path / "sheet", str(DESIGNS[0])).read_text(encoding="utf-8")
    sections = {part.split("]]")[0]: part for part in re.split(r"^# \[\[", text, flags=re.MULTILINE)[::-1]}
    for kind, record in KINDS.items():
        own = {key.name for key in record_keys("", record)}
        common = {"name", "board", "rotor", "uncertainty_percent"}
        assert own - common <= set(re.findall(r"^# +(\w+) =", sections[kind], re.MULTILINE)), kind
        assert all(re.search(rf"^#   {each} =", text.split("# ----")[0], re.MULTILINE) for each in common)
    assert set(CHOSEN) <= set(KINDS)


@pytest.mark.usefixtures("unrendered")
def test_as_it_comes_it_holds_no_reading(tmp_path):
    place = made(tmp_path / "sheet", str(DESIGNS[0]))
    with pytest.raises(pcb_error(), match="at least one reading"):
        load_bench(place)
    assert not [line for line in place.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]


def pcb_error():
    from pcbstator.errors import DesignError

    return DesignError


@pytest.mark.usefixtures("unrendered", "predicted_once")
def test_the_command_keeps_readings_and_foreign_files(tmp_path):
    folder = tmp_path / "sheet"
    place = made(folder, str(DESIGNS[0]))
    assert sorted(each.name for each in folder.iterdir()) == [
        "bench-sheet.html", "bench-sheet.pdf", "bench.toml", "manifest.json",
    ]  # fmt: skip
    assert run("bench", DESIGNS[0], "-o", folder).code == 0  # nothing filled in yet
    text = '[[resistance]]\nbetween = ["A", "B"]\nohm = 36.0\ncopper_c = 21.0\n'
    place.write_text(text)
    again = run("bench", DESIGNS[0], "-o", folder)
    assert again.code == 2
    assert "holds readings" in again.err
    assert place.read_text() == text
    assert run("bench", DESIGNS[0]).code == 2
    assert run("bench", tmp_path / "none.toml", "-o", tmp_path / "other").code == 2
    assert not (tmp_path / "other").exists()


@pytest.mark.usefixtures("unrendered")
@pytest.mark.parametrize("changes", [pytest.param(DELTA, marks=pytest.mark.slow), {"winding.connection": "open"}])
def test_other_connections_name_terminals_that_load(tmp_path, changes):
    import pcbstator
    from pcbstator.project import bench_sheet, write_files

    design = pcbstator.load_design("designs/photogrammetry-stage.toml").with_values({"requirement": None, **changes})
    write_files(tmp_path / "sheet", bench_sheet(design))
    place = tmp_path / "sheet/bench.toml"
    text, _ = filled(place)
    place.write_text(text)
    assert len(load_bench(place).resistance) == 3

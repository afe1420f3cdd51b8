"""The scripts in docs/examples run, and what they give is held against something that they did not use."""

import runpy
import sys
from itertools import pairwise
from pathlib import Path

import magpylib
import numpy as np
import pytest
import shapely

from pcbstator import DesignError, project
from pcbstator.output.fabrication.drill import drill_xnc
from pcbstator.output.fabrication.gerber import copper_gerber
from tests.command import DESIGNS
from tests.output.readback import net_shapes, read_holes
from tests.shipped import shipped

EXAMPLES = Path(__file__).parents[1] / "docs" / "examples"
WRITTEN = {
    "field_map": ["field-map.svg"],
    "layer_polygons": ["layer-1.svg"],
    "loss_budget": ["loss-budget.svg"],
    "rule_set": ["filter-wheel-low-cost.svg", "filter-wheel-low-cost.toml"],
    "side_by_side": ["side-by-side.svg"],
    "turns_sweep": ["turns-sweep.svg"],
}


def loaded(stem):
    return project.load_design(next(path for path in DESIGNS if path.stem == stem))


@pytest.fixture
def example(monkeypatch, tmp_path):
    """Runs a script as from the command line and gives what it defines."""

    def run(name):
        monkeypatch.setattr(sys, "argv", [f"{name}.py", str(tmp_path)])
        defined = runpy.run_path(str(EXAMPLES / f"{name}.py"), run_name="__main__")
        assert sorted(path.name for path in tmp_path.iterdir()) == WRITTEN[name]
        for path in tmp_path.glob("*.svg"):
            assert "</svg>" in path.read_text(encoding="utf-8")
        return defined

    return run


def test_every_example_is_run_and_short():
    scripts = {path.stem: path for path in EXAMPLES.glob("*.py")}
    assert sorted(scripts) == sorted(WRITTEN)
    for path in scripts.values():
        assert len(path.read_text(encoding="utf-8").splitlines()) < 60, path


def test_resistance_over_turns_against_the_centre_lines(example):
    """rho l / (w t) of every track of phase A and of the walls of its vias; the ends at holes take off under 2 %."""
    rows = example("turns_sweep")["rows"]
    turns, _, resistance, _ = rows[4]
    design = loaded("filter-wheel").with_values({"winding.turns": turns})
    (path,) = project.centrelines(design)["phases"][0]["paths"]
    expected = sum(
        1.7241e-8 * 1e-3 * np.hypot(*np.diff(track["points_mm"], axis=0).T).sum()
        / (1e-3 * track["width_mm"] * 1e-6 * track["thickness_um"])
        for track in path["tracks"]
    )  # fmt: skip
    wall = np.pi * (0.3e-3 - 20e-6) * 20e-6
    crossed = sum(abs(a["z_mm"] - b["z_mm"]) for a, b in pairwise(path["tracks"]))
    expected += 1.7241e-8 * 1e-3 * crossed / wall
    assert resistance == pytest.approx(expected, rel=0.02)


def test_field_map_against_a_magnetostatics_library(example):
    """Without steel and with magnets of permeability 1 each magnet is a charged body of its own."""
    defined = example("field_map")
    design = loaded("photogrammetry-stage").with_values(
        {"rotor.back_iron_mm": 0.0, "rotor.magnet.recoil_permeability": 1.0}
    )
    radii, angles = np.array([0.036, 0.042, 0.050]), np.radians([0.0, 3.0, 9.0, 15.0])
    magnets = [
        magpylib.magnet.CylinderSegment(
            polarization=(0, 0, 1.3 * (-1) ** (number + 1)),
            dimension=(0.034, 0.051, 0.003, 15 * number - 6, 15 * number + 6),
            position=(0, 0, 0.8e-3 + 1.5e-3),
        )
        for number in range(24)
    ]
    places = [[(r * np.cos(a), r * np.sin(a), 0.0) for a in angles] for r in radii]
    expected = magpylib.getB(magnets, np.array(places).reshape(-1, 3), sumup=True)[:, 2].reshape(3, 4)
    peak = np.abs(expected).max()
    assert defined["axial_field"](design, radii, angles) / peak == pytest.approx(expected / peak, abs=2e-3)


def test_polygons_against_the_gerber_file(example):
    """Area and pieces of the file as a reader of it finds them."""
    polygons = example("layer_polygons")["polygons"]
    copper = project.lay_copper(loaded("filter-wheel"))
    holes = [shapely.Point(x, y).buffer(d / 2) for x, y, d, _ in read_holes(drill_xnc(copper, plated=True))]
    shapes = [shape for net in net_shapes(copper_gerber(copper, 1, "")).values() for shape in net]
    filed = shapely.union_all(shapes).difference(shapely.union_all(holes))
    own = shapely.union_all(polygons)
    assert own.symmetric_difference(filed).area < 1e-3 * filed.area  # of arcs as polygons
    assert len(polygons) == len(shapely.get_parts(filed))


def test_losses_leave_the_balance_of_power(example):
    """Electrical power from EMF constant and resistance is what leaves the shaft and all losses."""
    defined = example("loss_budget")
    _, _, found = shipped("small-fan")
    for entry in defined["entries"]:
        speed, current = entry["speed_rpm"] * np.pi / 30, defined["CURRENT"]
        warm = 1.5 * found.electrical.phase_resistance * (1 + 0.00393 * (80 - 20)) * current**2
        assert entry["copper_w"] == pytest.approx(warm, rel=1e-6)
        emf = 1.5 * found.magnetic.emf_constant * speed * current
        assert entry["shaft_w"] + entry["total_w"] == pytest.approx(emf + warm, rel=1e-6)
    slow, fast = defined["entries"][4], defined["entries"][8]
    assert fast["eddy_w"] == pytest.approx(4 * slow["eddy_w"], rel=1e-6)


def test_side_by_side_finds_what_was_changed_and_what_it_does(example):
    """Twice the copper halves the tracks' resistance, not that of the vias' walls, and leaves the field alone."""
    pair = example("side_by_side")["pair"]
    assert {found.key: (found.design, found.other) for found in pair.keys} == {
        "board.outer_copper_um": (35.0, 70.0),
        "board.inner_copper_um": (35.0, 70.0),
        "board.rules": ("1oz-standard", "2oz-standard"),
    }
    (resistance,) = [found for found in pair.results if found.key == "electrical.phase_resistance_ohm"]
    assert 0.5 < resistance.other / resistance.design < 0.51
    assert "magnetic.torque_constant_n_m_per_a" in pair.unchanged


def test_rule_set_is_kept(example):
    """What is broken is what the keys say by themselves; the finest layout keeps the limits, and no turn more fits."""
    defined = example("rule_set")
    asked, rules = loaded("filter-wheel").document["board"], defined["RULES"]
    expected = {
        "board.track_gap": asked["track_gap_mm"] < rules["track_gap_mm"],
        "board.drill": asked["via_drill_mm"] < rules["drill_mm"],
        "board.annular_ring": (asked["via_pad_mm"] - asked["via_drill_mm"]) / 2 < rules["annular_ring_mm"],
        "board.track_width": asked["track_width_mm"] < rules["track_width_mm"],
    }
    broken = {finding.code for finding in defined["broken"](defined["design"]) if finding.severity == "error"}
    assert broken == {code for code, breach in expected.items() if breach}
    fitted = defined["fitted"]
    assert not [finding for finding in defined["broken"](fitted) if finding.severity == "error"]
    with pytest.raises(DesignError, match=r"winding\.turns"):
        project.lay_copper(fitted.with_values({"winding.turns": fitted.winding.turns + 1}))
